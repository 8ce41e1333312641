"""What the driver says when the database fails, told apart by what is to be done about it; and what is known of damage."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass

from sqlalchemy import Connection, Engine, event
from sqlalchemy.engine import ExceptionContext
from sqlalchemy.exc import DBAPIError, OperationalError, SQLAlchemyError
from sqlalchemy.exc import TimeoutError as NoneFree
from sqlmodel import Session

from server.domain.errors import Damaged, NoRoom, OnlyToRead, OutOfReach

DAMAGED = ("SQLITE_CORRUPT", "SQLITE_NOTADB", "XX001", "XX002")
NO_ROOM = ("SQLITE_FULL", "53100")
ONLY_TO_READ = ("SQLITE_READONLY", "25006")
"""Names of SQLite's result codes (sqlite.org/rescode.html), and SQLSTATE of PostgreSQL (its manual, appendix A)."""
NO_ROOM_ON_DISK = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
KINDS: tuple[tuple[tuple[str, ...], type[OutOfReach]], ...] = (
    (DAMAGED, Damaged),
    (NO_ROOM, NoRoom),
    (ONLY_TO_READ, OnlyToRead),
)
DAMAGE = "damage"


@dataclass
class Damage:
    """Whether an engine has met a damaged database since it was last found whole."""

    was_met: bool = False


@dataclass
class Commits:
    """Whether a commit was sent since it was begun to look."""

    was_sent: bool = False


_commits: ContextVar[Commits | None] = ContextVar("commits", default=None)


@contextmanager
def noting_commits() -> Iterator[Commits]:
    """While something is done in many steps: whether one of its commits was sent, so that what was done may last.

    A line that breaks before the answer comes leaves open whether it was carried out.
    """
    commits = Commits()
    before = _commits.set(commits)
    try:
        yield commits
    finally:
        _commits.reset(before)


def watch_commits(engine: Engine) -> None:
    """Let those who look know of the commits of an engine."""

    @event.listens_for(engine, "commit")
    def note(_connection: Connection) -> None:
        commits = _commits.get()
        if commits is not None:
            commits.was_sent = True


def code_of(error: BaseException | None) -> str:
    """The code by which a driver names what failed; empty where it names none."""
    if isinstance(error, sqlite3.Error):
        return str(getattr(error, "sqlite_errorname", None) or "")
    return str(getattr(error, "sqlstate", None) or "")


def outage_of(error: BaseException) -> OutOfReach | None:
    """What an error says of the database or its disk, in the driver's words without any row; None where it is no outage."""
    because = words_of(error)
    if isinstance(error, DBAPIError):
        code = code_of(error.orig)
        for codes, kind in KINDS:
            if code.startswith(codes):
                return kind(because)
        return OutOfReach(because) if isinstance(error, OperationalError) or error.connection_invalidated else None
    if isinstance(error, NoneFree):
        return OutOfReach("no connection became free")
    if isinstance(error, OSError) and error.errno in NO_ROOM_ON_DISK:
        return NoRoom(because)
    if isinstance(error, OSError) and error.errno == errno.EROFS:
        return OnlyToRead(because)
    return error if isinstance(error, OutOfReach) else None


@contextmanager
def telling_outages() -> Iterator[None]:
    """While a database is worked with: its outages are raised as what they are."""
    try:
        yield
    except SQLAlchemyError as error:
        outage = outage_of(error)
        if outage is None:
            raise
        raise outage from error


@contextmanager
def answering() -> Iterator[None]:
    """While an open database is asked: that it does not answer becomes `OutOfReach`."""
    try:
        yield
    except SQLAlchemyError as error:
        raise outage_of(error) or OutOfReach("the database does not answer") from error


def words_of(error: BaseException) -> str:
    """The first line of what the driver or the system said; a row's values stand on later ones, or nowhere."""
    said = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(said, OSError) and said.strerror:
        return said.strerror
    return next(iter(str(said).strip().splitlines()), type(error).__name__)


def watch_for_damage(engine: Engine) -> None:
    """Note it where the database is damaged, and let go of every connection, which remember pages as they were."""
    damage = Damage()
    engine.update_execution_options(**{DAMAGE: damage})

    @event.listens_for(engine, "handle_error")
    def note(context: ExceptionContext) -> None:
        if code_of(context.original_exception).startswith(DAMAGED):
            damage.was_met = True
            context.is_disconnect = True


def look_through(make: Callable[[bool], Session]) -> str:
    """Whether the database is whole; in the database's own words what is not, where it is not. PostgreSQL is not asked.

    It takes as long as the file is large (`PRAGMA quick_check`). Raises `OutOfReach` where the database cannot be asked.
    """
    try:
        with telling_outages(), make(False) as session:
            connection = session.connection()
            damage = _damage_of(session)
            if connection.dialect.name != "sqlite":
                damage.was_met = False
                return ""
            said = str(connection.exec_driver_sql("PRAGMA quick_check(1)").scalar_one())
            damage.was_met = said != "ok"
            return said if damage.was_met else ""
    except Damaged as error:
        return str(error)


def damage_met(make: Callable[[bool], Session]) -> str:
    """What is damaged, where damage was met before and is there still; empty where all is well."""
    with make(False) as session:
        was_met = _damage_of(session).was_met
    return look_through(make) if was_met else ""


def _damage_of(session: Session) -> Damage:
    damage = session.get_bind().get_execution_options().get(DAMAGE)
    return damage if isinstance(damage, Damage) else Damage()
