"""Bringing a database to the newest schema, all steps in one transaction."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from server.domain.errors import OutOfReach

STEPS = Path(__file__).parent / "migrations"
MIGRATING = 7_200_817  # The number of the lock that says "a migration runs".


def _config(connection: Connection | None = None) -> Config:
    config = Config()
    config.set_main_option("script_location", str(STEPS))
    config.attributes["connection"] = connection
    return config


@cache
def newest() -> str | None:
    """The revision that this program expects; its steps do not change while it runs."""
    return ScriptDirectory.from_config(_config()).get_current_head()


def migrate(engine: Engine) -> None:
    """Run the steps that are missing, all or none; only one process at a time does, and the others wait for it."""
    if engine.dialect.name == "postgresql":
        _migrate_postgres(engine)
    else:
        _migrate_sqlite(engine)


def revision_of(connection: Connection) -> str | None:
    """The revision that a database is at; None where it has no schema yet."""
    return MigrationContext.configure(connection).get_current_revision()


def revision_now(make: Callable[[bool], Session]) -> str | None:
    """The revision that a database is at now; raises `OutOfReach` where it does not answer."""
    try:
        with make(False) as session:
            return revision_of(session.connection())
    except SQLAlchemyError as error:
        raise OutOfReach("the database does not answer") from error


def _upgrade(connection: Connection) -> None:
    if revision_of(connection) != newest():
        command.upgrade(_config(connection), "head")


def _migrate_postgres(engine: Engine) -> None:
    with engine.begin() as connection:
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({MIGRATING})")
        _upgrade(connection)


def _migrate_sqlite(engine: Engine) -> None:
    """Foreign keys are off meanwhile and checked before the commit.

    A batch step copies a table, and with foreign keys on would delete the rows that refer to it.
    """
    with engine.execution_options(begins_by_hand=True).connect() as connection:
        connection.exec_driver_sql("PRAGMA foreign_keys=OFF")
        connection.exec_driver_sql("BEGIN IMMEDIATE")
        try:
            _upgrade(connection)
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise RuntimeError(f"the migration would leave {len(broken)} rows without what they refer to")
            connection.exec_driver_sql("COMMIT")
        except BaseException:
            connection.exec_driver_sql("ROLLBACK")
            raise
        finally:
            connection.exec_driver_sql("PRAGMA foreign_keys=ON")
