"""The engine: SQLite with the pragmas it needs, and writers that lose nothing to each other."""

from __future__ import annotations

import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from threading import Timer

import pytest
from sqlalchemy import create_engine, make_url, text
from sqlalchemy.exc import DatabaseError, IntegrityError, OperationalError

from server.domain.drafts import Draft
from server.persistence.engine import Place, encryption_of, engine_for, sessions, sqlite_file
from server.persistence.learner import load_draft, save_draft
from server.persistence.tables import PricePointRow
from server.usecases.work import Shop
from tests.builders_shop import NOON, Clock
from tests.postgres import Cluster

PRAGMAS = {
    "journal_mode": "wal",
    "synchronous": 1,  # NORMAL in SQLite's own numbers (sqlite.org/pragma.html#pragma_synchronous).
    "foreign_keys": 1,
    "busy_timeout": 5000,
}


@pytest.mark.parametrize("name", PRAGMAS)
def test_every_connection_has_its_pragmas(data: Path, name: str) -> None:
    engine = engine_for(Place(data))
    with engine.connect() as first, engine.connect() as second:
        found = [connection.execute(text(f"PRAGMA {name}")).scalar() for connection in (first, second)]
    engine.dispose()
    assert found == [PRAGMAS[name], PRAGMAS[name]]


def test_a_reader_and_a_writer_have_the_same_pragmas(data: Path) -> None:
    engine = engine_for(Place(data))
    shop = Shop(sessions(engine))
    with shop.reading() as reader, shop.writing() as writer:
        for name, wanted in PRAGMAS.items():
            assert reader.session.connection().execute(text(f"PRAGMA {name}")).scalar() == wanted
            assert writer.session.connection().execute(text(f"PRAGMA {name}")).scalar() == wanted
    engine.dispose()


def test_who_opens_a_new_file_that_another_writes_first_waits_for_it(tmp_path: Path) -> None:
    place = Place(tmp_path)
    engine = engine_for(place)
    with closing(sqlite3.connect(place.sqlite_file, isolation_level=None, check_same_thread=False)) as other:
        other.execute("BEGIN IMMEDIATE")
        soon = Timer(0.2, other.execute, ["COMMIT"])
        soon.start()
        with engine.connect() as connection:
            assert connection.execute(text("PRAGMA journal_mode")).scalar() == "wal"
        soon.join()
    engine.dispose()


def test_a_row_that_refers_to_nothing_is_refused(shop: Shop) -> None:
    with shop.writing() as work:
        work.session.add(PricePointRow(sku="NO-SUCH", since=date(2026, 11, 1), price=1))
        with pytest.raises(IntegrityError, match=r"(?i)foreign key"):
            work.session.flush()


def test_eight_threads_that_read_and_then_write_lose_no_update(shop: Shop) -> None:
    threads, rounds = 8, 25
    with shop.writing() as work:
        save_draft(work.session, Draft("counter", NOON, NOON, {"budget": 0}))
        work.commit()

    def count_up(_: int) -> None:
        for _ in range(rounds):
            with shop.writing() as work:
                draft = load_draft(work.session, "counter", NOON, to_change=True)
                assert draft is not None
                save_draft(work.session, replace(draft, answers={"budget": draft.answers["budget"] + 1}))
                work.commit()

    with ThreadPoolExecutor(threads) as pool:
        list(pool.map(count_up, range(threads)))
    with shop.reading() as work:
        counted = load_draft(work.session, "counter", NOON)
    assert counted is not None
    assert counted.answers == {"budget": threads * rounds}


def test_what_is_not_committed_is_gone(shop: Shop) -> None:
    with shop.writing() as work:
        save_draft(work.session, Draft("left", NOON, NOON))
    with shop.reading() as work:
        assert load_draft(work.session, "left", NOON) is None


def test_a_fault_on_the_way_rolls_back(shop: Shop) -> None:
    def begin_and_fail() -> None:
        with shop.writing() as work:
            save_draft(work.session, Draft("left", NOON, NOON))
            raise LookupError

    with pytest.raises(LookupError):
        begin_and_fail()
    with shop.reading() as work:
        assert load_draft(work.session, "left", NOON) is None


def test_a_reader_sees_one_moment_while_another_writes(shop: Shop) -> None:
    with shop.reading() as reader:
        assert load_draft(reader.session, "new", NOON) is None
        with shop.writing() as writer:
            save_draft(writer.session, Draft("new", NOON, NOON))
            writer.commit()
        assert load_draft(reader.session, "new", NOON) is None
    with shop.reading() as reader:
        assert load_draft(reader.session, "new", NOON) is not None


def test_a_unit_of_work_has_one_moment(shop: Shop, clock: Clock) -> None:
    with shop.reading() as work:
        before = work.now
        clock.forward(days=2)
        assert work.now == before == NOON
        assert work.today == date(2026, 11, 25)


def test_the_database_is_one_file_in_the_data_folder(data: Path) -> None:
    assert sqlite_file(data).parent == data
    assert sqlite_file(data).read_bytes().startswith(b"SQLite format 3\0")


# libpq, "SSL Support": only verify-full proves that the server is the one named; `system` trusts the certificates of the machine.
PROVED = {"sslmode": "verify-full", "sslrootcert": "system"}


@pytest.mark.parametrize(
    ("address", "told"),
    [
        ("postgresql://shop@db.example/shop", PROVED),
        ("postgresql://shop@192.0.2.1/shop", PROVED),
        ("postgresql:///shop?host=db.example", PROVED),
        ("postgresql://shop@/shop?host=localhost,db.example", PROVED),
        ("postgresql://shop@127.0.0.1.elsewhere.example/shop", PROVED),
        ("postgresql://shop@db.example/shop?sslrootcert=/etc/db.pem", {"sslmode": "verify-full"}),
        ("postgresql://shop@db/shop?sslmode=disable", {}),
        ("postgresql://shop@localhost/shop", {}),
        ("postgresql://shop@127.0.0.1:5433/shop", {}),
        ("postgresql://shop@[::1]/shop", {}),
        ("postgresql:///shop?host=/run/postgresql", {}),
    ],
)
def test_a_database_on_another_machine_has_to_prove_who_it_is(
    address: str, told: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("PGSSLMODE", raising=False)
    assert encryption_of(make_url(address)) == told
    monkeypatch.setenv("PGSSLMODE", "require")
    assert encryption_of(make_url(address)) == {}


@pytest.mark.postgres
def test_the_driver_does_as_it_is_told(postgres: Cluster) -> None:
    """The tests' own server knows no TLS: told that it is another machine's, the driver sends it nothing."""
    url = make_url(postgres.url("postgres"))
    with pytest.raises(OperationalError, match="does not support SSL"):
        create_engine(url, connect_args=PROVED | {"host": "localhost"}).connect()


def test_what_a_database_complains_of_is_said_without_the_values_of_a_row(shop: Shop) -> None:
    with shop.writing() as work, pytest.raises(DatabaseError) as caught:
        work.session.execute(text("INSERT INTO nowhere (email) VALUES (:email)"), {"email": "zebedee@example.org"})
    assert "nowhere" in str(caught.value)
    assert "zebedee" not in str(caught.value)
