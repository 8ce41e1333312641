"""A shop copied from one database to the other in one go, and its books held side by side before the copy is kept."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from server.domain.backups import Row, Tally, line_of
from server.domain.copying import Beside, side_by_side
from server.domain.errors import Conflict, Fault, NotFound
from server.persistence.backups import Stored, replacing_all
from server.persistence.copying import books_of, held_still, name_of
from server.persistence.engine import Place, reaching, take_away_unbegun
from server.persistence.migrate import newest
from server.usecases.backups import COMMAND, NO_DATABASE, Counting, Say, check_free
from server.usecases.work import now_utc

SIGNS_OF_DIGEST = 16
OTHER_REVISION = "Its database is of another version of this program."
OTHER_TABLES = "Its tables are not those of this program."


@dataclass(frozen=True, slots=True)
class Copied:
    """What both sides say of themselves, and whether the copy was kept, which it is only where they agree in everything."""

    compared: tuple[Beside, ...]
    rows: int
    target: str

    @property
    def is_kept(self) -> bool:
        """Whether both sides agree."""
        return all(one.agrees for one in self.compared)


class _Differs(Exception):
    """Takes the copy back."""


def copy_shop(source: Place, target: Place, say: Say, *, force: bool) -> Copied:
    """Copy everything to an empty place, all of it or nothing, and reckon the books on both sides before it is kept.

    The source is held still meanwhile and stays as it is. Raises `NotFound` where there is no shop to copy, `Conflict` while
    somebody is connected to either side, for a source of another revision, and where there is a shop already and `force` is not given.
    """
    with reaching(source):
        if source.is_empty():
            raise NotFound("data", NO_DATABASE)
    was_empty = check_free(target, force=force)
    is_kept = False
    try:
        with held_still(source) as here:
            check_free(target, force=force)  # Others may have been waited for.
            copied = _copied(here, target, say, name_of(source))
        is_kept = copied.is_kept
    finally:
        if was_empty and not is_kept:
            take_away_unbegun(target)
    return copied


def _copied(here: Stored, target: Place, say: Say, source_name: str) -> Copied:
    if here.revision != newest():
        accepted = f"revision {newest()}: serve it with this version once, which brings it there; it is of {here.revision or 'none'}"
        raise Conflict([Fault("data", OTHER_REVISION, accepted)])
    now, rows = now_utc(), here.number()
    copied: Copied | None = None
    try:
        with replacing_all(target, here.revision) as there:
            _put_over(here, there, Counting(say, "copying", rows))
            comparing = Counting(say, "comparing", 2 * rows)
            compared = side_by_side(_said(here, now, comparing), _said(there, now, comparing))
            copied = Copied(compared, rows, name_of(target))
            if not copied.is_kept:
                raise _Differs
            there.bring_up(now, COMMAND, f"copied the shop from {source_name}")
    except _Differs:
        assert copied is not None
    return copied


def _put_over(here: Stored, there: Stored, copying: Counting) -> None:
    ours, theirs = here.columns, there.columns
    if {name: sorted(map(str, ours[name])) for name in ours} != {
        name: sorted(map(str, theirs[name])) for name in theirs
    }:
        raise Conflict([Fault("data", OTHER_TABLES, f"the tables of revision {newest()} alone")])
    for name in theirs:
        there.put(name, ours[name], copying.over(here.rows(name, ours[name])))


def _said(stored: Stored, now: datetime, comparing: Counting) -> dict[str, str]:
    """What one side says of itself: its books, and each table's rows with the digest of all that stands in them."""
    tables = {
        f"table {name}": _in_words(comparing.over(stored.rows(name, tuple(sorted(columns, key=str)))))
        for name, columns in sorted(stored.columns.items())
    }
    return {**books_of(stored.connection, now), **tables}


def _in_words(rows: Iterator[Row]) -> str:
    tally = Tally()
    for row in rows:
        tally = tally.plus(line_of(row))
    return f"{tally.rows} rows, {tally.digest:064x}"[: len(f"{tally.rows} rows, ") + SIGNS_OF_DIGEST]
