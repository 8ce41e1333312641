"""ZIP archives of a few plain files, read with guards and written the same for the same files."""

from __future__ import annotations

import io
import lzma
import zipfile
import zlib
from collections.abc import Mapping

from server.domain.errors import Fault, InvalidInput

MOST_FILES = 200
MOST_UNPACKED = 60 * 1024 * 1024
ACCEPTED = f"a ZIP of at most {MOST_FILES} files without a password"
NOT_READABLE = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    OSError,
    ValueError,
    KeyError,
    EOFError,
    NotImplementedError,
    OverflowError,
    RuntimeError,
)
"""All that Python's reader raises over an archive that somebody cut short, garbled or locked with a password."""
_FIRST_MADE = (2026, 1, 1, 0, 0, 0)


def names_in_zip(content: bytes) -> list[str]:
    """The names in an archive; none where it is no archive."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return archive.namelist()
    except NOT_READABLE:
        return []


def files_in_zip(content: bytes, field: str = "file") -> list[tuple[str, bytes]]:
    """The files of an archive, each under its name without folders; what systems add by themselves is left out.

    Raises `InvalidInput` under `field` for what is no archive, is locked, or would be too large once unpacked.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            return _unpacked(archive)
    except _Refused as error:
        raise InvalidInput([Fault(field, str(error), ACCEPTED)]) from error
    except NOT_READABLE as error:
        raise InvalidInput([Fault(field, "This is not a ZIP that can be read here.", ACCEPTED)]) from error


class _Refused(Exception):
    """Why an archive is not unpacked."""


def _unpacked(archive: zipfile.ZipFile) -> list[tuple[str, bytes]]:
    members = [member for member in archive.infolist() if not member.is_dir()]
    if len(members) > MOST_FILES:
        raise _Refused("There are too many files in it.")
    files, left = [], MOST_UNPACKED
    for member in members:
        name = member.filename.replace("\\", "/").rpartition("/")[2]
        if name.startswith(".") or "__MACOSX/" in member.filename:
            continue
        with archive.open(member) as packed:
            file = packed.read(left + 1)
        left -= len(file)
        if left < 0:
            raise _Refused("It would unpack to far more than a catalogue needs.")
        files.append((name, file))
    return files


def zip_of(files: Mapping[str, bytes]) -> bytes:
    """An archive of some files; the same files give the same bytes."""
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name, _FIRST_MADE), content, zipfile.ZIP_DEFLATED)
    return file.getvalue()
