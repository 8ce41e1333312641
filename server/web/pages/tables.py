"""Tables to save from a page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from starlette.responses import Response

from server.domain.csv_text import csv_to_save


def table_to_save(name: str, rows: Iterable[Sequence[str]]) -> Response:
    """A table of comma-separated values under a file's name, its columns' names in the first row."""
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(csv_to_save(rows), media_type="text/csv; charset=utf-8", headers=headers)
