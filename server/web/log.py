"""The log: one JSON object a line, whoever writes it, with its moment in UTC (ISO 8601), level, logger, process and request."""

from __future__ import annotations

import logging
import sys
import threading
from collections.abc import Sequence
from traceback import format_tb
from types import TracebackType
from typing import TextIO

from pythonjsonlogger.json import JsonFormatter

from server.web.guard import named_by_request

FIELDS: Sequence[str] = ("levelname", "name", "process", "message")
NAMES = {"levelname": "level", "name": "logger"}
CHATTY = ("alembic", "uvicorn.error", "sqlalchemy", "python_multipart", "PIL")
log = logging.getLogger("slackwater.process")


ExcInfo = tuple[type[BaseException], BaseException, TracebackType | None] | tuple[None, None, None]


class Lines(JsonFormatter):
    """Every line one JSON object, whatever signs stand in it; of a fault where it happened, but never its words."""

    def formatException(self, ei: ExcInfo) -> str:
        """The kinds of a fault and of those behind it, with their places: a database's words hold the values of a row."""
        told, error = [], ei[1]
        while error is not None:
            told += [type(error).__qualname__, *format_tb(error.__traceback__)]
            error = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
        return "\n".join(line.rstrip() for line in told)


def json_handler(stream: TextIO | None = None) -> logging.Handler:
    """Writes each record, with its trace where it has one, as one line to a stream, the error stream where none is given."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(Lines(FIELDS, rename_fields=NAMES, timestamp="time"))
    handler.addFilter(named_by_request)
    return handler


def log_as_json(level: str) -> None:
    """Let everything be logged as JSON: our own lines, the server's, warnings, and what ends the process or one of its threads."""
    logging.basicConfig(level=level.upper(), handlers=[json_handler()], force=True)
    for chatty in CHATTY:
        logging.getLogger(chatty).setLevel(logging.WARNING)
    logging.captureWarnings(True)
    sys.excepthook = _ended
    threading.excepthook = _thread_ended


def _ended(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
    if issubclass(kind, KeyboardInterrupt):
        return
    log.critical("the process ended", exc_info=(kind, error, trace))


def _thread_ended(told: threading.ExceptHookArgs) -> None:
    error = told.exc_value
    log.error("a thread ended", exc_info=(told.exc_type, error, told.exc_traceback) if error else None)
