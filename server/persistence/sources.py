"""Where the tables of a catalogue come from: a folder, uploaded files, or the sheets of a workbook; each gives rows of plain cells."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from server.domain.csv_text import undefused

MOST_BYTES = 20_000_000
MOST_ROWS = 100_000
MOST_COLUMNS = 500
DELIMITERS = ",;\t"
Cells = Sequence[str]


class Unusable(Exception):
    """A table that cannot be read at all, or from a row on: what is wrong, and what is accepted."""

    def __init__(self, message: str, accepted: str, row: int | None = None) -> None:
        self.message, self.accepted, self.row = message, accepted, row
        super().__init__(message)


class Source(Protocol):
    """Tables by the names of their files."""

    def has(self, file: str) -> bool:
        """Whether there is such a table."""

    def place(self, file: str) -> str:
        """What a table is called where somebody looks for a fault in it."""

    def text(self, file: str, /) -> str:
        """A file's text; raises `Unusable`."""

    def rows(self, file: str) -> Iterator[tuple[int, Cells]]:
        """The rows of a table, each under the number it has in a spreadsheet; raises `Unusable`."""

    def has_decimal_comma(self, file: str, /) -> bool:
        """Whether numbers in a table may be written with a comma."""

    def remarks(self) -> list[tuple[str, str]]:
        """What the owner should know of how tables were read: the table and a sentence."""


@dataclass
class Files:
    """Files by name, as they were uploaded; UTF-8, else Windows-1252, separated by commas, semicolons or tabs."""

    contents: Mapping[str, bytes]
    _remarks: list[tuple[str, str]] = field(default_factory=list)

    def has(self, file: str) -> bool:
        """Whether a file of this name is among them."""
        return file in self.contents

    def place(self, file: str) -> str:
        """The file's name."""
        return file

    def content(self, file: str) -> bytes:
        """A file's bytes; raises `Unusable` where they are too many."""
        content = self.contents[file]
        if len(content) > MOST_BYTES:
            raise Unusable("The file is too large.", f"at most {MOST_BYTES} bytes")
        return content

    def text(self, file: str) -> str:
        """A file's text."""
        content = self.content(file)
        if b"\0" in content[:4]:  # As UTF-16 has it, which may pass for UTF-8.
            raise Unusable("The file is not UTF-8: it is another kind of text, or none.", "text in UTF-8")
        with suppress(UnicodeDecodeError):
            return content.decode("utf-8-sig")
        if not file.endswith(".csv") or b"\0" in content:  # TOML is UTF-8 by its own rules; UTF-16 is full of zeros.
            raise Unusable("The file is not UTF-8.", "text in UTF-8")
        try:
            text = content.decode("cp1252")
        except UnicodeDecodeError as error:
            raise Unusable("The file is neither UTF-8 nor Windows-1252.", "text in UTF-8") from error
        remark = (file, "It is not UTF-8 and was read as Windows-1252: look whether accents came out right.")
        if remark not in self._remarks:
            self._remarks.append(remark)
        return text

    def rows(self, file: str) -> Iterator[tuple[int, Cells]]:
        """The rows of a file of separated values."""
        text = self.text(file)
        lines = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), strict=True)
        try:
            for number, cells in enumerate(lines, start=1):
                _check_size(number, cells)
                yield number, [undefused(cell) for cell in cells]
        except csv.Error as error:
            raise Unusable(f"This is not CSV: {error}.", "comma-separated values", lines.line_num) from error

    def has_decimal_comma(self, file: str) -> bool:
        """Where cells are not separated by commas, a comma may stand within a number."""
        return _delimiter(self.text(file)) != ","

    def remarks(self) -> list[tuple[str, str]]:
        """Files that were not in UTF-8."""
        return list(self._remarks)


def _check_size(number: int, cells: Cells) -> None:
    """Raise `Unusable` at the row that makes a table longer or wider than any table of a catalogue is."""
    if number > MOST_ROWS:
        raise Unusable("There are too many rows.", f"at most {MOST_ROWS} rows", number)
    if len(cells) > MOST_COLUMNS:
        raise Unusable(f"There are too many columns: {len(cells)}.", f"at most {MOST_COLUMNS} columns", number)


def _delimiter(text: str) -> str:
    """What separates the names of the columns: of comma, semicolon and tab the one that stands most often in the first line."""
    header = text.split("\n", 1)[0]
    return max(DELIMITERS, key=header.count)


@dataclass
class FolderFiles(Files):
    """The files of a folder, read when they are asked for."""

    contents: Mapping[str, bytes] = field(default_factory=dict)
    path: Path = field(default_factory=Path)

    def has(self, file: str) -> bool:
        """Whether the folder has a file of this name."""
        return (self.path / file).is_file()

    def content(self, file: str) -> bytes:
        """A file's bytes; raises `Unusable` where it cannot be read."""
        path = self.path / file
        try:
            if path.stat().st_size > MOST_BYTES:
                raise Unusable("The file is too large.", f"at most {MOST_BYTES} bytes")
            return path.read_bytes()
        except OSError as error:
            raise Unusable(f"The file cannot be read: {error.strerror}.", "a readable file") from error


@dataclass(frozen=True)
class Sheets:
    """The sheets of a workbook by name, each its rows of cells as text; sheet boards stands for the file boards.csv."""

    sheets: Mapping[str, Sequence[Cells]]

    def has(self, file: str) -> bool:
        """Whether there is a sheet for a file."""
        return _sheet(file) in self.sheets

    def place(self, file: str) -> str:
        """The sheet, said as one; what no workbook holds, by the file's name."""
        return f"sheet {_sheet(file)}" if file.endswith(".csv") else file

    def text(self, _file: str) -> str:
        """A sheet is no text."""
        raise Unusable("A workbook holds no such file.", "the file by itself")

    def rows(self, file: str) -> Iterator[tuple[int, Cells]]:
        """The rows of a sheet."""
        for number, cells in enumerate(self.sheets[_sheet(file)], start=1):
            trimmed = _trimmed(cells)
            _check_size(number, trimmed)
            yield number, trimmed

    def has_decimal_comma(self, _file: str) -> bool:
        """A number in a sheet is one; where it was typed as text, either sign may stand."""
        return True

    def remarks(self) -> list[tuple[str, str]]:
        """None."""
        return []


def _trimmed(cells: Cells) -> Cells:
    """A row without blank cells at its end: a sheet is as wide as its widest row."""
    width = max((place for place, cell in enumerate(cells, start=1) if cell.strip()), default=0)
    return cells[:width]


def _sheet(file: str) -> str:
    return file.removesuffix(".csv")


@dataclass(frozen=True)
class Several:
    """Several sources as one: a table comes from the first that has it."""

    sources: Sequence[Source]

    def _of(self, file: str) -> Source:
        return next((source for source in self.sources if source.has(file)), self.sources[0])

    def has(self, file: str) -> bool:
        """Whether any of them has it."""
        return self._of(file).has(file)

    def place(self, file: str) -> str:
        """As the one that has it calls it."""
        return self._of(file).place(file)

    def text(self, file: str) -> str:
        """A file's text."""
        return self._of(file).text(file)

    def rows(self, file: str) -> Iterator[tuple[int, Cells]]:
        """The rows of a table."""
        return self._of(file).rows(file)

    def has_decimal_comma(self, file: str) -> bool:
        """As the one that has it says."""
        return self._of(file).has_decimal_comma(file)

    def remarks(self) -> list[tuple[str, str]]:
        """Those of all."""
        return [remark for source in self.sources for remark in source.remarks()]
