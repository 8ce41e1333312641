"""Tables as comma-separated values, so that no spreadsheet takes anybody's text for a formula (OWASP, CSV Injection)."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence

_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠", "\t", "\r", "\n")
"""How a formula may begin; spreadsheets take the wide signs for the narrow ones in some languages."""
DEFUSED = (*_STARTS, *(f"'{start}" for start in _STARTS), "''")
"""How a text begins that gets an apostrophe in front when it is written as CSV, and loses it when it is read."""
_INNER = re.compile(r"([;\t\r\n]\s*)(?=[=+\-@＝＋－＠])")
"""Where a formula would begin in the middle of a cell for a spreadsheet that takes semicolons or tabs for the ends of cells."""
_SIGNED_NUMBER = re.compile(r"[+-]\d+(\.\d+)?", re.ASCII)


def csv_of(rows: Iterable[Sequence[str]]) -> bytes:
    """A table as comma-separated values in UTF-8; a text that a spreadsheet would take for a formula gets an apostrophe in front."""
    return _written(rows, "\n").encode()


def csv_to_save(rows: Iterable[Sequence[str]]) -> bytes:
    """As `csv_of`, to be saved and opened by people: with the mark by which spreadsheets know UTF-8, and line ends as in RFC 4180.

    It is not read again, so that a formula is defused within a cell, too, where other separators would make it begin one.
    """
    return _written(([_INNER.sub(r"\1'", cell) for cell in row] for row in rows), "\r\n").encode("utf-8-sig")


def _written(rows: Iterable[Sequence[str]], line_end: str) -> str:
    """The rows as lines; a break inside of a cell is quoted, whichever of the two signs it is."""
    file = io.StringIO(newline="")
    lines = csv.writer(file, lineterminator="\r\n")
    for row in rows:
        lines.writerow([_safe(cell) for cell in row])
        file.seek(file.tell() - 2)
        file.write(line_end)
        file.truncate()
    return file.getvalue()


def _safe(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula, told apart again when it is read; a number with its sign is none."""
    return f"'{cell}" if cell.startswith(DEFUSED) and not _SIGNED_NUMBER.fullmatch(cell) else cell


def undefused(cell: str) -> str:
    """A cell without the apostrophe that keeps a spreadsheet from taking it for a formula."""
    return cell[1:] if cell.startswith("'") and cell[1:].startswith(DEFUSED) else cell
