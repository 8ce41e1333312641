"""The migrations: they make exactly the schema of the tables, once, and leave nothing dangling."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic import command
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, bindparam, inspect, text
from sqlmodel import SQLModel

from server.domain.drafts import Draft
from server.persistence import tables
from server.persistence.engine import Place, engine_for, sessions, sqlite_file
from server.persistence.learner import load_draft
from server.persistence.migrate import STEPS, _config, migrate, newest, revision_of, revisions
from tests.builders_shop import NOON

OWN = "alembic_version"


@pytest.fixture
def migrated(tmp_path: Path) -> Iterator[Engine]:
    """A database made by the migrations alone."""
    engine = engine_for(Place(tmp_path))
    migrate(engine)
    yield engine
    engine.dispose()


def schema_of(engine: Engine) -> dict[str, Any]:
    """Everything that a database tells about its tables, columns, keys and indexes."""
    look = inspect(engine)
    return {
        name: {
            "columns": [{**column, "type": str(column["type"])} for column in look.get_columns(name)],
            "key": look.get_pk_constraint(name),
            "references": sorted(look.get_foreign_keys(name), key=str),
            "unique": sorted(look.get_unique_constraints(name), key=str),
            "indexes": sorted(look.get_indexes(name), key=str),
        }
        for name in look.get_table_names()
        if name != OWN
    }


def test_alembic_finds_no_difference_between_the_migrations_and_the_tables(migrated: Engine) -> None:
    with migrated.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True, "compare_server_default": True})
        assert compare_metadata(context, SQLModel.metadata) == []


def test_the_migrations_make_what_the_tables_would_make_themselves(migrated: Engine, tmp_path: Path) -> None:
    other = tmp_path / "other"
    other.mkdir()
    engine = engine_for(Place(other))
    SQLModel.metadata.create_all(engine)
    assert schema_of(migrated) == schema_of(engine)
    engine.dispose()


def test_every_table_of_the_program_is_there(migrated: Engine) -> None:
    rows = [row for row in vars(tables).values() if isinstance(row, type) and issubclass(row, SQLModel)]
    names = {row.__tablename__ for row in rows if row is not SQLModel}
    assert names == set(schema_of(migrated))


def test_there_is_one_newest_step_and_the_database_stands_at_it(migrated: Engine) -> None:
    with migrated.connect() as connection:
        current = MigrationContext.configure(connection).get_current_revision()
        assert revision_of(connection) == current
    steps = ScriptDirectory(str(STEPS))
    assert steps.get_heads() == [current] == [newest()]
    assert {step.revision for step in steps.walk_revisions()} == revisions()


def test_a_second_migration_changes_nothing(migrated: Engine) -> None:
    with migrated.connect() as connection:
        connection.execute(text("INSERT INTO zone VALUES ('Here', 0, 1, 1, '2')"))
        connection.commit()
    before = schema_of(migrated)
    migrate(migrated)
    assert schema_of(migrated) == before
    with migrated.connect() as connection:
        assert connection.execute(text("SELECT zone FROM zone")).scalars().all() == ["Here"]


def test_foreign_keys_are_on_again_after_a_migration(migrated: Engine) -> None:
    with migrated.connect() as connection:
        assert connection.execute(text("PRAGMA foreign_keys")).scalar() == 1


THE_FIRST = "0001"
OLD_DRAFTS = [("one", '{"mass_kg": 80}', '["DUN-82"]', "lb", "quote"), ("two", "{}", "[]", "kg", None)]


def at_the_first(engine: Engine) -> None:
    """Bring an empty database to the first schema, with drafts in it."""
    with engine.begin() as connection:
        command.upgrade(_config(connection), THE_FIRST)
        for token, answers, picks, unit, revises in OLD_DRAFTS:
            connection.execute(
                text(
                    "INSERT INTO draft (token, answers, picks, mass_unit, revises, started_at, changed_at) "
                    "VALUES (:token, :answers, :picks, :unit, :revises, :at, :at)"
                ).bindparams(bindparam("at", NOON, type_=tables.Moment())),
                {"token": token, "answers": answers, "picks": picks, "unit": unit, "revises": revises},
            )


def test_a_migration_that_would_leave_dangling_rows_is_not_carried_out(tmp_path: Path) -> None:
    engine = engine_for(Place(tmp_path))
    at_the_first(engine)
    by_hand = sqlite3.connect(sqlite_file(tmp_path))
    by_hand.execute("INSERT INTO price_point (sku, since, price) VALUES ('NO-SUCH', '2026-11-01', 1)")
    by_hand.commit()
    by_hand.close()
    with pytest.raises(RuntimeError, match="1 rows"):
        migrate(engine)
    with engine.connect() as connection:
        assert revision_of(connection) == THE_FIRST
    engine.dispose()


def test_drafts_of_the_first_schema_are_kept_and_joined_with_none(empty: Engine) -> None:
    at_the_first(empty)
    assert "joined" not in {column["name"] for column in inspect(empty).get_columns("draft")}
    migrate(empty)
    with empty.connect() as connection:
        rows = connection.execute(
            text("SELECT token, answers, picks, mass_unit, revises, joined FROM draft ORDER BY token")
        ).all()
    assert [tuple(row) for row in rows] == [(*row, None) for row in OLD_DRAFTS]
    with sessions(empty)(False) as session:
        draft = load_draft(session, "one", NOON)
    assert draft == Draft("one", NOON, NOON, {"mass_kg": 80}, ("DUN-82",), "lb", "quote", None)
