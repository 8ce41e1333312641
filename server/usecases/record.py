"""The record of deeds, looked through by its owner: who did what, to whom, when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from server.domain.accounts import name_key
from server.persistence.accounts import deeds_between
from server.persistence.tables import DeedRow
from server.usecases.work import Work

PAGE = 100
MOST = 100_000


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for: words that have to be in each part, and days of the shop's calendar, both included."""

    who: str = ""
    what: str = ""
    whom: str = ""
    first: date | None = None
    last: date | None = None


@dataclass(frozen=True, slots=True)
class Deed:
    """A deed as it was written down."""

    at: datetime
    who: str
    what: str
    whom: str
    address: str


@dataclass(frozen=True, slots=True)
class Record:
    """A page of the deeds that were looked for, newest first, and how many there are in all."""

    deeds: tuple[Deed, ...]
    number: int
    page: int

    @property
    def pages(self) -> int:
        """How many pages there are, one at least."""
        return max(1, -(-self.number // PAGE))


def read_record(work: Work, wanted: Wanted, page: int = 1) -> Record:
    """A page of the deeds that are meant; one that there is not holds none."""
    start = (page - 1) * PAGE
    rows, number = _found(work, wanted, slice(start, start + PAGE))
    return Record(rows, number, page)


def whole_record(work: Work, wanted: Wanted) -> tuple[Deed, ...]:
    """All the deeds that are meant, newest first."""
    return _found(work, wanted, slice(0, MOST))[0]


def _found(work: Work, wanted: Wanted, places: slice) -> tuple[tuple[Deed, ...], int]:
    keys = [(name, name_key(getattr(wanted, name))) for name in ("who", "what", "whom")]

    def is_meant(row: DeedRow) -> bool:
        return all(key in name_key(getattr(row, name)) for name, key in keys if key)

    end = None if wanted.last in (None, date.max) else wanted.last + timedelta(days=1)
    rows, number = deeds_between(work.session, _began(work, wanted.first), _began(work, end), is_meant, places)
    return tuple(Deed(row.at, row.who, row.what, row.whom, row.address) for row in rows), number


def _began(work: Work, day: date | None) -> datetime | None:
    """When a day of the shop's calendar begins."""
    zone = work.zone
    return None if day is None else datetime.combine(day, time(), zone)
