"""What a backup says of itself, so that what is put back can be held against it; and when one is too old."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal, get_args

from server.domain.errors import Fault, InvalidInput

Kind = Literal["text", "whole", "real", "truth", "day", "moment", "bytes"]
Row = list[Any]
"""A row as JSON keeps it: days and moments as text, bytes as base64."""

FORMAT = 1
STALE_AFTER = timedelta(days=7)
DIGEST_ROOM = 2**256
NO_BACKUP = "This is no whole backup of a shop."
ACCEPTED = "a file that `backup` wrote, unchanged"


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a table, and what kind of value stands in it on either database."""

    name: str
    kind: Kind


@dataclass(frozen=True, slots=True)
class Tally:
    """How many rows there were, and the sum of their SHA-256 digests.

    A sum does not depend on the order of the rows, which two databases need not agree on.
    """

    rows: int = 0
    digest: int = 0

    def plus(self, line: bytes) -> Tally:
        """The tally with one row more."""
        sign = int.from_bytes(hashlib.sha256(line).digest(), "big")
        return Tally(self.rows + 1, (self.digest + sign) % DIGEST_ROOM)


@dataclass(frozen=True, slots=True)
class TableKept:
    """A table of a backup: its columns in the order of each row's values, and the tally of its rows."""

    name: str
    columns: tuple[Column, ...]
    tally: Tally


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup holds: the revision of the schema its rows fit, when it was made, and its tables."""

    revision: str
    made_at: datetime
    tables: tuple[TableKept, ...]

    @property
    def rows(self) -> int:
        """The rows of all tables."""
        return sum(table.tally.rows for table in self.tables)


def line_of(row: Row) -> bytes:
    """A row as the line that stands in the backup, without its end; the same row is always the same line."""
    return json.dumps(row, ensure_ascii=False, separators=(",", ":")).encode()


def manifest_text(manifest: Manifest) -> str:
    """A manifest as JSON."""
    tables = [
        {
            "name": table.name,
            "columns": [[column.name, column.kind] for column in table.columns],
            "rows": table.tally.rows,
            "digest": f"{table.tally.digest:064x}",
        }
        for table in manifest.tables
    ]
    about = {"format": FORMAT, "revision": manifest.revision, "made_at": manifest.made_at.isoformat()}
    return json.dumps({**about, "tables": tables}, indent=1)


def manifest_from(text: str) -> Manifest:
    """The manifest that a text says; raises `InvalidInput` where it says none, or one of another format."""
    try:
        said = json.loads(text)
        if said["format"] != FORMAT:
            raise InvalidInput([Fault("file", f"It is of format {said['format']!r}.", f"format {FORMAT}")])
        made_at = datetime.fromisoformat(said["made_at"])
        return Manifest(str(said["revision"]), made_at, tuple(_table_from(table) for table in said["tables"]))
    except (ValueError, KeyError, TypeError, IndexError, AttributeError) as error:
        raise InvalidInput([Fault("file", NO_BACKUP, ACCEPTED)]) from error


def _table_from(said: Mapping[str, Any]) -> TableKept:
    columns = tuple(Column(str(name), kind) for name, kind in said["columns"])
    names = [said["name"], *(column.name for column in columns)]
    if any(column.kind not in get_args(Kind) for column in columns) or not all(
        re.fullmatch("[a-z_]+", name) for name in names
    ):
        raise ValueError("a column of no known kind, or a name that is none of a table")
    return TableKept(said["name"], columns, Tally(int(said["rows"]), int(said["digest"], 16)))


def is_stale(made_at: datetime | None, now: datetime) -> bool:
    """Whether a new backup is due: there is none, or the last one is older than seven days."""
    return made_at is None or now - made_at > STALE_AFTER
