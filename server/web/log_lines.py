"""How a line of the log is written: JSON, by the time of UTC, and of a fault where it happened but never its words."""

from __future__ import annotations

import logging
from datetime import UTC, datetime
from traceback import format_tb
from types import TracebackType

from pythonjsonlogger.json import JsonFormatter

ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]


class LogLines(JsonFormatter):
    """Every line one JSON object, whatever signs stand in it: nobody can write a second line into a first one."""

    def __init__(self) -> None:
        super().__init__("%(asctime)s %(levelname)s %(name)s %(message)s")

    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:  # noqa: ARG002  # As upstream.
        """The moment with its offset, which is that of UTC."""
        return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")

    def formatException(self, ei: ExcInfo) -> str:
        """The kinds of a fault and of those behind it, and where they happened; a database's words hold the values of a row."""
        told, error = [], ei[1]
        while error is not None:
            told += [type(error).__qualname__, *format_tb(error.__traceback__)]
            error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
        return "\n".join(line.rstrip() for line in told)
