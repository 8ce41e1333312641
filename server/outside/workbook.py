"""Workbooks in the open format for spreadsheets (Office Open XML, ISO/IEC 29500): sheets of plain cells, read and written.

Read by calamine and written by XlsxWriter. What comes from outside is looked through first, so that neither a file that unpacks to
gigabytes nor a cell at the far end of an empty sheet can fill the memory.
"""

from __future__ import annotations

import io
import lzma
import re
import zipfile
import zlib
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import xlsxwriter
from python_calamine import CalamineError, CalamineWorkbook

from server.domain.errors import Fault, InvalidInput

MOST_BYTES = 10 * 1024 * 1024
MOST_UNPACKED = 200 * 1024 * 1024
MOST_FILES = 2000
MOST_CELLS = 5_000_000
MOST_COLUMNS = 500
CHUNK = 1 << 20
OVERLAP = 4096
"""Longer than a reference to a cell is, so that none is missed where a chunk ends."""
ACCEPTED = f"a workbook (.xlsx) of at most {MOST_BYTES // 1024 // 1024} MB without a password"
OLD_FORMAT = b"\xd0\xcf\x11\xe0"
"""How a file of the format of before 2007 begins, and one with a password."""
MOST_SIGNS = 20
"""So many signs of a number are read: with more of them it is far too large anyway."""
BOOK = "xl/workbook.xml"
_OF_OTHERS = ("content.xml", "xl/workbook.bin")
"""What makes a reader take the file for another format, whose sheets nobody has looked through."""
_PLACE = re.compile(rb"""\br\s*=\s*["']\s*([A-Za-z]*)([0-9]+)\s*["']""")
"""Where a cell or a row says that it stands."""
_FIRST_MADE = datetime(2026, 1, 1, tzinfo=UTC).replace(tzinfo=None)
"""A workbook says when it was made; a fixed day makes the same sheets the same bytes."""
Cell = str | int | float | None


def read_workbook(content: bytes, field: str = "file") -> dict[str, list[list[str]]]:
    """The sheets of a workbook by name, each its rows of cells as text, a blank cell as an empty one.

    Of a formula its last value is read; a day is written 2026-11-28, a whole number without a point. Raises `InvalidInput` under
    `field` for what is no workbook, is too large, or would be too large once unpacked.
    """
    try:
        _look_through(content)
        book = CalamineWorkbook.from_filelike(io.BytesIO(content))
        return {name: [[_text(cell) for cell in row] for row in _rows(book, name)] for name in book.sheet_names}
    except _Refused as error:
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


class _Refused(Exception):
    """Why a workbook is not even unpacked."""


def _rows(book: CalamineWorkbook, name: str) -> list[list[Any]]:
    """All rows of a sheet from its first one on, empty ones included, so that a row keeps its number."""
    rows: list[list[Any]] = book.get_sheet_by_name(name).to_python(skip_empty_area=False)
    return rows


def _look_through(content: bytes) -> None:
    """Unpack a workbook a piece at a time without keeping it; raises `_Refused` where it would become too much."""
    if len(content) > MOST_BYTES:
        raise _Refused(f"The file is larger than {MOST_BYTES // 1024 // 1024} MB.")
    if content.startswith(OLD_FORMAT):
        raise _Refused(
            "This is not a workbook of the open format: it has a password, or is of the kind of before 2007 (.xls)."
        )
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        members = archive.infolist()
        if len(members) > MOST_FILES:
            raise _Refused("There are too many parts in this file.")
        if any(member.filename in _OF_OTHERS for member in members):
            raise _Refused("This is not a workbook of the open format.")
        left = MOST_UNPACKED
        for member in members:
            may_be_sheet = not member.filename.endswith((".png", ".jpeg", ".bin"))
            far_row = far_column = 0
            tail = b""
            with archive.open(member) as part:
                while piece := part.read(CHUNK):
                    left -= len(piece)
                    if left < 0:
                        raise _Refused("The file would unpack to far more than a catalogue needs.")
                    if may_be_sheet:
                        row, column = _farthest(tail + piece)
                        far_row, far_column = max(far_row, row), max(far_column, column)
                        tail = piece[-OVERLAP:]
            if far_column > MOST_COLUMNS or far_row * far_column > MOST_CELLS:
                raise _Refused("A sheet has a cell far outside of any table: delete what lies beyond it.")


def _farthest(piece: bytes) -> tuple[int, int]:
    """The farthest row and column that a piece of a sheet names."""
    row = column = 0
    for letters, digits in _PLACE.findall(piece):
        row, column = (
            max(row, int(digits.lstrip(b"0")[:MOST_SIGNS] or 0)),
            max(column, _column_number(letters[:MOST_SIGNS].upper())),
        )
    return row, column


def _column_number(letters: bytes) -> int:
    """A is 1, Z is 26, AA is 27."""
    number = 0
    for letter in letters:
        number = number * 26 + letter - ord("A") + 1
    return number


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

    The same sheets give the same bytes.
    """
    file = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_numbers": False, "strings_to_urls": False}
    with xlsxwriter.Workbook(file, options) as book:
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
    return file.getvalue()
