"""A shop of every earlier schema, with rows in every table that it has, is brought up whole; a step that fails leaves it as it was."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from fastapi import FastAPI
from sqlalchemy import Engine, inspect, select, text
from sqlmodel import SQLModel

from server.domain.errors import OutOfReach
from server.persistence.engine import Place, engine_for, sessions, sqlite_file
from server.persistence.migrate import changing_schema, dangling, migrate, newest, revision_of, revisions, upgrade
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.builders_rows import fill_empty_tables
from tests.builders_shop import Clock, agreed, learner

EARLIER = sorted(revisions() - {newest() or ""})
Rows = dict[str, list[tuple[Any, ...]]]


@pytest.fixture(scope="module")
def lived_in(seeded: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Engine, str]]:
    """A shop of the newest schema in which things have happened, with rows in every table; and the token of a quote in it."""
    folder = tmp_path_factory.mktemp("lived in")
    shutil.copyfile(sqlite_file(seeded), sqlite_file(folder))
    engine = engine_for(Place(folder))
    shop = Shop(sessions(engine), Clock())
    with shop.writing() as work:
        kept = [issue_quote(work, learner(mass_kg=mass_kg)) for mass_kg in (80, 66)]
    agreed(shop, kept[0].code)
    with shop.sessions(True) as session:
        fill_empty_tables(session)
    yield engine, kept[0].token
    engine.dispose()


def bring_to(engine: Engine, revision: str) -> None:
    """Make the schema of a revision in an empty database."""
    with changing_schema(engine) as connection:
        upgrade(connection, revision)


def columns_of(engine: Engine) -> dict[str, list[str]]:
    """The columns of the tables that a database has."""
    there = {name: columns for (_, name), columns in inspect(engine).get_multi_columns().items()}
    names = [table.name for table in SQLModel.metadata.sorted_tables if table.name in there]
    return {name: [column["name"] for column in there[name]] for name in names}


def rows_in(engine: Engine, columns: dict[str, list[str]]) -> Rows:
    """What stands in some columns of each table."""
    with engine.connect() as connection:
        tables = SQLModel.metadata.tables
        return {
            name: sorted(map(tuple, connection.execute(select(*(tables[name].c[one] for one in wanted)))), key=repr)
            for name, wanted in columns.items()
        }


def move_in(engine: Engine, rows: Rows, columns: dict[str, list[str]]) -> None:
    """Put rows into a database of an earlier schema, in place of what its steps have put there."""
    with engine.begin() as connection:
        for name, wanted in columns.items():
            table = SQLModel.metadata.tables[name]
            if name != "deed":  # Nobody may delete one.
                connection.execute(table.delete())
            connection.execute(table.insert(), [dict(zip(wanted, row, strict=True)) for row in rows[name]])


@pytest.mark.parametrize("revision", EARLIER)
def test_a_shop_of_an_earlier_schema_keeps_every_row_and_its_quotes_are_read(
    revision: str, empty: Engine, lived_in: tuple[Engine, str], built: FastAPI
) -> None:
    shop_before, token = lived_in
    bring_to(empty, revision)
    columns = columns_of(empty)
    before = rows_in(shop_before, columns)
    assert all(before.values()), "every table has a row"
    move_in(empty, before, columns)
    migrate(empty)
    assert rows_in(empty, columns) == before
    with empty.connect() as connection:
        assert revision_of(connection) == newest()
        assert dangling(connection) == 0
        if revision == EARLIER[0]:  # All others go the rest of its way.
            context = MigrationContext.configure(
                connection, opts={"compare_type": True, "compare_server_default": True}
            )
            assert compare_metadata(context, SQLModel.metadata) == []
    built.state.shop = Shop(sessions(empty), Clock())
    with Client(built) as client:
        assert client.get(f"/quotes/{token}").status_code == 200
        assert client.get(f"/api/quotes/{token}").json()["revision"] == 1


@pytest.mark.parametrize("revision", [EARLIER[0], EARLIER[-1]])
def test_steps_that_fail_in_the_middle_leave_the_earlier_schema_whole_and_run_once_nothing_is_in_their_way(
    revision: str, empty: Engine
) -> None:
    bring_to(empty, revision)
    with empty.begin() as connection:
        connection.execute(text("CREATE TABLE tally (id INTEGER)"))  # A table that the newest step makes after others.
    before = columns_of(empty)
    with pytest.raises(Exception, match=r"(?i)tally.* already exists"):
        migrate(empty)
    with empty.begin() as connection:
        assert revision_of(connection) == revision
        assert columns_of(empty) == before
        connection.execute(text("DROP TABLE tally"))
    migrate(empty)
    with empty.connect() as connection:
        assert revision_of(connection) == newest()


@pytest.mark.parametrize(
    ("made", "said"),
    [
        ("CREATE TABLE alembic_version (version_num VARCHAR(32)); INSERT INTO alembic_version VALUES ('0999')", "0999"),
        ("CREATE TABLE quote (id INTEGER)", "a table quote and no alembic_version"),
    ],
    ids=["of a newer program", "of another program"],
)
def test_a_schema_that_is_not_known_is_left_alone_and_named(made: str, said: str, empty: Engine) -> None:
    with empty.begin() as connection:
        for statement in made.split("; "):
            connection.execute(text(statement))
    before = inspect(empty).get_table_names()
    with pytest.raises(OutOfReach, match=f"{said}.*Nothing was changed"):
        migrate(empty)
    assert inspect(empty).get_table_names() == before
