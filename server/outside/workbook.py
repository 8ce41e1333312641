"""Workbooks in the open format for spreadsheets (Office Open XML, ISO/IEC 29500): sheets of plain cells, read and written.

Read by calamine and written by XlsxWriter. What comes from outside is looked through first, so that it cannot fill the memory.
XlsxWriter is imported by the first book that is written: it takes 25 ms, and no page that is asked first wants one.
"""

from __future__ import annotations

import gc
import io
import lzma
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from contextlib import suppress
from datetime import UTC, date, datetime
from tempfile import TemporaryDirectory
from threading import BoundedSemaphore
from typing import Any

from python_calamine import CalamineError, CalamineWorkbook

from server.domain.errors import Fault, InvalidInput, TooMany
from server.outside.workbook_bounds import MOST_BYTES, Refused, look_through

ACCEPTED = f"a workbook (.xlsx) of at most {MOST_BYTES // 1024 // 1024} MB without a password"
BOOK = "xl/workbook.xml"
_FIRST_MADE = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
"""A workbook says when it was made; a fixed day makes the same sheets the same bytes."""
WAIT_S = 10
_GATE = BoundedSemaphore(1)
Cell = str | int | float | None


def read_workbook(content: bytes, field: str = "file") -> dict[str, list[list[str]]]:
    """The sheets of a workbook by name, each its rows of cells as text, a blank cell as an empty one.

    Of a formula its last value is read; a day is written 2026-11-28, a whole number without a point. Raises `InvalidInput` under
    `field` for what is no workbook, is too large, or would be too large once unpacked.
    """
    try:
        look_through(content)
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        return {name: [[_text(cell) for cell in row] for row in _rows(book, name)] for name in book.sheet_names}
    except Refused as error:
        raise InvalidInput([Fault(field, str(error), ACCEPTED)]) from error
    except (
        CalamineError,
        zipfile.BadZipFile,
        zlib.error,
        lzma.LZMAError,
        OSError,
        ValueError,
        KeyError,
        EOFError,
        OverflowError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        raise InvalidInput([Fault(field, "This is not a workbook that can be read here.", ACCEPTED)]) from error


def _rows(book: CalamineWorkbook, name: str) -> list[list[Any]]:
    """All rows of a sheet from its first one on, empty ones included, so that a row keeps its number."""
    rows: list[list[Any]] = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
    return rows


def _text(cell: Any) -> str:
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == datetime.min.time() else cell.isoformat(" ")
    return cell.isoformat() if isinstance(cell, date) else str(cell)


def workbook_of(sheets: Mapping[str, Sequence[Sequence[Cell]]]) -> bytes:
    """A workbook of some sheets, the first row of each as its header; texts stay texts, so that none becomes a formula or a link.

    The same sheets give the same cells. Of 20,000 parts it takes a second, and one is written at a time. Its rows go to files in the
    system's temporary folder on the way, so that it takes 2 MB of memory; where there is no such folder, or no room in it, they are
    kept in memory, 60 MB of it. Raises `TooMany` where others are being written for longer than ten seconds.
    """
    if not _GATE.acquire(timeout=WAIT_S):
        raise TooMany("workbook", "Other workbooks are being written just now: try again in a minute.")
    try:
        return _by_files(sheets) or _in_memory(sheets)
    finally:
        _GATE.release()


def _by_files(sheets: Mapping[str, Sequence[Sequence[Cell]]]) -> bytes:
    """The workbook, by way of files; nothing where these cannot be written."""
    from xlsxwriter.exceptions import FileCreateError

    file = io.BytesIO()
    with suppress(OSError, FileCreateError), TemporaryDirectory(prefix="slackwater-book-") as folder:
        _write(sheets, file, {"constant_memory": True, "tmpdir": folder})
        return file.getvalue()
    gc.collect()  # The half-made book ends what it writes while there is still a file to write to.
    return b""


def _in_memory(sheets: Mapping[str, Sequence[Sequence[Cell]]]) -> bytes:
    file = io.BytesIO()
    _write(sheets, file, {"in_memory": True})
    gc.collect()  # A book and its sheets hold each other, and so two thirds of that memory.
    return file.getvalue()


def _write(sheets: Mapping[str, Sequence[Sequence[Cell]]], file: io.BytesIO, options: Mapping[str, bool | str]) -> None:
    import xlsxwriter
    from xlsxwriter.exceptions import FileCreateError

    plain = {"strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(file, {**options, **plain})
    try:
        _fill(book, sheets)
        book.close()
    except (OSError, FileCreateError):
        for sheet in book.worksheets():
            with suppress(OSError):
                sheet.row_data_fh.close()
        raise


def _fill(book: Any, sheets: Mapping[str, Sequence[Sequence[Cell]]]) -> None:
    book.set_properties({"created": _FIRST_MADE})
    bold = book.add_format({"bold": True})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        sheet.freeze_panes(1, 0)
        for number, row in enumerate(rows):
            for place, cell in enumerate(row):
                if cell is None or cell == "":
                    continue
                style = bold if number == 0 else None
                write = sheet.write_string if isinstance(cell, str) else sheet.write_number
                write(number, place, cell, style)
