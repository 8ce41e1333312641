"""The database engine: an SQLite file by default, with the pragmas and transactions it needs, or PostgreSQL by its address."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from threading import Lock
from typing import Any
from urllib.parse import quote

from sqlalchemy import URL, Connection, Engine, event, inspect, make_url
from sqlalchemy.engine import Dialect
from sqlalchemy.exc import ArgumentError, DatabaseError, DisconnectionError
from sqlmodel import Session, create_engine

from server.domain.errors import Damaged, NoRoom, OnlyToRead, OutOfReach
from server.persistence.outages import outage_of, watch_commits, watch_for_damage, words_of

FILE_NAME = "slackwater.sqlite3"
BUSY_SECONDS = 5
PRAGMAS = (f"busy_timeout={1000 * BUSY_SECONDS}", "synchronous=NORMAL", "foreign_keys=ON", "cache_size=-512")
"""Half a MB of pages for each connection instead of two, since the system keeps them all anyway: 14 MB of a busy server."""
WAL_TRIES, WAL_PAUSE_SECONDS = 100, 0.05
ONLY_FOR_US = 0o600
FREE_SECONDS = 10.0
"""How long a request waits for one of the connections to become free."""
ANSWER_SECONDS = 15.0
"""How long a server waits for an answer: far longer than any statement of a page takes, and bearable for whoever waits for one."""
FILE = "file"
"""Under which name a connection keeps which file it is open on."""
PUT_BACK = "python -m server restore FILE"
HERE = ("", "localhost", "127.0.0.1", "::1")
VERIFIED = {"sslmode": "verify-full", "sslrootcert": "system"}


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
    except (ArgumentError, DatabaseError, ImportError, OSError) as error:
        raise said_of(place, error) from error


@contextmanager
def using(place: Place) -> Iterator[None]:
    """While a database that was opened is worked with: an outage becomes one `OutOfReach` without its trace, too."""
    try:
        yield
    except DatabaseError as error:
        if outage_of(error) is None:
            raise
        raise said_of(place, error) from error


def said_of(place: Place, error: Exception) -> OutOfReach:
    """An outage in one sentence that names the database, and one that says what helps, where anything does."""
    what = "The PostgreSQL database" if place.url else f"The database in {place.data}"
    because = words_of(error)
    match outage_of(error):
        case Damaged():
            helps = "" if place.url else f" Move {_files_of(place)} away and put a backup back: {PUT_BACK}"
            return Damaged(f"{what} cannot be opened: {because}.{helps}")
        case NoRoom():
            return NoRoom(f"{what} cannot be written: {because}. Make room, and nothing else has to be done.")
        case OnlyToRead():
            return OnlyToRead(f"{what} cannot be written: {because}.")
    return OutOfReach(f"{what} cannot be opened: {because}.")


def _files_of(place: Place) -> str:
    """The database's file and what lies beside it, as a person reads it."""
    return f"{FILE_NAME} and what is named like it ({FILE_NAME}-wal, {FILE_NAME}-shm)" if not place.url else ""


def check_writable(place: Place) -> None:
    """Raises `OnlyToRead` where the shop could be read and not be written, which a server would find out with the first customer."""
    if place.url:
        return
    for path in (place.data, place.sqlite_file):
        if not os.access(path, os.W_OK):
            raise OnlyToRead(
                f"{path} can be read and not written. Give it to whoever runs the server, or mount it to write."
            )


def take_away_unbegun(place: Place) -> None:
    """Take away an SQLite file in which there is no table; one in which somebody has begun a shop meanwhile stays."""
    if place.url or not place.sqlite_file.exists():
        return
    address = f"file:{quote(str(place.sqlite_file))}?mode=rw"
    try:
        with closing(sqlite3.connect(address, uri=True, timeout=0, isolation_level=None)) as connection:
            connection.execute("BEGIN IMMEDIATE")  # Refused where somebody is just making one.
            begun = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    except sqlite3.Error:
        return
    if not begun:
        place.sqlite_file.unlink(missing_ok=True)


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


def encryption_of(url: URL) -> dict[str, str]:
    """What the driver is told of encryption where an address leaves it open: another machine must prove by a trusted certificate
    that it is the one named. The driver's own default would fall back to an open line (libpq, "SSL Mode Descriptions").

    Nothing on this very machine, and nothing where the address or libpq's own variable says how it is to be.
    """
    said = url.query.get("host", ())
    hosts = ",".join([url.host or "", *((said,) if isinstance(said, str) else said)]).split(",")
    is_here = all(host in HERE or host.startswith("/") for host in hosts)
    if is_here or "sslmode" in url.query or os.environ.get("PGSSLMODE"):
        return {}
    return VERIFIED if "sslrootcert" not in url.query else {"sslmode": VERIFIED["sslmode"]}


def engine_for(place: Place, *, answer_s: float | None = None) -> Engine:
    """An engine over a place whose folder exists; an SQLite file is made there for us alone to read.

    Values are left out of what errors say, since those are people's. With `answer_s` a statement that PostgreSQL does not answer
    in so many seconds is given up with its connection, as servers must, whose customers wait.
    """
    if not place.url:
        engine = _engine_over_file(place)
    else:
        url = make_url(place.url)
        engine = create_engine(
            url, pool_pre_ping=True, pool_timeout=FREE_SECONDS, hide_parameters=True, connect_args=encryption_of(url)
        )
        if answer_s is not None:
            _give_up_after(engine, answer_s)
    watch_for_damage(engine)
    watch_commits(engine)
    return engine


def _give_up_after(engine: Engine, answer_s: float) -> None:
    from server.persistence.patient import connect  # The driver is there only where PostgreSQL is used.

    def made(_dialect: Dialect, _record: Any, arguments: tuple[Any, ...], options: dict[str, Any]) -> Any:
        return connect(arguments, options, answer_s)

    event.listen(engine, "do_connect", made)


def _engine_over_file(place: Place) -> Engine:
    """An engine over the SQLite file. It is opened to be written and never made anew: a file that is gone is no empty shop."""
    file = place.sqlite_file
    if not file.exists():
        if _has_log(file):
            raise Damaged(
                f"{file} is gone, while {file.name}-wal, which belongs to it, is there. Put it back; or move {file.name}-wal "
                f"and {file.name}-shm away and put a backup back: {PUT_BACK}"
            )
        os.close(os.open(file, os.O_CREAT | os.O_WRONLY, ONLY_FOR_US))
    address = URL.create("sqlite", database=f"file:{quote(str(file))}", query={"mode": "rw", "uri": "true"})
    engine = create_engine(address, pool_timeout=FREE_SECONDS, hide_parameters=True)
    _stay_with(engine, file)
    event.listen(engine, "begin", _begin)
    return engine


def _stay_with(engine: Engine, file: Path) -> None:
    """Let go of a file that was taken away, which lives on without a name for those who have it open, and loses what they write.

    Another one in its place is opened only without the log of the one before: SQLite would write what stands there into it
    (sqlite.org/howtocorrupt.html, 1.4). A log that others have begun since is the new one's own.
    """
    was: tuple[int, int] | None = None
    log: tuple[int, int] | None = None

    def look_for_log(*_: Any) -> None:
        is_another = was is not None and _identity(file) not in (None, was)
        if is_another and _has_log(file) and log == _identity(_log_of(file)):
            raise OutOfReach(
                f"another file has taken the place of {file.name}, and the log of the one before lies beside it: stop the server, "
                f"move {file.name}-wal and {file.name}-shm away, and start it again"
            )

    def note_file(connection: Any, record: Any) -> None:
        nonlocal was
        _prepare(connection, record)
        was = record.info[FILE] = _identity(file)

    def look_for_file(_connection: Any, record: Any, _proxy: Any) -> None:
        nonlocal log
        if record.info.get(FILE) != _identity(file):
            engine.pool.dispose()
            raise DisconnectionError("the file is another one now")
        log = _identity(_log_of(file))

    event.listen(engine, "do_connect", look_for_log)
    event.listen(engine, "connect", note_file)
    event.listen(engine, "checkout", look_for_file)


def _has_log(file: Path) -> bool:
    """Whether a write-ahead log with something in it lies beside a file."""
    log = _log_of(file)
    return log.exists() and log.stat().st_size > 0


def _log_of(file: Path) -> Path:
    """Where SQLite keeps the write-ahead log of a file."""
    return file.with_name(f"{file.name}-wal")


def _identity(file: Path) -> tuple[int, int] | None:
    """Which file bears the name now; None where none does."""
    try:
        found = file.stat()
    except FileNotFoundError:
        return None
    return found.st_dev, found.st_ino


def file_of(session: Session) -> tuple[int, int] | None:
    """Which file a session reads; None over PostgreSQL."""
    found: tuple[int, int] | None = session.connection().info.get(FILE)
    return found


class Turns:
    """A queue of this process's writers before an SQLite file, which has room for one.

    SQLite itself has no queue: whoever finds it taken sleeps up to a tenth of a second and tries again, many at once for seconds. Who
    has waited for as long as SQLite would wait goes on, and SQLite says whether the file is free: another process may have it.
    """

    def __init__(self) -> None:
        self._turn = Lock()

    @contextmanager
    def taken(self) -> Iterator[None]:
        """While it is one's turn."""
        is_mine = self._turn.acquire(timeout=BUSY_SECONDS)
        try:
            yield
        finally:
            if is_mine:
                self._turn.release()


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
