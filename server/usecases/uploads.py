"""What the owner uploads of a catalogue: a workbook, a ZIP, or files by themselves, told apart by what is in them, as one source."""

from __future__ import annotations

import binascii
import json
import re
import zlib
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from server.domain.errors import Fault, FileFault, InvalidInput
from server.outside.workbook import BOOK, read_workbook
from server.outside.workbook_bounds import OLD_FORMAT
from server.outside.zip_files import files_in_zip, names_in_zip
from server.persistence.columns import FILES, POLICY
from server.persistence.sources import Cells, Files, Several, Sheets, Source

MOST_BYTES = 10 * 1024 * 1024
MOST_UNPACKED = 80 * 1024 * 1024
ACCEPTED = "a workbook (.xlsx), a ZIP, or files named one of: " + ", ".join(FILES)
SHEETS = tuple(file.removesuffix(".csv") for file in FILES if file != POLICY)
MOST_WORKBOOKS = len(SHEETS)
"""More workbooks than there are tables hold some table twice, and each may take seconds to look through."""
WORKBOOK_ENDINGS, ZIP_ENDING = (".xlsx", ".xlsm"), ".zip"
LOST = "What was looked at did not come along whole: choose the file again."
_COPY = re.compile(r" ?\(\d{1,3}\)(?=\.[a-z]+$)")
"""What browsers add to the name of a file that they saved before."""


@dataclass(frozen=True)
class Upload:
    """Tables as they came, by the names of their files, and what of it could not be taken."""

    names: tuple[str, ...] = ()
    files: Mapping[str, bytes] = field(default_factory=dict)
    sheets: Mapping[str, Sequence[Cells]] = field(default_factory=dict)
    faults: tuple[FileFault, ...] = ()
    remarks: tuple[FileFault, ...] = ()

    @property
    def source(self) -> Source:
        """Where its tables are read from."""
        sources: list[Source] = [Files(self.files)] if self.files or not self.sheets else []
        return Several([*sources, *([Sheets(self.sheets)] if self.sheets else [])])

    @property
    def has_tables(self) -> bool:
        """Whether there is anything to read."""
        return bool(self.files or self.sheets)


class _Opening:
    """One walk over what was uploaded."""

    def __init__(self) -> None:
        self.files: dict[str, bytes] = {}
        self.sheets: dict[str, Sequence[Cells]] = {}
        self.faults: list[FileFault] = []
        self.remarks: list[FileFault] = []
        self.workbooks = 0

    def fault(self, name: str, message: str, accepted: str = ACCEPTED) -> None:
        self.faults.append(FileFault(printable(name), None, "", message, accepted))

    def take(self, name: str, content: bytes, *, is_in_zip: bool = False) -> None:
        """A file, whatever it is."""
        if len(content) > MOST_BYTES and not is_in_zip:
            self.fault(
                name, f"The file is larger than {MOST_BYTES // 1024 // 1024} MB.", "a smaller file, or a part of it"
            )
        elif content.startswith(OLD_FORMAT) or (content.startswith(b"PK") and BOOK in names_in_zip(content)):
            self._take_workbook(name, content)
        elif content.startswith(b"PK") and not is_in_zip:
            self._take_zip(name, content)
        else:
            self._take_file(name, content)

    def _take_workbook(self, name: str, content: bytes) -> None:
        self.workbooks += 1
        if self.workbooks > MOST_WORKBOOKS:
            if self.workbooks == MOST_WORKBOOKS + 1:
                self.fault(name, "There are too many workbooks.", f"at most {MOST_WORKBOOKS} at once")
            return
        if not content.startswith(OLD_FORMAT) and not name.strip().casefold().endswith(WORKBOOK_ENDINGS):
            self.fault(name, "This is a workbook, and is not named as one.", ", ".join(WORKBOOK_ENDINGS))
            return
        try:
            sheets = read_workbook(content)
        except InvalidInput as error:
            for fault in error.faults:
                self.fault(name, fault.message, fault.accepted)
            return
        for sheet, rows in sheets.items():
            known = sheet.strip().casefold().replace(" ", "_")
            if not any(cell.strip() for row in rows for cell in row):
                continue
            if known not in SHEETS:
                self.fault(f"sheet {sheet}", "There is no table of this name.", "one of: " + ", ".join(SHEETS))
            elif known in self.sheets or f"{known}.csv" in self.files:
                self.fault(f"sheet {sheet}", "This table is there twice.", "each table once")
            else:
                self.sheets[known] = rows

    def _take_zip(self, name: str, content: bytes) -> None:
        if not name.strip().casefold().endswith(ZIP_ENDING):
            self.fault(name, "This is a ZIP, and is not named as one.", ZIP_ENDING)
            return
        try:
            files = files_in_zip(content)
        except InvalidInput as error:
            for fault in error.faults:
                self.fault(name, fault.message, fault.accepted)
            return
        for inner, file in files:
            self.take(inner, file, is_in_zip=True)

    def _take_file(self, name: str, content: bytes) -> None:
        known = _COPY.sub("", name.strip().casefold())
        if known not in FILES:
            if known.endswith((".md", ".txt")):
                self.remarks.append(FileFault(printable(name), None, "", "It is no table and was passed over."))
                return
            self.fault(name, "There is no table of this name.")
        elif known in self.files or known.removesuffix(".csv") in self.sheets:
            self.fault(name, "This table is there twice.", "each table once")
        else:
            self.files[known] = content


def printable(name: str) -> str:
    """A name as it can be shown: what cannot be printed is a question mark, what is too long is cut."""
    shown = "".join(sign if sign.isprintable() else "?" for sign in name[:80])
    return shown.strip() or "a file without a name"


def open_upload(files: Iterable[tuple[str, bytes]]) -> Upload:
    """Everything that was uploaded, told apart by what is in it; what cannot be taken is among its faults."""
    opening, names = _Opening(), []
    for name, content in files:
        names.append(printable(name.replace("\\", "/").rpartition("/")[2]))
        opening.take(names[-1], content)
    if not opening.files and not opening.sheets and not opening.faults:
        opening.fault(", ".join(names) or "file", "There is no table in it." if names else "No file was chosen.")
    return Upload(tuple(names), opening.files, opening.sheets, tuple(opening.faults), tuple(opening.remarks))


def packed(upload: Upload) -> str:
    """An upload without faults as text, so that a page can carry it on: nothing of it is kept here meanwhile."""
    content = {
        "names": upload.names,
        "files": {name: file.decode("latin-1") for name, file in upload.files.items()},
        "sheets": upload.sheets,
    }
    text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
    return urlsafe_b64encode(zlib.compress(text.encode())).decode()


def unpacked(text: str) -> Upload:
    """What `packed` gave; raises `InvalidInput` for anything else."""
    try:
        unpacking = zlib.decompressobj()
        content = unpacking.decompress(urlsafe_b64decode(text.encode("ascii")), MOST_UNPACKED)
        if not unpacking.eof:
            raise ValueError
        return _upload_from(json.loads(content))
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError, zlib.error, binascii.Error) as error:
        raise InvalidInput([Fault("content", LOST)]) from error


def _upload_from(said: Mapping[str, Any]) -> Upload:
    names = tuple(printable(str(name)) for name in said["names"])
    files = {name: content.encode("latin-1") for name, content in said["files"].items()}
    sheets = said["sheets"]
    are_cells = all(isinstance(cell, str) for rows in sheets.values() for row in rows for cell in row)
    if not are_cells or not {*files} <= {*FILES} or not {*sheets} <= {*SHEETS} or not (files or sheets):
        raise ValueError
    return Upload(names, files, sheets)
