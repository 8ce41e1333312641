"""Backups: one moment of everything, put back whole or not at all, on either database and from one to the other."""

from __future__ import annotations

import json
import sqlite3
import stat
import zipfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import inspect, text
from sqlalchemy.exc import DatabaseError

from server.domain.backups import Row
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.stock import Movement
from server.outside.archives import open_archive, write_archive
from server.persistence.engine import Place, engine_for, take_away_unbegun
from server.persistence.migrate import changing_schema, newest, revision_of, upgrade
from server.persistence.stock import save_movements
from server.usecases.backups import backed_up_at, make_backup, restore_backup
from server.usecases.opening import open_shop
from server.usecases.work import Shop
from tests.builders_accounts import load_deeds
from tests.builders_rows import every_row, fill_every_table
from tests.postgres import Cluster

SKU = "EEL-105"


def silent(_stage: str, _done: int, _total: int) -> None:
    """Nobody watches."""


@contextmanager
def opened(place: Place) -> Iterator[Shop]:
    shop = open_shop(place, seeded=False)
    yield shop
    shop.close()


def rows_at(place: Place) -> dict[str, list[tuple[Any, ...]]]:
    with opened(place) as shop, shop.reading() as work:
        return every_row(work.session)


def filled(place: Place) -> Place:
    with opened(place) as shop, shop.writing() as work:
        fill_every_table(work.session)
    return place


@pytest.fixture
def elsewhere(tmp_path: Path) -> Place:
    """A place with nothing in it."""
    return Place(tmp_path / "elsewhere")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """Where the backup goes."""
    return tmp_path / "shop.zip"


def test_every_row_of_every_table_comes_back_as_it_was(place: Place, elsewhere: Place, file: Path) -> None:
    before = rows_at(filled(place))
    assert all(before.values()), "the builder leaves no table empty"
    said = []
    manifest = make_backup(place, file, lambda *how_far: said.append(how_far))
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert said[-1] == ("writing", manifest.rows, manifest.rows)
    assert [path.name for path in file.parent.iterdir() if path.suffix == ".part"] == []
    restore_backup(elsewhere, file, silent, force=False)
    assert rows_at(elsewhere) == before
    with opened(elsewhere) as shop, shop.reading() as work:
        *_, deed = load_deeds(work.session)
        assert (deed.who, deed.what[:24]) == ("command", "put back the backup of 2")


def test_what_is_put_over_a_shop_takes_its_place_and_numbers_go_on_after_the_highest(place: Place, file: Path) -> None:
    before = rows_at(filled(place))
    make_backup(place, file, silent)
    with opened(place) as shop, shop.writing() as work:
        fill_every_table(work.session, 950)
    restore_backup(place, file, silent, force=True)
    assert rows_at(place) == before
    with opened(place) as shop:
        with shop.writing("Maeve") as work:
            save_movements(work.session, [Movement(SKU, "delivery", 1)], work.now, work.actor)
            work.commit()
        with shop.writing() as work, pytest.raises(DatabaseError, match="a deed stays"):
            work.session.connection().execute(text("DELETE FROM deed"))


@pytest.mark.postgres
def test_a_shop_moves_from_one_database_to_the_other_and_back(
    data: Path, elsewhere: Place, tmp_path: Path, postgres: Cluster
) -> None:
    there = Place(tmp_path / "beside", postgres.url(postgres.create_database()))
    before = rows_at(filled(Place(data)))
    make_backup(Place(data), tmp_path / "one.zip", silent)
    restore_backup(there, tmp_path / "one.zip", silent, force=False)
    assert rows_at(there) == before
    make_backup(there, tmp_path / "two.zip", silent)
    restore_backup(elsewhere, tmp_path / "two.zip", silent, force=False)
    here = rows_at(elsewhere)
    assert {**here, "backup": []} == {**before, "backup": []}


def test_what_is_written_meanwhile_is_in_it_whole_or_not_at_all(place: Place, elsewhere: Place, file: Path) -> None:
    with opened(place) as shop:

        def write(_stage: str, done: int, _total: int) -> None:
            if done % 100 == 1:
                with shop.writing("Maeve") as work:
                    moved = [Movement(SKU, "delivery", 3), Movement(SKU, "damage", 3)]
                    save_movements(work.session, moved, work.now, f"at row {done}")
                    work.commit()

        with shop.reading() as work:
            before = every_row(work.session)
        make_backup(place, file, write)
        with shop.reading() as work:
            assert len(every_row(work.session)["stock_entry"]) >= len(before["stock_entry"]) + 4
    restore_backup(elsewhere, file, silent, force=False)
    assert rows_at(elsewhere) == before


def test_a_backup_is_noted_once_it_is_there_and_nothing_is_written_over(place: Place, shop: Shop, file: Path) -> None:
    with shop.reading() as work:
        assert backed_up_at(work) is None
    manifest = make_backup(place, file, silent)
    whole = file.read_bytes()
    with pytest.raises(Conflict, match="there already"):
        make_backup(place, file, silent)
    assert file.read_bytes() == whole
    with shop.reading() as work:
        assert backed_up_at(work) == manifest.made_at


def test_a_shop_that_is_there_is_kept_without_force_or_while_it_is_in_use(place: Place, file: Path) -> None:
    make_backup(place, file, silent)
    with opened(place) as shop:
        with shop.reading() as work:
            before = every_row(work.session)
        with pytest.raises(Conflict, match="would be gone"):
            restore_backup(place, file, silent, force=False)
        with pytest.raises(Conflict, match="stop every server"):
            restore_backup(place, file, silent, force=True)
        with shop.writing() as work:
            assert every_row(work.session) == before
            work.commit()


@pytest.mark.parametrize("stays", [True, False], ids=["and-served", "and-left"])
@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_shop_that_is_begun_while_a_backup_is_read_is_not_overwritten_and_not_taken_away(
    place: Place, elsewhere: Place, file: Path, stays: bool
) -> None:
    make_backup(place, file, silent)
    with ExitStack() as served:

        def begin(_stage: str, done: int, _total: int) -> None:
            if done == 1:
                served.enter_context(opened(elsewhere))
            if not stays:
                served.close()

        with pytest.raises(Conflict, match="would be gone"):
            restore_backup(elsewhere, file, begin, force=False)
        assert list(rows_at(elsewhere)), "and is there"


def test_a_file_in_which_somebody_begins_is_not_taken_away(elsewhere: Place) -> None:
    elsewhere.data.mkdir()
    take_away_unbegun(elsewhere)
    engine_for(elsewhere).dispose()
    with closing(sqlite3.connect(elsewhere.sqlite_file, isolation_level=None)) as begins:
        begins.execute("BEGIN IMMEDIATE")
        take_away_unbegun(elsewhere)
        begins.execute("CREATE TABLE begun (id INTEGER)")
        begins.execute("COMMIT")
        take_away_unbegun(elsewhere)
    assert elsewhere.sqlite_file.exists()
    elsewhere.sqlite_file.write_bytes(b"")
    take_away_unbegun(elsewhere)
    assert not elsewhere.sqlite_file.exists()


def test_tables_of_somebody_else_are_left_alone(place: Place, file: Path) -> None:
    make_backup(place, file, silent)
    engine = engine_for(place)
    with engine.begin() as connection:
        connection.execute(text("CREATE TABLE recipe (id INTEGER)"))
    engine.dispose()
    with pytest.raises(Conflict, match="none of this program's: recipe"):
        restore_backup(place, file, silent, force=True)
    assert rows_at(place)["part"]


def test_a_backup_of_an_older_revision_is_brought_up_to_the_newest(place: Place, elsewhere: Place, file: Path) -> None:
    old = place if place.url else elsewhere
    old.data.mkdir(exist_ok=True)
    engine = engine_for(old)
    with changing_schema(engine) as connection:
        for name in inspect(connection).get_table_names() if place.url else ():
            connection.execute(text(f"DROP TABLE {name} CASCADE"))
        if place.url:
            connection.execute(text("DROP FUNCTION deeds_stay()"))
        upgrade(connection, "0006")
        connection.execute(
            text("INSERT INTO policy_version (terms, made_at, made_by) VALUES ('{}', '2026-11-25 12:00:00', 'Orla')")
        )
    engine.dispose()
    assert make_backup(old, file, silent).revision == "0006"
    target = Place(file.parent / "new")
    restore_backup(target, file, silent, force=False)
    with opened(target) as shop, shop.reading() as work:
        assert revision_of(work.session.connection()) == newest()
        [(version, effective)] = work.session.connection().execute(
            text("SELECT version, effective_at FROM policy_version")
        )
        assert (version, effective) == (1, None)


def spoil(file: Path, table: str, change: Callable[[Row], Row]) -> None:
    """Change the last row of a table, and what the manifest says of it, so that the file is whole in itself."""
    with open_archive(file) as archive:
        tables = [(kept.name, kept.columns, list(archive.rows(kept))) for kept in archive.manifest.tables]
        revision, made_at = archive.manifest.revision, archive.manifest.made_at
    for name, _, rows in tables:
        if name == table:
            rows[-1] = change(rows[-1])
    file.unlink()
    write_archive(file, revision, made_at, tables)


def changed(file: Path, **said: Any) -> None:
    """Write a backup's manifest anew."""
    with zipfile.ZipFile(file) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    manifest = {**json.loads(parts["manifest.json"]), **said}
    with zipfile.ZipFile(file, "w") as archive:
        for name, content in {**parts, "manifest.json": json.dumps(manifest).encode()}.items():
            archive.writestr(name, content)


MANIFESTS: list[tuple[dict[str, Any], str]] = [
    ({"revision": "9999"}, "newer version of this program"),
    ({"format": 2}, "of format 2"),
    ({"revision": "0001"}, "not those of revision 0001"),
    ({"tables": []}, f"not those of revision {newest()}"),
    ({"tables": 3}, "no whole backup"),
    ({"made_at": None}, "no whole backup"),
]


def test_a_backup_that_this_program_does_not_understand_changes_nothing(
    data: Path, elsewhere: Place, file: Path
) -> None:
    make_backup(Place(data), file, silent)
    whole = file.read_bytes()
    for said, words in MANIFESTS:
        file.write_bytes(whole)
        changed(file, **said)
        with pytest.raises(InvalidInput, match=words):
            restore_backup(elsewhere, file, silent, force=False)
        assert elsewhere.is_empty()


def test_a_file_cut_short_changes_nothing(place: Place, file: Path) -> None:
    make_backup(place, file, silent)
    before, whole = rows_at(place), file.read_bytes()
    for content in (b"", b"no zip", whole[: len(whole) // 2], whole[:-1]):
        file.write_bytes(content)
        with pytest.raises(InvalidInput, match="no whole backup"):
            restore_backup(place, file, silent, force=True)
    assert rows_at(place) == before


def test_a_row_that_the_database_does_not_take_leaves_everything_as_it_was(place: Place, file: Path) -> None:
    """A reference that leads nowhere, or a text with a NUL in it, which SQLite would keep and PostgreSQL does not."""
    make_backup(place, file, silent)
    before = rows_at(place)
    odd = "EEL\x00" if place.url else "nowhere"
    spoil(file, "price_point", lambda row: [row[0], odd, *row[2:]])
    with pytest.raises(InvalidInput, match="rows that it does not have" if not place.url else "cannot be put in"):
        restore_backup(place, file, silent, force=True)
    assert rows_at(place) == before


def test_there_is_nothing_to_back_up_where_no_shop_is_and_none_is_made(elsewhere: Place, file: Path) -> None:
    with pytest.raises(NotFound, match="no shop"):
        make_backup(elsewhere, file, silent)
    assert not elsewhere.data.exists()
    assert not file.exists()


def test_no_backup_is_made_of_a_shop_newer_than_the_program(place: Place, shop: Shop, file: Path) -> None:
    with shop.writing() as work:
        work.session.connection().execute(text("UPDATE alembic_version SET version_num = '9999'"))
        work.commit()
    with pytest.raises(Conflict, match="newer version"):
        make_backup(place, file, silent)
    assert not file.exists()
