"""The database full, only to be read, damaged, gone or silent: each is told in plain words, and the server comes back by itself."""

from __future__ import annotations

import resource
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from time import sleep
from typing import Any

import httpx
import psycopg
import pytest
from fastapi import FastAPI
from sqlalchemy import Connection, Engine, event
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError
from sqlalchemy.exc import TimeoutError as NoneFree

from server.domain.errors import Damaged, NoRoom, OnlyToRead, OutOfReach
from server.persistence.engine import Place, engine_for, sessions, sqlite_file
from server.persistence.outages import outage_of
from server.persistence.tables import QuoteRow
from server.usecases.work import Shop
from tests.builders_http import Client, faults_of
from tests.builders_sales import bought
from tests.builders_shop import learner, number_of

HTMX = {"HX-Request": "true"}
BODY = {"answers": learner()}
TRACE = ("Traceback", "sqlite", "psycopg", "SELECT", "INSERT", "/tmp", "/dev/shm")


@contextmanager
def told(engine: Engine, command: str) -> Iterator[None]:
    """While this lasts, every connection begins with a command of the database's own."""

    def begin(connection: Any, _record: Any, _proxy: Any = None) -> None:
        with connection.cursor() if engine.dialect.name == "postgresql" else connection as cursor:
            cursor.execute(command)
        if engine.dialect.name == "postgresql":
            connection.commit()

    engine.dispose()
    event.listen(engine, "checkout", begin)
    try:
        yield
    finally:
        event.remove(engine, "checkout", begin)
        engine.dispose()


def done_until_refused(do: Callable[[], httpx.Response], most: int = 80) -> int:
    """Do a thing again and again until it is refused; how often it was done."""
    for number in range(most):
        if do().status_code >= 400:
            return number
    raise AssertionError("nothing was refused")


def check_refused(client: Client, status: int, words: str) -> None:
    """What is refused is told by both doors in plain words, to htmx too, and when to try again."""
    for answer in (client.post("/drafts"), client.post("/drafts", headers=HTMX), client.post_json("/api/quotes", BODY)):
        assert (answer.status_code, words in answer.text) == (status, True), answer.text
        assert int(answer.headers["retry-after"]) > 0
        assert not any(sign in answer.text for sign in TRACE)
    assert [fault["field"] for fault in faults_of(client.post_json("/api/quotes", BODY), status)] == ["server"]


def check_read(client: Client, status: int = 200) -> None:
    """Pages and interface are read, or answer that they cannot be; the process is alive all the same."""
    assert [client.get(path).status_code for path in ("/", "/used", "/api/parts")] == [status] * 3
    assert client.get("/healthz").status_code == 200


def quotes_in(shop: Shop) -> int:
    """How many quotes there are."""
    with shop.reading() as work:
        return number_of(work.session, QuoteRow)


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_with_a_full_disk_nothing_is_kept_by_halves_reading_goes_on_and_room_is_all_that_it_takes(
    client: Client, shop: Shop, engine: Engine
) -> None:
    with told(
        engine, "PRAGMA max_page_count=1"
    ):  # SQLite takes the pages that there are, and says that its disk is full.
        kept = done_until_refused(lambda: client.post_json("/api/quotes", BODY))
        done_until_refused(lambda: client.post("/drafts"))
        check_refused(client, 507, "is full, so nothing of this was kept")
        check_read(client)
        assert quotes_in(shop) == kept
    assert client.post_json("/api/quotes", BODY).status_code == 201
    assert quotes_in(shop) == kept + 1


def test_a_database_that_can_only_be_read_is_read_and_written_again_once_it_can_be(
    client: Client, engine: Engine
) -> None:
    only = {"sqlite": "PRAGMA query_only=ON", "postgresql": "SET default_transaction_read_only = on"}
    with told(engine, only[engine.dialect.name]):
        check_refused(client, 503, "can only be read at the moment")
        check_read(client)
    assert client.post_json("/api/quotes", BODY).status_code == 201


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_damaged_file_is_told_at_once_and_read_again_once_it_is_whole(
    client: Client, place: Place, engine: Engine
) -> None:
    assert client.get("/").status_code == 200
    engine.dispose()
    whole = place.sqlite_file.read_bytes()
    place.sqlite_file.write_bytes(whole[:8192] + b"\xa5" * (len(whole) - 8192))
    check_refused(client, 503, "Somebody has to look after them")
    check_read(client, 503)
    ready = client.get("/readyz")
    assert (ready.status_code, "database: it is damaged" in ready.text) == (503, True)
    place.sqlite_file.write_bytes(whole)
    assert client.get("/readyz").status_code == 200
    check_read(client)
    assert client.post_json("/api/quotes", BODY).status_code == 201


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_file_taken_away_is_not_written_on_without_its_name_and_another_in_its_place_is_read_anew(
    client: Client, place: Place, seeded: Path
) -> None:
    kept = client.told("/api/quotes", BODY, 201)
    away = place.data / "away"
    place.sqlite_file.rename(away)
    check_refused(client, 503, "cannot be reached just now")
    check_read(client, 503)
    assert not place.sqlite_file.exists(), "no empty shop is made in its place"
    away.rename(place.sqlite_file)
    assert client.get(kept["url"]).status_code == 200, "it comes back with what was written last"
    other = place.data / "other"
    other.write_bytes(sqlite_file(seeded).read_bytes())
    with closing(sqlite3.connect(other, isolation_level=None)) as changed:
        changed.execute("UPDATE part SET name = 'Renamed' WHERE sku = 'DUN-82'")
    client.post("/drafts")
    place.sqlite_file.rename(away)
    other.rename(place.sqlite_file)
    check_read(client, 503)
    for log in place.data.glob("*.sqlite3-*"):
        log.rename(log.with_suffix(".kept"))
    assert "Renamed" in client.get("/api/parts?slot=board").text, "though its catalogue has the same version"
    assert client.get(kept["url"]).status_code == 404, "nothing of the one before is written into it"


@pytest.mark.parametrize("place", [pytest.param("postgres", marks=pytest.mark.postgres)], indirect=True)
def test_a_database_that_is_silent_or_cut_off_costs_a_bounded_wait_and_nothing_after_it(
    client: Client, app: FastAPI, place: Place
) -> None:
    engine = engine_for(place, answer_s=0.5)
    app.state.shop = Shop(sessions(engine), app.state.shop.clock)
    with psycopg.connect(place.url) as other:
        other.execute("LOCK TABLE draft, quote IN ACCESS EXCLUSIVE MODE")  # Whoever asks for them is not answered.
        check_refused(client, 503, "cannot be reached just now")
        check_read(client)
        waiting = "SELECT count(*) FROM pg_locks WHERE NOT granted AND relation = 'draft'::regclass"
        assert other.execute(waiting).fetchone() == (0,), "nobody waits there for whom nobody waits here"
    assert client.post("/drafts").status_code == 303
    with engine.connect() as frozen:
        frozen.exec_driver_sql("LOCK TABLE draft IN ACCESS EXCLUSIVE MODE")
        sleep(2.2)  # A program that stands still holds what it has locked for four times as long as an answer may take.
        assert client.post("/drafts").status_code == 303
        frozen.invalidate()
    with psycopg.connect(place.url, autocommit=True) as other:
        mine = "WHERE datname = current_database() AND pid <> pg_backend_pid()"
        assert other.execute(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity {mine}").fetchall()
    check_read(client)
    assert client.post_json("/api/quotes", BODY).status_code == 201
    engine.dispose()


def test_where_the_answer_to_a_commit_is_lost_nobody_is_told_that_nothing_was_changed_and_one_key_makes_one_quote(
    client: Client, shop: Shop, engine: Engine
) -> None:
    def lose(connection: Connection) -> None:
        connection.connection.commit()
        raise OperationalError("COMMIT", {}, sqlite3.OperationalError("the line broke"))

    key = {"Idempotency-Key": "of-this-quote"}
    event.listen(engine, "commit", lose)
    try:
        (fault,) = faults_of(client.post_json("/api/quotes", BODY, headers=key), 503)
        assert "it is not certain whether what you sent was kept" in fault["message"]
        assert client.get("/").status_code == 200, "who only looks commits nothing"
    finally:
        event.remove(engine, "commit", lose)
    assert quotes_in(shop) == 1
    assert client.post_json("/api/quotes", BODY, headers=key).status_code == 201
    assert quotes_in(shop) == 1


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_no_room_for_what_is_uploaded_is_told_as_no_room(client: Client, shop: Shop) -> None:
    """More than 1 MB of a form lies on the disk; the system refuses it beyond a limit of the process's own, too (setrlimit(2))."""
    address = f"/owned/{bought(shop).token}/ask"
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (256 * 1024, usual[1]))
    try:
        answer = client.post(address, files={"photos": ("a.jpg", bytes(2 * 1024 * 1024), "image/jpeg")})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)
    assert (answer.status_code, "is full, so nothing of this was kept" in answer.text) == (507, True)


def sqlite_error(code: int, name: str) -> DBAPIError:
    """An error as the driver raises it."""
    error = sqlite3.OperationalError("said by the driver\nand more")
    error.sqlite_errorcode, error.sqlite_errorname = code, name
    return DBAPIError("INSERT INTO contact …", {"name": "Nuala"}, error, hide_parameters=True)


SAID: list[tuple[Callable[[], BaseException], type[OutOfReach] | None]] = [
    (lambda: sqlite_error(sqlite3.SQLITE_FULL, "SQLITE_FULL"), NoRoom),
    (lambda: sqlite_error(sqlite3.SQLITE_READONLY, "SQLITE_READONLY_DBMOVED"), OnlyToRead),
    (lambda: sqlite_error(sqlite3.SQLITE_CORRUPT, "SQLITE_CORRUPT_VTAB"), Damaged),
    (lambda: DBAPIError("", {}, psycopg.errors.DiskFull("no space")), NoRoom),
    (lambda: DBAPIError("", {}, psycopg.errors.DataCorrupted("invalid page")), Damaged),
    (lambda: DBAPIError("", {}, psycopg.errors.AdminShutdown("ended"), connection_invalidated=True), OutOfReach),
    (NoneFree, OutOfReach),
    (lambda: OSError(28, "No space left on device"), NoRoom),
    (lambda: OSError(122, "Disk quota exceeded"), NoRoom),
    (lambda: OSError(30, "Read-only file system"), OnlyToRead),
    (lambda: FileNotFoundError(2, "No such file"), None),
    (lambda: IntegrityError("", {}, sqlite3.IntegrityError("UNIQUE")), None),
    (lambda: ValueError("a fault of ours"), None),
]


@pytest.mark.parametrize(("made", "kind"), SAID)
def test_what_the_driver_says_is_told_apart(made: Callable[[], BaseException], kind: type[OutOfReach] | None) -> None:
    outage = outage_of(made())
    assert (type(outage) if outage else None) == kind
    assert "Nuala" not in str(outage)
    assert "\n" not in str(outage)
