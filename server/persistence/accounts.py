"""Accounts, sessions, one-time links, failed sign-ins and deeds in the database."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, or_, update
from sqlmodel import Session, col, select

from server.persistence.tables import AccountRow, DeedRow, FailureRow, LinkRow, SessionRow


def account_named(session: Session, key: str) -> AccountRow | None:
    """The account whose name has this key; no database is asked about what no name can hold."""
    if not key.isprintable():
        return None
    return session.exec(select(AccountRow).where(AccountRow.name_key == key)).one_or_none()


def lock_account(session: Session, account_id: int) -> AccountRow | None:
    """An account as it is now, locked until the unit of work ends."""
    wanted = select(AccountRow).where(AccountRow.id == account_id).with_for_update()
    return session.exec(wanted.execution_options(populate_existing=True)).one_or_none()


def lock_owners(session: Session) -> list[AccountRow]:
    """The owners who can sign in, locked in the order of their numbers."""
    wanted = select(AccountRow).where(AccountRow.role == "owner", col(AccountRow.ended_at).is_(None))
    wanted = wanted.where(col(AccountRow.password_hash).is_not(None)).order_by(col(AccountRow.id)).with_for_update()
    return list(session.exec(wanted.execution_options(populate_existing=True)))


def load_accounts(session: Session) -> list[AccountRow]:
    """All accounts, by their numbers."""
    return list(session.exec(select(AccountRow).order_by(col(AccountRow.id))))


def session_by(session: Session, digest: str) -> tuple[SessionRow, AccountRow] | None:
    """The session with this digest and its account, unless one of them has ended."""
    wanted = select(SessionRow, AccountRow).join(AccountRow, col(AccountRow.id) == SessionRow.account_id)
    wanted = wanted.where(SessionRow.digest == digest, col(SessionRow.ended_at).is_(None))
    return session.exec(wanted.where(col(AccountRow.ended_at).is_(None))).one_or_none()


def open_sessions(session: Session, account_id: int) -> list[SessionRow]:
    """An account's sessions that nobody has ended, oldest first; some may have run out."""
    wanted = select(SessionRow).where(SessionRow.account_id == account_id, col(SessionRow.ended_at).is_(None))
    return list(session.exec(wanted.order_by(col(SessionRow.started_at), col(SessionRow.id))))


def addresses_of(session: Session, account_id: int, since: datetime) -> list[str]:
    """The addresses of the network from which an account was signed in, wholly, since a moment."""
    wanted = select(SessionRow.address).where(SessionRow.account_id == account_id, SessionRow.stage == "full")
    wanted = wanted.where(col(SessionRow.seen_at) >= since)
    return list(session.exec(wanted.distinct().order_by(SessionRow.address)))


def numbers_of(session: Session, names: Collection[str]) -> dict[str, int]:
    """The numbers of the accounts of some names, by the names."""
    found = session.exec(select(AccountRow.name, AccountRow.id).where(col(AccountRow.name).in_(names)))
    return {name: number for name, number in found if number is not None}


def end_sessions(session: Session, account_id: int, now: datetime) -> None:
    """End every session of an account."""
    these = update(SessionRow).where(col(SessionRow.account_id) == account_id, col(SessionRow.ended_at).is_(None))
    session.execute(these.values(ended_at=now))


def forget_sessions_before(session: Session, moment: datetime) -> None:
    """Delete sessions that were last used before a moment, with the addresses of the network at which they were open."""
    session.execute(delete(SessionRow).where(col(SessionRow.seen_at) < moment))


def refresh_session(session: Session, session_id: int, now: datetime) -> None:
    """Remember that a session was used, unless it was ended meanwhile."""
    this = update(SessionRow).where(col(SessionRow.id) == session_id, col(SessionRow.ended_at).is_(None))
    session.execute(this.values(seen_at=now))


def link_by(session: Session, digest: str, *, lock: bool = False) -> LinkRow | None:
    """The one-time link with this digest."""
    wanted = select(LinkRow).where(LinkRow.digest == digest)
    return session.exec(wanted.with_for_update() if lock else wanted).one_or_none()


def end_links(session: Session, account_id: int, now: datetime) -> None:
    """Let no earlier link of an account work any more."""
    these = update(LinkRow).where(col(LinkRow.account_id) == account_id, col(LinkRow.used_at).is_(None))
    session.execute(these.values(used_at=now))


def accounts_linked_by(session: Session, name: str, since: datetime, deeds: Collection[str]) -> list[int]:
    """The accounts whose newest one-time link since a moment somebody of this name made, as the record of such `deeds` says."""
    made = or_(*(col(DeedRow.what).startswith(deed) for deed in deeds))
    wanted = select(DeedRow.whom, DeedRow.who).where(col(DeedRow.at) >= since, made).order_by(col(DeedRow.id))
    last = dict(session.exec(wanted).all())
    names = [whom for whom, who in last.items() if who == name]
    found = session.exec(select(AccountRow.id).where(col(AccountRow.name).in_(names)).order_by(col(AccountRow.id)))
    return [account_id for account_id in found if account_id is not None]


def lock_failures(session: Session, keys: Sequence[str], now: datetime) -> list[FailureRow]:
    """The counters under some keys, made where they are missing, locked in the order of their keys; answered in the order given."""
    insert = _insert_of(session.get_bind().dialect.name)
    for key in sorted(keys):
        made = insert(FailureRow).values(key=key, failures=0, last_at=now)
        session.execute(made.on_conflict_do_nothing(index_elements=["key"]))
    wanted = select(FailureRow).where(col(FailureRow.key).in_(keys)).order_by(col(FailureRow.key)).with_for_update()
    found = {row.key: row for row in session.exec(wanted)}
    return [found[key] for key in keys]


def _insert_of(dialect: str) -> Any:
    """The INSERT of a dialect that can leave a row alone; only that dialect is imported, since PostgreSQL's takes 30 ms."""
    if dialect == "postgresql":
        from sqlalchemy.dialects import postgresql

        return postgresql.insert
    from sqlalchemy.dialects import sqlite

    return sqlite.insert


def failures_under(session: Session, keys: Sequence[str]) -> dict[str, int]:
    """How many failures are counted under each of some keys; those without any are left out."""
    wanted = select(FailureRow).where(col(FailureRow.key).in_(keys), col(FailureRow.failures) > 0)
    return {row.key: row.failures for row in session.exec(wanted)}


def forget_failures_before(
    session: Session, moment: datetime, kind: str, *, fewer_than: int | None = None, kept: Collection[str] = ()
) -> None:
    """Delete counters of a kind that nothing was added to since a moment, but for large ones and those kept."""
    old = delete(FailureRow).where(col(FailureRow.last_at) < moment, col(FailureRow.key).startswith(f"{kind}:"))
    if fewer_than is not None:
        old = old.where(col(FailureRow.failures) < fewer_than)
    session.execute(old.where(col(FailureRow.key).not_in(kept)))


def write_deed(session: Session, at: datetime, who: str, what: str, whom: str = "", address: str = "") -> None:
    """Add to the record of deeds; it never holds a password, a code, a seed or a token."""
    session.add(DeedRow(at=at, who=who, what=what, whom=whom, address=address))


def names_in_deeds(session: Session) -> set[str]:
    """Everybody who did a deed, or to whom one was done."""
    return {*session.exec(select(DeedRow.who).distinct()), *session.exec(select(DeedRow.whom).distinct())}


def newest_deeds(session: Session, most: int, names: Collection[str] | None = None) -> list[DeedRow]:
    """The newest deeds first, of some people where they are named."""
    wanted = select(DeedRow).order_by(col(DeedRow.id).desc()).limit(most)
    if names is not None:
        wanted = wanted.where(or_(col(DeedRow.who).in_(names), col(DeedRow.whom).in_(names)))
    return list(session.exec(wanted))


def deeds_between(
    session: Session, first: datetime | None, end: datetime | None, is_meant: Callable[[DeedRow], bool], places: slice
) -> tuple[list[DeedRow], int]:
    """The deeds from one moment on and before another that are meant, newest first: those at some places, and how many there are.

    They are read one after the other and compared here, since SQLite makes only the letters of ASCII small.
    """
    wanted = select(DeedRow).order_by(col(DeedRow.id).desc())
    wanted = wanted if first is None else wanted.where(col(DeedRow.at) >= first)
    wanted = wanted if end is None else wanted.where(col(DeedRow.at) < end)
    found, number = [], 0
    for row in session.exec(wanted.execution_options(yield_per=1000)):
        if is_meant(row):
            if places.start <= number < places.stop:
                found.append(row)
            number += 1
    return found, number


def add_link(session: Session, account_id: int, digest: str, expires_at: datetime, forgets_factor: bool) -> None:
    """Keep a one-time link by its digest."""
    session.add(LinkRow(account_id=account_id, digest=digest, expires_at=expires_at, forgets_factor=forgets_factor))


def add_session(session: Session, account_id: int, digest: str, stage: str, address: str, now: datetime) -> None:
    """Keep a session by its digest."""
    session.add(
        SessionRow(account_id=account_id, digest=digest, stage=stage, address=address, started_at=now, seen_at=now)
    )
