"""Whether the shop can serve: its database answers, has the schema of this program, and its disk has room."""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path

from server.domain.errors import Damaged, OutOfReach
from server.persistence.migrate import newest, revision_now
from server.persistence.outages import damage_met, telling_outages
from server.usecases.clock import WORDS, look_at_clock
from server.usecases.work import Shop

UNKNOWN = "not known while the database cannot be read"
LEAST_FREE_BYTES = 50 * 1024 * 1024
"""Enough for a day of a small shop and for a backup's beginning; under it the disk is as good as full."""


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that has to hold, and what is wrong where it does not."""

    name: str
    because: str = ""

    @property
    def holds(self) -> bool:
        """Whether nothing is wrong."""
        return not self.because


def readiness(shop: Shop, data: Path) -> tuple[Check, ...]:
    """Each check of the database, its schema and the disk, in words that name no address and no path."""
    database, schema = _database(shop)
    clock = _clock(shop) if database.holds and schema.holds else Check("clock", UNKNOWN)
    if clock.because == UNKNOWN and database.holds:  # What the first question did not meet, the clock's did.
        database, schema = _database(shop)
    return (database, schema, _disk(data), clock)


def _clock(shop: Shop) -> Check:
    """Only a clock that is behind keeps anybody from working; one that went on over a silence may be right."""
    try:
        with telling_outages(), shop.reading() as work:
            stands = look_at_clock(work)
    except OutOfReach:
        return Check("clock", UNKNOWN)
    return Check("clock", WORDS[stands] if stands == "behind" else "")


def _database(shop: Shop) -> tuple[Check, Check]:
    try:
        found = revision_now(shop.sessions)
        is_damaged = bool(damage_met(shop.sessions))
    except Damaged:
        is_damaged, found = True, ""
    except OutOfReach:
        return Check("database", "it does not answer"), Check("schema", UNKNOWN)
    if is_damaged:
        return Check("database", "it is damaged, and a backup has to be put back"), Check("schema", UNKNOWN)
    wrong = "" if found == newest() else f"it is {found or 'empty'}, this program wants {newest()}"
    return Check("database"), Check("schema", wrong)


def _disk(data: Path) -> Check:
    try:
        free = shutil.disk_usage(data).free
        with tempfile.TemporaryFile(dir=data) as file:
            file.write(b"room")
    except OSError as error:
        return Check("disk", f"the data folder cannot be written: {error.strerror}")
    return Check(
        "disk",
        ""
        if free >= LEAST_FREE_BYTES
        else f"{free // 1024 // 1024} MB are left, and {LEAST_FREE_BYTES // 1024 // 1024} are wanted",
    )
