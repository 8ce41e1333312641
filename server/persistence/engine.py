"""The database engine: an SQLite file by default, with the pragmas and transactions it needs, or PostgreSQL by its address."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, event, inspect
from sqlalchemy.exc import DatabaseError, SQLAlchemyError
from sqlmodel import Session, create_engine

from server.domain.errors import OutOfReach

FILE_NAME = "slackwater.sqlite3"
PRAGMAS = ("busy_timeout=5000", "synchronous=NORMAL", "foreign_keys=ON")
WAL_TRIES, WAL_PAUSE_SECONDS = 100, 0.05
ONLY_FOR_US = 0o600


@dataclass(frozen=True, slots=True)
class Place:
    """Where a shop's data lie: a folder, and a PostgreSQL address where one is given (else an SQLite file in the folder)."""

    data: Path
    url: str = ""

    @property
    def sqlite_file(self) -> Path:
        """The SQLite file of the folder."""
        return sqlite_file(self.data)

    def is_empty(self) -> bool:
        """Whether there is no database of ours; other files in the folder do not matter."""
        if not self.url:
            return not self.sqlite_file.exists()
        engine = engine_for(self)
        try:
            return not inspect(engine).has_table("alembic_version")
        finally:
            engine.dispose()


@contextmanager
def reaching(place: Place) -> Iterator[None]:
    """While a database is opened: what the driver has to say becomes one `OutOfReach` without its trace."""
    try:
        yield
    except (DatabaseError, OSError) as error:
        what = "The PostgreSQL database" if place.url else f"The database in {place.data}"
        because = str(getattr(error, "orig", None) or error).strip().splitlines()[0]
        raise OutOfReach(f"{what} cannot be opened: {because}.") from error


@contextmanager
def answering() -> Iterator[None]:
    """While an open database is asked: that it does not answer becomes `OutOfReach`."""
    try:
        yield
    except SQLAlchemyError as error:
        raise OutOfReach("the database does not answer") from error


def sqlite_file(data: Path) -> Path:
    """Where a data folder keeps its SQLite database."""
    return data / FILE_NAME


def _prepare(connection: Any, _record: Any) -> None:
    """On connect: the driver begins no transactions of its own, and the pragmas hold."""
    connection.isolation_level = None
    for pragma in PRAGMAS:
        connection.execute(f"PRAGMA {pragma}")
    _write_ahead(connection)


def _write_ahead(connection: Any) -> None:
    """Turn write-ahead logging on; where two open a new file at once SQLite says "locked" without waiting, so we wait."""
    for _ in range(WAL_TRIES - 1):
        try:
            connection.execute("PRAGMA journal_mode=WAL")
        except sqlite3.OperationalError:
            time.sleep(WAL_PAUSE_SECONDS)
        else:
            return
    connection.execute("PRAGMA journal_mode=WAL")


def _begin(connection: Connection) -> None:
    """Writers take the write lock at once, so that what they read cannot change before they write."""
    options = connection.get_execution_options()
    if not options.get("begins_by_hand", False):
        connection.exec_driver_sql("BEGIN IMMEDIATE" if options.get("writing", False) else "BEGIN")


def engine_for(place: Place) -> Engine:
    """An engine over a place whose folder exists; an SQLite file is made there for us alone to read."""
    if place.url:
        return create_engine(place.url, pool_pre_ping=True)
    if not place.sqlite_file.exists():
        os.close(os.open(place.sqlite_file, os.O_CREAT | os.O_WRONLY, ONLY_FOR_US))
    engine = create_engine(f"sqlite:///{place.sqlite_file}")
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def sessions(engine: Engine) -> Callable[[bool], Session]:
    """A maker of sessions over one pool: `make(True)` for writing, `make(False)` for reading.

    A reader sees one moment throughout; a writer sees what others committed before it took its locks.
    """
    writing = engine.execution_options(writing=True)
    is_postgres = engine.dialect.name == "postgresql"
    reading = engine.execution_options(isolation_level="REPEATABLE READ") if is_postgres else engine

    def make(for_writing: bool) -> Session:
        return Session(writing if for_writing else reading, expire_on_commit=False)

    return make
