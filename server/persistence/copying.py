"""A database held still while it is copied, and what its books say, reckoned by the database itself."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime

from sqlalchemy import Connection, Select, and_, func, select
from sqlalchemy.engine import make_url
from sqlmodel import col

from server.persistence.backups import Stored
from server.persistence.engine import Place, engine_for, reaching, sessions
from server.persistence.migrate import be_alone, keep_others_from_migrating, leave_the_log
from server.persistence.tables import (
    DepositRow,
    HoldRow,
    PaperRow,
    PhotoRow,
    QuoteRow,
    RevisionRow,
    SettlementRow,
    StockRow,
)


def name_of(place: Place) -> str:
    """Where a place is, in words: without the name and the password by which a database is opened."""
    if not place.url:
        return str(place.sqlite_file)
    url = make_url(place.url)
    return f"the database {url.database or 'of the same name'} at {url.host or 'this machine'}"


@contextmanager
def held_still(place: Place) -> Iterator[Stored]:
    """Every table of a place that nobody else is connected to, as it is at one moment; nothing of it is changed.

    Others wait for an SQLite file meanwhile. Raises `Conflict` where somebody is connected: what they would still write would be lost.
    """
    with reaching(place):
        engine = engine_for(place)
        connecting = engine.execution_options(begins_by_hand=True).connect
    try:
        if place.url:
            with sessions(engine)(False) as session:
                with reaching(place):
                    connection = session.connection()
                keep_others_from_migrating(connection)
                be_alone(connection)
                yield Stored.of(connection)
        else:
            with connecting() as connection:
                with reaching(place):
                    leave_the_log(connection)
                    connection.exec_driver_sql("BEGIN EXCLUSIVE")
                try:
                    yield Stored.of(connection)
                finally:
                    connection.exec_driver_sql("ROLLBACK")
    finally:
        engine.dispose()


def books_of(connection: Connection, now: datetime) -> dict[str, str]:
    """What an owner would add up, of a database of the newest revision: stock, holds, quotes, money, papers, fees, photographs."""
    return {
        **_by(
            connection,
            "pieces on hand by",
            select(col(StockRow.kind), func.sum(StockRow.change)).group_by(col(StockRow.kind)),
        ),
        **_promised(connection, now),
        **_by(
            connection,
            "paid by",
            select(col(SettlementRow.means), func.sum(SettlementRow.amount)).group_by(col(SettlementRow.means)),
            is_money=True,
        ),
        **_papers(connection),
        **_by(
            connection,
            "lesson fees",
            select(col(DepositRow.kind), func.sum(DepositRow.amount)).group_by(col(DepositRow.kind)),
            is_money=True,
        ),
        "photographs, bytes": str(connection.scalar(select(func.sum(func.length(col(PhotoRow.content))))) or 0),
    }


def _by(connection: Connection, name: str, wanted: Select[str, int], *, is_money: bool = False) -> dict[str, str]:
    said = _money if is_money else str
    return {
        f"{name} {word.replace('_', ' ')}": said(number) for word, number in sorted(connection.execute(wanted).all())
    }


def _money(cents: int) -> str:
    return f"{cents / 100:,.2f}"


def _promised(connection: Connection, now: datetime) -> dict[str, str]:
    is_open = and_(col(HoldRow.ended_at).is_(None), col(HoldRow.expires_at) > now)
    aside = select(func.sum(StockRow.held)).join(HoldRow, col(HoldRow.id) == col(StockRow.hold_id)).where(is_open)
    counted = {
        "open holds": select(func.count()).select_from(HoldRow).where(is_open),
        "pieces set aside": aside,
        "quotes": select(func.count()).select_from(QuoteRow),
        "their revisions": select(func.count()).select_from(RevisionRow),
    }
    return {name: str(connection.scalar(wanted) or 0) for name, wanted in counted.items()}


def _papers(connection: Connection) -> dict[str, str]:
    """Papers by kind, and their VAT by rate, which a paper keeps as JSON."""
    kinds = select(col(PaperRow.kind), func.count(), func.sum(PaperRow.gross)).group_by(col(PaperRow.kind))
    said = {
        f"papers, {kind.replace('_', ' ')}": f"{number}: {_money(gross)}"
        for kind, number, gross in sorted(connection.execute(kinds).all())
    }
    gross: Counter[str] = Counter()
    tax: Counter[str] = Counter()
    unreadable = 0
    for vat in connection.execute(select(col(PaperRow.vat)), execution_options={"yield_per": 1000}).scalars():
        try:
            shares = [(share["percent"], int(share["gross"]), int(share["vat"])) for share in json.loads(vat)]
        except (ValueError, TypeError, KeyError):
            unreadable += 1
            continue
        for percent, with_tax, of_it in shares:
            gross[percent] += with_tax
            tax[percent] += of_it
    said |= {f"papers at {rate} %, VAT": f"{_money(gross[rate])}, {_money(tax[rate])}" for rate in sorted(gross)}
    return said | ({"papers whose VAT cannot be read": str(unreadable)} if unreadable else {})
