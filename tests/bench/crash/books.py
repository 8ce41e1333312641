"""The books of a crash run: what must hold in the database whatever was sent, looked at after every kill.

What has been looked at once is remembered, so that a look costs by what is new: rows that only grow are read from the newest known
on, and the database adds up the old ones to see that they are as they were. What was touched is read whole, and a sample of the rest.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, TypeVar

from sqlalchemy import text
from sqlmodel import Session, SQLModel, col, func, select

from server.usecases.work import now_utc
from tests.bench.harness import Outcome

SAMPLED = 12
AT_ONCE = 500

Row = TypeVar("Row", bound=SQLModel)


@dataclass
class Memory:
    """What earlier looks have seen."""

    draw: random.Random
    day_of: Callable[[datetime], date] = datetime.date
    """On which day of the shop a moment lies."""
    began_on: date = date.min
    newest: dict[str, int] = field(default_factory=dict)
    """The newest row of each table that only grows."""
    digests: dict[tuple[int, int], str] = field(default_factory=dict)
    """Of revisions by quote and number."""
    papers: dict[int, tuple[str, int]] = field(default_factory=dict)
    """Of papers by number: what stands on it, and its sum."""
    on_hand: Counter[str] = field(default_factory=Counter)
    entries: tuple[int, int, int] = (0, 0, 0)
    """Entries of the stock, what they change and what they hold, added up."""
    left_by_sale: dict[int, Counter[tuple[str, str]]] = field(default_factory=dict)
    """Entries of the stock that name a sale, by kind and SKU."""
    open_holds: set[int] = field(default_factory=set)
    message_ids: dict[int, tuple[str, str]] = field(default_factory=dict)
    """Of messages by number: the Message-ID and to whom."""
    unsent: set[int] = field(default_factory=set)
    letters: Counter[str] = field(default_factory=Counter)
    """How often each Message-ID has arrived."""
    letters_read: int = 0
    parts: dict[str, tuple[Any, ...]] = field(default_factory=dict)
    points: dict[str, list[tuple[Any, ...]]] = field(default_factory=dict)


@dataclass
class Books:
    """The database at one moment, with what is remembered and where what is found goes."""

    session: Session
    outcome: Outcome
    memory: Memory
    is_whole: bool = False
    """Whether everything is looked at, however old."""
    now: datetime = field(default_factory=now_utc)

    def must(self, holds: bool, otherwise: str, *facts: Any) -> None:
        """Count a check; where it does not hold, note what was found."""
        self.outcome.must(holds, otherwise, *facts)

    def new_rows(self, table: type[Row]) -> Sequence[Row]:
        """The rows of a table that were added since the last look, in the order of their numbers."""
        name, number = str(table.__tablename__), table.id  # type: ignore[attr-defined]  # Every table asked for has one.
        wanted = select(table).where(number > self.memory.newest.get(name, 0)).order_by(number)
        rows = self.session.exec(wanted).all()
        if rows:
            self.memory.newest[name] = rows[-1].id  # type: ignore[attr-defined]
        return rows

    def rows_with(self, table: type[Row], column: Any, values: Collection[Any]) -> list[Row]:
        """The rows of a table with one of some values."""
        wanted = list(values)
        found: list[Row] = []
        for start in range(0, len(wanted), AT_ONCE):
            found += self.session.exec(select(table).where(col(column).in_(wanted[start : start + AT_ONCE]))).all()
        return found

    def sample(self, among: Sequence[Any]) -> Sequence[Any]:
        """A few of many, drawn at random; all of them in a look at everything."""
        return among if self.is_whole or len(among) <= SAMPLED else self.memory.draw.sample(among, SAMPLED)

    def count(self, table: type[SQLModel]) -> int:
        """How many rows a table has."""
        return self.session.exec(select(func.count()).select_from(table)).one()

    def column(self, query: str) -> Sequence[Any]:
        """The first column of what a query finds."""
        return self.session.execute(text(query)).scalars().all()

    def none_of(self, query: str, otherwise: str, **values: Any) -> None:
        """A query that finds what must not be finds nothing."""
        found = self.session.execute(text(query), values).all()
        self.must(not found, otherwise, *found[:3])


def check_file(session: Session, outcome: Outcome) -> None:
    """SQLite's own checks of its file; PostgreSQL has none to ask."""
    if session.get_bind().dialect.name == "sqlite":
        outcome.must(session.execute(text("PRAGMA integrity_check")).scalars().all() == ["ok"], "integrity_check")
        outcome.must(session.execute(text("PRAGMA foreign_key_check")).all() == [], "foreign_key_check")
