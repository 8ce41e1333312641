"""The stock ledger and the holds in the database; whether a hold is still open is asked of the clock in the query."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import ColumnElement, Row, and_, bindparam, func, join, or_
from sqlalchemy import select as core_select
from sqlmodel import Session, col, select

from server.domain.stock import Contact, Hold, Movement, MovementKind, OpenHold, PastHold, free
from server.persistence.plain import plain_row, plain_rows, plain_value, table_of
from server.persistence.quotes import lock_key
from server.persistence.tables import HoldRow, Moment, PartRow, QuoteRow, StockRow

NEVER = datetime(9000, 1, 1, tzinfo=UTC)
"""When a hold lapses whose parts were bought."""


def lock_parts(session: Session, skus: Iterable[str]) -> None:
    """Keep others from booking these parts until this transaction ends (SQLite's writers are alone anyway).

    A lock that lets entries for the parts be added meanwhile: a release only frees pieces, and waiting for one that in turn
    waits for us would be a deadlock.
    """
    wanted = select(PartRow.sku).where(col(PartRow.sku).in_(sorted(set(skus)))).order_by(col(PartRow.sku))
    session.exec(wanted.with_for_update(key_share=True)).all()


def lock_contact(session: Session, contact: Contact) -> None:
    """Keep others from asking under the same address or number until this transaction ends."""
    for key in sorted({f"contact:{key}" for key in (contact.email_key, contact.phone_key) if key}):
        lock_key(session, key)


def _is_open(now: datetime) -> ColumnElement[bool]:
    return and_(col(HoldRow.ended_at).is_(None), col(HoldRow.expires_at) > now)


_ENTRIES, _HOLDS, _QUOTES = table_of(StockRow).c, table_of(HoldRow).c, table_of(QuoteRow).c
_ON_HAND = select(_ENTRIES.sku, func.sum(_ENTRIES.change)).group_by(_ENTRIES.sku)
STILL_OPEN = and_(_HOLDS.ended_at.is_(None), _HOLDS.expires_at > bindparam("now", type_=Moment()))
_HELD = (
    select(_ENTRIES.sku, _ENTRIES.held)
    .select_from(join(table_of(HoldRow), table_of(StockRow), _HOLDS.id == _ENTRIES.hold_id))
    .where(STILL_OPEN)
)
_OWN = select(_QUOTES.id).where(_QUOTES.token == bindparam("but_for")).scalar_subquery()
_HELD_BUT = _HELD.where(func.coalesce(_HOLDS.quote_id != _OWN, True))
_NEWEST = select(func.max(_ENTRIES.id))
"""Asked for nearly every page, so they are put together once."""


def load_on_hand(session: Session) -> dict[str, int]:
    """Pieces on hand by SKU: the sum of the entries, worked out in the database."""
    return {sku: int(pieces) for sku, pieces in plain_rows(session, _ON_HAND)}


def load_held(session: Session, now: datetime, *, but_for: str | None = None) -> dict[str, int]:
    """Pieces held by SKU: the sum of the entries of holds open at a moment, leaving out those of one quote (its token)."""
    wanted, values = (_HELD, {"now": now}) if but_for is None else (_HELD_BUT, {"now": now, "but_for": but_for})
    held: Counter[str] = Counter()  # Summed up here: SQLite would read the whole ledger to group it.
    for sku, pieces in plain_rows(session, wanted, values):
        held[sku] += pieces
    return dict(held)


def load_free(session: Session, now: datetime, *, but_for: str | None = None) -> dict[str, int]:
    """What can be promised of each part: on hand less held, never below zero.

    To one who changes a quote (`but_for`, its token), what that quote itself holds can be promised again.
    """
    return free_of(load_on_hand(session), load_held(session, now, but_for=but_for))


def free_of(on_hand: Mapping[str, int], held: Mapping[str, int]) -> dict[str, int]:
    """What can be promised of each part, from what is on hand and what is held of it."""
    return {sku: free(pieces, held.get(sku, 0)) for sku, pieces in on_hand.items()}


def newest_entry(session: Session) -> int | None:
    """The number of the ledger's newest entry, another one after every change of what is on hand; zero while there is none.

    None in PostgreSQL: there two may write at once, and the one with the smaller number may be done later.
    """
    if session.get_bind().dialect.name == "postgresql":
        return None
    return plain_value(session, _NEWEST) or 0


def load_movements(session: Session, sku: str) -> list[Movement]:
    """The ledger of a part, oldest entry first."""
    rows = session.exec(select(StockRow).where(col(StockRow.sku) == sku).order_by(col(StockRow.id)))
    return [_movement_from(row) for row in rows]


def _movement_from(row: StockRow) -> Movement:
    pieces = abs(row.change or row.held) if row.kind != "count" else row.change
    return Movement(row.sku, row.kind, pieces, row.why, row.hold_id)  # type: ignore[arg-type]


def save_movements(session: Session, movements: Iterable[Movement], at: datetime, by: str) -> None:
    """Add entries to the ledger."""
    for movement in movements:
        session.add(
            StockRow(
                sku=movement.sku,
                kind=movement.kind,
                change=movement.change,
                held=movement.held,
                hold_id=movement.hold,
                at=at,
                by=by,
                why=movement.why,
            )
        )


def hold_from(row: HoldRow | Row[Any]) -> Hold:
    """A hold from its row."""
    return Hold(
        id=row.id or 0,
        revision=row.revision,
        skus=tuple(json.loads(row.skus)),
        made_at=row.made_at,
        expires_at=row.expires_at,
        is_confirmed=row.confirmed_at is not None,
        is_ended=row.ended_at is not None,
        deposit_back=row.deposit_back,
    )


_OPEN = (
    core_select(*_HOLDS)
    .select_from(join(table_of(HoldRow), table_of(QuoteRow), _QUOTES.id == _HOLDS.quote_id))
    .where(_QUOTES.token == bindparam("token"), STILL_OPEN)
    .order_by(_HOLDS.id.desc())
)
_OPEN_TO_CHANGE = _OPEN.with_for_update(of=table_of(HoldRow))


def open_hold_of(session: Session, token: str, now: datetime, *, to_change: bool = False) -> Hold | None:
    """The hold of a quote that is open at a moment, or None; with `to_change` nobody else ends it until this transaction ends."""
    row = plain_row(session, _OPEN_TO_CHANGE if to_change else _OPEN, {"token": token, "now": now})
    return None if row is None else hold_from(row)


def contact_of(session: Session, token: str) -> Contact | None:
    """Who last asked to hold the parts of a quote, and was not forgotten since; None where nobody did."""
    wanted = (
        select(HoldRow)
        .join(QuoteRow, col(QuoteRow.id) == col(HoldRow.quote_id))
        .where(col(QuoteRow.token) == token, col(HoldRow.name) != "")
        .order_by(col(HoldRow.id).desc())
    )
    row = session.exec(wanted).first()
    return None if row is None else Contact(row.name, row.email, row.phone)


def load_open_holds(session: Session, now: datetime) -> list[OpenHold]:
    """All holds open at a moment with their contacts and codes, those first that expire first."""
    wanted = (
        select(HoldRow, QuoteRow.code)
        .join(QuoteRow, col(QuoteRow.id) == col(HoldRow.quote_id))
        .where(_is_open(now))
        .order_by(col(HoldRow.expires_at), col(HoldRow.id))
    )
    return [
        OpenHold(hold_from(row), Contact(row.name, row.email, row.phone), code) for row, code in session.exec(wanted)
    ]


def count_open_holds(session: Session, now: datetime) -> int:
    """How many holds are open."""
    return session.exec(select(func.count()).select_from(HoldRow).where(_is_open(now))).one()


def open_holds_for(session: Session, contact: Contact, now: datetime) -> int:
    """How many holds are open at a moment for this e-mail address or this telephone number."""
    same = or_(
        and_(col(HoldRow.email_key) == contact.email_key, col(HoldRow.email_key) != ""),
        and_(col(HoldRow.phone_key) == contact.phone_key, col(HoldRow.phone_key) != ""),
    )
    return session.exec(select(func.count()).select_from(HoldRow).where(same, _is_open(now))).one()


def save_hold(session: Session, token: str, contact: Contact, hold: Hold, skus: Sequence[str], by: str) -> Hold:
    """Keep a new hold and set its parts aside in the ledger; the hold with its id."""
    quote_id = session.exec(select(QuoteRow.id).where(col(QuoteRow.token) == token)).one()
    row = HoldRow(
        quote_id=quote_id,
        revision=hold.revision,
        skus=json.dumps(list(skus)),
        name=contact.name,
        email=contact.email,
        phone=contact.phone,
        email_key=contact.email_key,
        phone_key=contact.phone_key,
        deposit_back=hold.deposit_back,
        made_at=hold.made_at,
        expires_at=hold.expires_at,
    )
    session.add(row)
    session.flush()
    movements = [Movement(sku, "hold", 1, "agreed", row.id) for sku in skus]
    save_movements(session, movements, hold.made_at, by)
    return hold_from(row)


def add_hold(session: Session, skus: Sequence[str], now: datetime, until: datetime, by: str, why: str) -> int:
    """Set parts aside without a quote; the number of the hold. Whom they are for is kept with what asks for it."""
    row = HoldRow(
        quote_id=None,
        revision=0,
        skus=json.dumps(list(skus)),
        name="",
        email="",
        phone="",
        email_key="",
        phone_key="",
        deposit_back=0,
        made_at=now,
        expires_at=until,
    )
    session.add(row)
    session.flush()
    save_movements(session, [Movement(sku, "hold", 1, why, row.id) for sku in skus], now, by)
    return row.id or 0


def end_hold(session: Session, hold_id: int, now: datetime, because: str, by: str) -> None:
    """Release what a hold set aside."""
    row = session.get_one(HoldRow, hold_id)
    row.ended_at, row.ended_because, row.ended_by = now, because, by
    skus = json.loads(row.skus)
    save_movements(session, [Movement(sku, "release", 1, because, hold_id) for sku in skus], now, by)


def extend_hold(session: Session, hold_id: int, now: datetime, until: datetime, by: str) -> Hold:
    """Confirm a hold until a later moment."""
    row = session.get_one(HoldRow, hold_id)
    row.confirmed_at, row.expires_at, row.confirmed_by = now, until, by
    return hold_from(row)


def take_from_hold(
    session: Session, hold_id: int, sku: str, kind: MovementKind, at: datetime, by: str, why: str
) -> None:
    """Book that one piece leaves a hold, handed over or released; with the last one the hold has ended.

    The hold keeps the list of what it still sets aside, so that what is released later is only that.
    """
    row = session.get_one(HoldRow, hold_id)
    left = json.loads(row.skus)
    left.remove(sku)
    row.skus = json.dumps(left)
    save_movements(session, [Movement(sku, kind, 1, why, hold_id)], at, by)
    if not left:
        row.ended_at, row.ended_because, row.ended_by = at, why, by


def keep_hold(session: Session, hold_id: int, now: datetime) -> None:
    """Keep what a hold sets aside until it is handed over: it was bought, and does not lapse any more."""
    row = session.get_one(HoldRow, hold_id)
    row.confirmed_at = row.confirmed_at or now
    row.expires_at = NEVER


def load_past_holds(session: Session, token: str) -> list[PastHold]:
    """All holds that a quote ever had, oldest first, with who confirmed and who ended each."""
    wanted = (
        select(HoldRow)
        .join(QuoteRow, col(QuoteRow.id) == col(HoldRow.quote_id))
        .where(col(QuoteRow.token) == token)
        .order_by(col(HoldRow.id))
    )
    rows = list(session.exec(wanted))
    return [
        PastHold(
            hold_from(row),
            row.confirmed_at,
            row.confirmed_by or "",
            row.ended_at,
            row.ended_because,
            row.ended_by or "",
            _asked_by(session, row.id or 0),
        )
        for row in rows
    ]


def _asked_by(session: Session, hold_id: int) -> str:
    """Who set the parts of a hold aside, as the ledger has it."""
    wanted = select(StockRow.by).where(col(StockRow.hold_id) == hold_id).order_by(col(StockRow.id)).limit(1)
    return session.exec(wanted).first() or ""


def lapsed_holds(session: Session, now: datetime) -> list[int]:
    """The holds that have expired and were not released in the ledger yet."""
    wanted = select(HoldRow.id).where(col(HoldRow.ended_at).is_(None), col(HoldRow.expires_at) <= now)
    return [hold_id for hold_id in session.exec(wanted.with_for_update()) if hold_id is not None]


def forget_contacts_before(session: Session, moment: datetime) -> int:
    """Forget who asked for the holds that ended before a moment; how many there were."""
    wanted = select(HoldRow).where(
        col(HoldRow.ended_at).is_not(None), col(HoldRow.ended_at) < moment, col(HoldRow.name) != ""
    )
    rows = session.exec(wanted).all()
    for row in rows:
        row.name = row.email = row.phone = row.email_key = row.phone_key = ""
    return len(rows)


@dataclass(frozen=True, slots=True)
class Booked:
    """An entry of the ledger with when and by whom it was made."""

    number: int
    movement: Movement
    at: datetime
    by: str


def load_booked(session: Session, sku: str, most: int) -> list[Booked]:
    """The newest entries of a part's ledger, newest first."""
    wanted = select(StockRow).where(col(StockRow.sku) == sku).order_by(col(StockRow.id).desc()).limit(most)
    return [Booked(row.id or 0, _movement_from(row), row.at, row.by) for row in session.exec(wanted)]


def newest_change(session: Session, sku: str) -> Booked | None:
    """The newest entry that changed what is on hand of a part; None where there is none."""
    changes = select(StockRow).where(col(StockRow.sku) == sku, col(StockRow.change) != 0)
    row = session.exec(changes.order_by(col(StockRow.id).desc()).limit(1)).first()
    return None if row is None else Booked(row.id or 0, _movement_from(row), row.at, row.by)
