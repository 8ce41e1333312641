"""What a workbook would come to in memory, found by unpacking it a piece at a time without keeping it.

Neither a file that unpacks to gigabytes, nor a cell at the far end of an empty sheet, nor one long text that every cell names can fill
the memory.
"""

from __future__ import annotations

import io
import re
import zipfile
from array import array
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

MOST_BYTES = 10 * 1024 * 1024
MOST_UNPACKED = 200 * 1024 * 1024
MOST_FILES = 2000
MOST_CELLS = 5_000_000
MOST_COLUMNS = 500
MOST_UNFOLDED = 50_000_000
"""So many signs all cells may hold together: a text that is kept once stands in each cell that names it."""
CHUNK = 1 << 20
OVERLAP = 4096
"""Longer than a reference to a cell is, so that none is missed where a chunk ends."""
OLD_FORMAT = b"\xd0\xcf\x11\xe0"
"""How a file of the format of before 2007 begins, and one with a password."""
MOST_SIGNS = 20
"""So many signs of a number are read: with more of them it is far too large anyway."""
_OF_OTHERS = ("content.xml", "xl/workbook.bin")
"""What makes a reader take the file for another format, whose sheets nobody has looked through."""
_PLACE = re.compile(rb"""\br\s*=\s*["']\s*([A-Za-z]*)([0-9]+)\s*["']""")
"""Where a cell or a row says that it stands."""
_VALUE = re.compile(rb"[<:]v[\s/>]")
"""Where a cell says what it holds."""
_CELL = re.compile(rb"<c\b([^<>&]*)>\s*(?:<f\b[^<>]*/>|<f\b[^<>]*>[^<]*</f>)?\s*<v>\s*([^<]*?)\s*</v>")
"""A cell with its value, as programs write it."""
_NAMES_TEXT = re.compile(rb"""\bt\s*=\s*["']s["']""")
"""What says that the value of a cell is the number of a shared text."""
_END_OF_TEXT = re.compile(rb"</(?:[\w.-]+:)?si\s*>|<(?:[\w.-]+:)?si\s*/>")
"""Where one of the shared texts ends."""


class Refused(Exception):
    """Why a workbook is not even unpacked."""


@dataclass
class _Texts:
    """How long the shared texts are, in bytes with their marks; `are_in_order` while each is surely found under its own number."""

    lengths: array[int] = field(default_factory=lambda: array("I"))
    longest: int = 0
    are_in_order: bool = True
    part: str = ""
    since: int = 0
    """Bytes of the text that goes on in the next piece."""

    def take(self, part: str, piece: bytes) -> None:
        """What a piece of a part says."""
        ends = [match.end() for match in _END_OF_TEXT.finditer(piece)]
        if self.part and part != self.part:
            self.are_in_order = self.are_in_order and not ends
        elif ends or self.part:
            self.part = part
            is_odd = b"<!" in piece or piece.rfind(b"<") > piece.rfind(b">")
            self.are_in_order = self.are_in_order and not is_odd and len(self.lengths) + len(ends) <= MOST_CELLS
        start = -self.since
        for end in ends:
            self.longest = max(self.longest, end - start)
            if self.are_in_order:
                self.lengths.append(end - start)
            start = end
        self.since = len(piece) - start

    def length(self, cell: re.Match[bytes]) -> int:
        """How long the shared text is that a cell names; nothing where it names none, and the longest where it is not known."""
        if not _NAMES_TEXT.search(cell[1]):
            return 0
        number = int(cell[2]) if cell[2].isdigit() and len(cell[2]) < MOST_SIGNS else MOST_CELLS
        return self.lengths[number] if self.are_in_order and number < len(self.lengths) else self.longest


def look_through(content: bytes) -> None:
    """Unpack a workbook a piece at a time without keeping it; raises `Refused` where it would become too much."""
    if len(content) > MOST_BYTES:
        raise Refused(f"The file is larger than {MOST_BYTES // 1024 // 1024} MB.")
    if content.startswith(OLD_FORMAT):
        raise Refused(
            "This is not a workbook of the open format: it has a password, or is of the kind of before 2007 (.xls)."
        )
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        members = archive.infolist()
        if len(members) > MOST_FILES:
            raise Refused("There are too many parts in this file.")
        if any(member.filename in _OF_OTHERS for member in members):
            raise Refused("This is not a workbook of the open format.")
        texts, values = _look_at_places(archive, members)
        if sum(values.values()) * texts.longest > MOST_UNFOLDED:
            _add_up(archive, texts, values)


def _look_at_places(archive: zipfile.ZipFile, members: list[zipfile.ZipInfo]) -> tuple[_Texts, dict[str, int]]:
    """Refuse what unpacks to too much and cells far outside; the shared texts, and how many values each part has."""
    left, texts = MOST_UNPACKED, _Texts()
    values: dict[str, int] = {}
    for member in members:
        may_be_sheet = not member.filename.endswith((".png", ".jpeg", ".bin"))
        far_row = far_column = texts.since = 0
        tail = b""
        for piece in _pieces(archive, member):
            left -= len(piece)
            if left < 0:
                raise Refused("The file would unpack to far more than a catalogue needs.")
            if may_be_sheet:
                row, column = _farthest(tail + piece)
                far_row, far_column = max(far_row, row), max(far_column, column)
                values[member.filename] = values.get(member.filename, 0) + len(_VALUE.findall(tail[-2:] + piece))
                texts.take(member.filename, piece)
                tail = piece[-OVERLAP:]
        if far_column > MOST_COLUMNS or far_row * far_column > MOST_CELLS:
            raise Refused("A sheet has a cell far outside of any table: delete what lies beyond it.")
    return texts, values


def _add_up(archive: zipfile.ZipFile, texts: _Texts, values: Mapping[str, int]) -> None:
    """Refuse cells that together hold too much; one that is written in no usual way counts as the longest text."""
    left = MOST_UNFOLDED
    for name, number in values.items():
        for piece in _pieces(archive, archive.getinfo(name), b"<c") if number else ():
            for cell in _CELL.finditer(piece):
                left, number = left - texts.length(cell), number - 1
        left -= max(0, number) * texts.longest
        if left < 0:
            raise Refused(
                "The cells hold far more text than a catalogue needs: a long text stands in very many of them."
            )


def _pieces(archive: zipfile.ZipFile, member: zipfile.ZipInfo, mark: bytes = b"<") -> Iterator[bytes]:
    """A part, a piece at a time, each cut before a mark so that nothing that begins with it is torn, if it is not very long."""
    with archive.open(member) as part:
        rest = b""
        while chunk := part.read(CHUNK):
            text = rest + chunk
            cut = text.rfind(mark)
            cut = cut if len(text) - cut <= OVERLAP else len(text)
            rest = text[cut:]
            if cut:
                yield text[:cut]
        if rest:
            yield rest


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
