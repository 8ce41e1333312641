"""Bringing a database to the newest schema, or to an older one where a backup is put back, all steps in one transaction.

Alembic is imported where steps are run: it takes a tenth of the start, and a database of the newest schema needs none of it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine, inspect
from sqlalchemy.exc import OperationalError
from sqlmodel import Session

from server.domain.errors import Conflict, Fault, OutOfReach
from server.persistence.outages import answering
from server.persistence.tables import metadata

if TYPE_CHECKING:
    from alembic.config import Config

STEPS = Path(__file__).parent / "migrations"
VERSION_TABLE = "alembic_version"
WHICH = "SELECT version_num FROM alembic_version"
MIGRATING = 7_200_817  # The number of the lock that says "a migration runs".
IN_USE = "Somebody is using the database: stop every server of it first."
GOING_SECONDS = 1.0
OTHERS = (
    "SELECT count(*) FROM pg_stat_activity "
    "WHERE datname = current_database() AND pid <> pg_backend_pid() AND backend_type = 'client backend'"
)


def _config(connection: Connection | None = None) -> Config:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(STEPS))
    config.attributes["connection"] = connection
    return config


@cache
def revisions() -> frozenset[str]:
    """All revisions that this program knows the way from: each step's file begins with its own."""
    return frozenset(file.name.partition("_")[0] for file in STEPS.glob("versions/[0-9]*.py"))


def newest() -> str:
    """The revision that this program expects; revisions are numbers of one length, one after the other."""
    return max(revisions())


def revision_of(connection: Connection) -> str | None:
    """The revision at which a database stands; None where it has no schema of ours."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return None
    revision: str | None = connection.exec_driver_sql(WHICH).scalar()
    return revision


def migrate(engine: Engine) -> None:
    """Run the steps that are missing, all or none; only one process at a time does, and the others wait for it.

    A database that has them all is not waited for: looking through its references takes seconds in a large one.
    Raises `OutOfReach` for a schema that is none of ours, or of a newer program.
    """
    with engine.connect() as connection:
        is_newest = revision_of(connection) == newest()
    if is_newest:
        return
    with changing_schema(engine) as connection:
        found = revision_of(connection)
        if found is not None and found not in revisions():
            raise OutOfReach(_newer(found))
        others = set(inspect(connection).get_table_names()) & set(metadata.tables) if found is None else ()
        if others:
            raise OutOfReach(_not_ours(min(others)))
        upgrade(connection)


def _newer(found: str) -> str:
    return (
        f"The database has the schema {found}, which this program does not know; it knows those up to {newest()}. A newer version "
        "has brought it up: serve it with that one, or put a backup from before into an empty place. Nothing was changed."
    )


def _not_ours(table: str) -> str:
    return (
        f"The database is none of this program's: it has a table {table} and no alembic_version. Name another place. "
        "Nothing was changed."
    )


def upgrade(connection: Connection, revision: str | None = None) -> None:
    """Run the steps that are missing up to a revision, the newest where none is named; the caller holds the transaction."""
    wanted = revision or newest()
    if revision_of(connection) != wanted:
        from alembic import command

        command.upgrade(_config(connection), wanted)


def revision_now(make: Callable[[bool], Session]) -> str | None:
    """The revision that a database is at now; raises `OutOfReach` where it does not answer."""
    with answering(), make(False) as session:
        return revision_of(session.connection())


@contextmanager
def changing_schema(engine: Engine, *, alone: bool = False) -> Iterator[Connection]:
    """One transaction in which the schema may change, for one process at a time.

    With `alone` nobody else may be connected: raises `Conflict` where somebody is, since a server keeps what it has read in mind.
    """
    changing = _changing_postgres if engine.dialect.name == "postgresql" else _changing_sqlite
    with changing(engine, alone) as connection:
        yield connection


@contextmanager
def _changing_postgres(engine: Engine, alone: bool) -> Iterator[Connection]:
    with engine.begin() as connection:
        keep_others_from_migrating(connection)
        if alone:
            be_alone(connection)
        yield connection


def keep_others_from_migrating(connection: Connection) -> None:
    """Wait for a migration of a PostgreSQL database, and let others wait, servers that start too, while the transaction lasts."""
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({MIGRATING})")


def be_alone(connection: Connection) -> None:
    """Raises `Conflict` where somebody else stays connected to a PostgreSQL database; one who has just gone is seen a moment longer."""
    until = time.monotonic() + GOING_SECONDS
    while connection.exec_driver_sql(OTHERS).scalar():
        if time.monotonic() > until:
            raise Conflict([Fault("database", IN_USE)])
        time.sleep(GOING_SECONDS / 20)
        connection.exec_driver_sql("SELECT pg_stat_clear_snapshot()")


@contextmanager
def _changing_sqlite(engine: Engine, alone: bool) -> Iterator[Connection]:
    """Foreign keys are off meanwhile and checked before the commit.

    A batch step copies a table, and with foreign keys on would delete the rows that refer to it.
    """
    with engine.execution_options(begins_by_hand=True).connect() as connection:
        connection.exec_driver_sql("PRAGMA foreign_keys=OFF")
        if alone:
            leave_the_log(connection)
        connection.exec_driver_sql("BEGIN EXCLUSIVE" if alone else "BEGIN IMMEDIATE")
        try:
            yield connection
            broken = dangling(connection)
            if broken:
                raise RuntimeError(f"the migration would leave {broken} rows without what they refer to")
            connection.exec_driver_sql("COMMIT")
        except BaseException:
            connection.exec_driver_sql("ROLLBACK")
            raise
        finally:
            connection.exec_driver_sql("PRAGMA foreign_keys=ON")


def dangling(connection: Connection) -> int:
    """How many rows refer to one that is not there; PostgreSQL lets none in."""
    if connection.dialect.name == "postgresql":
        return 0
    return len(connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall())


def leave_the_log(connection: Connection) -> None:
    """Turn write-ahead logging off, which SQLite does only for the one that is connected alone; the next to open turns it on again."""
    try:
        connection.exec_driver_sql("PRAGMA journal_mode=DELETE")
    except OperationalError as error:
        raise Conflict([Fault("database", IN_USE)]) from error
