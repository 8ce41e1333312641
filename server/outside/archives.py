"""Backups as files: a ZIP with a file of JSON lines for each table and a manifest, written and read row by row."""

from __future__ import annotations

import io
import json
import os
import secrets
import zipfile
import zlib
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from server.domain.backups import (
    ACCEPTED,
    NO_BACKUP,
    Column,
    Manifest,
    Row,
    TableKept,
    Tally,
    line_of,
    manifest_from,
    manifest_text,
)
from server.domain.errors import Fault, InvalidInput

MANIFEST = "manifest.json"
ONLY_FOR_US = 0o600
NOT_READABLE = (
    zipfile.BadZipFile,
    zlib.error,
    EOFError,
    ValueError,
    KeyError,
    NotImplementedError,
    RuntimeError,
    OverflowError,
)
"""All that Python's readers of ZIP and JSON raise over a file that somebody cut short or garbled."""


def write_archive(
    path: Path, revision: str, made_at: datetime, tables: Iterable[tuple[str, tuple[Column, ...], Iterable[Row]]]
) -> Manifest:
    """Write a backup for us alone to read; the file has its name only once it is whole and on the disk.

    Raises `OSError` where it cannot be written; nothing is left behind then.
    """
    partial = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with os.fdopen(os.open(partial, os.O_CREAT | os.O_EXCL | os.O_WRONLY, ONLY_FOR_US), "wb") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
                kept = tuple(_written(archive, *table) for table in tables)
                manifest = Manifest(revision, made_at, kept)
                archive.writestr(MANIFEST, manifest_text(manifest))
            file.flush()
            os.fsync(file.fileno())
        with open_archive(partial) as archive:
            archive.read_through()
        partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)
    _settle(path.parent)
    return manifest


def _settle(folder: Path) -> None:
    """Have a new name in a folder on the disk, too; some file systems know no such thing."""
    opened = os.open(folder, os.O_RDONLY)
    try:
        with suppress(OSError):
            os.fsync(opened)
    finally:
        os.close(opened)


def _written(archive: zipfile.ZipFile, name: str, columns: tuple[Column, ...], rows: Iterable[Row]) -> TableKept:
    tally = Tally()
    with archive.open(_member(name), "w", force_zip64=True) as file:
        for row in rows:
            line = line_of(row)
            tally = tally.plus(line)
            file.write(line + b"\n")
    return TableKept(name, columns, tally)


def _member(table: str) -> str:
    return f"tables/{table}.jsonl"


@dataclass(frozen=True)
class Archive:
    """A backup that is being read."""

    manifest: Manifest
    _file: zipfile.ZipFile

    def rows(self, table: TableKept) -> Iterator[Row]:
        """A table's rows, one after the other; raises `InvalidInput`, after the last at the latest, where they are not as written."""
        tally, width = Tally(), len(table.columns)
        with _legible(), self._file.open(_member(table.name)) as file:
            for line in file:
                row = json.loads(line)
                if not isinstance(row, list) or len(row) != width:
                    raise ValueError("a line that is no row")
                tally = tally.plus(line.removesuffix(b"\n"))
                yield row
        if tally != table.tally:
            raise InvalidInput([Fault("file", f"{NO_BACKUP} Its table {table.name} is not as written.", ACCEPTED)])

    def read_through(self) -> None:
        """Read every row of every table once; raises `InvalidInput` where one is not what was written."""
        for table in self.manifest.tables:
            for _ in self.rows(table):
                pass


@contextmanager
def open_archive(path: Path) -> Iterator[Archive]:
    """A backup to be read; raises `InvalidInput` for a file that is none, or of which something is missing."""
    with _legible():
        file = zipfile.ZipFile(path)
    with file:
        with _legible():
            manifest = manifest_from(file.read(MANIFEST).decode())
        yield Archive(manifest, file)


@contextmanager
def _legible() -> Iterator[None]:
    try:
        yield
    except FileNotFoundError as error:
        raise InvalidInput([Fault("file", "There is no such file.", ACCEPTED)]) from error
    except OSError as error:
        raise InvalidInput([Fault("file", f"It cannot be read: {error.strerror}.", ACCEPTED)]) from error
    except NOT_READABLE as error:
        raise InvalidInput([Fault("file", NO_BACKUP, ACCEPTED)]) from error


def zip_of(files: Mapping[str, bytes]) -> bytes:
    """Some files in one ZIP; photographs are not made smaller once more."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w") as archive:
        for name, content in files.items():
            how = zipfile.ZIP_STORED if name.endswith(".jpg") else zipfile.ZIP_DEFLATED
            archive.writestr(name, content, compress_type=how)
    return made.getvalue()
