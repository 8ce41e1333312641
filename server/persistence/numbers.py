"""What is counted, read from the database: only the columns and the parts of a record that a number is made of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import BigInteger, Select, and_, func, or_
from sqlalchemy import cast as as_type
from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from server.domain.deposits import SIGNS, EntryKind
from server.domain.numbers import Ordered, SaleFact
from server.domain.pricing import Margin
from server.domain.sales import Gone, Item, state_of
from server.domain.size_classes import Asked
from server.persistence.tables import (
    CounterSaleRow,
    DepositRow,
    DraftRow,
    HoldRow,
    LessonRow,
    MarkRow,
    PaperRow,
    QuoteRow,
    RevisionRow,
    SaleItemRow,
    SaleRow,
    SettlementRow,
    TallyRow,
    UnmetRow,
)

CUSTOMER = "customer"
AT_ONCE = 500
"""So many records are fetched at once: each is 8 KB, of which a tenth is kept."""


def _of(*wanted: Any) -> Select[Any]:
    """A query for so many columns; the types of a query with a day or a null in it are beyond SQLModel's."""
    return columns(*wanted)


@dataclass(frozen=True, slots=True)
class _Target:
    ideal: float
    low: float = 0.0
    high: float = 0.0


@dataclass(frozen=True, slots=True)
class _Price:
    lines: tuple[Ordered, ...]


@dataclass(frozen=True, slots=True)
class _Kit:
    kept: dict[str, Any]
    price: _Price


@dataclass(frozen=True, slots=True)
class _Earns:
    revenue: int
    cost: int
    trade_in_loss: int


@dataclass(frozen=True, slots=True)
class _Record:
    """The part of a quote's record that is counted; the rest of it is skipped, which is five times as quick."""

    answers: dict[str, Any]
    water: str
    spot: str
    targets: dict[str, _Target]
    kit: _Kit
    margin: _Earns


_RECORD = TypeAdapter(_Record)


@dataclass(frozen=True, slots=True)
class QuoteRead:
    """A quote as it lies in the database, with the part of its record that is counted; `held` is the revision of its open hold.

    `bounds` are the least and the greatest size that suit, by slot.
    """

    id: int
    token: str
    started_at: datetime
    revision: int
    seen: int | None
    is_withdrawn: bool
    valid_until: date
    made_by: str
    was_held: bool
    held: int | None
    answers: dict[str, Any]
    water: str
    spot: str
    ideals: dict[str, float]
    bounds: dict[str, tuple[float, float]]
    lines: tuple[Ordered, ...]
    margin: Margin

    @property
    def is_desks(self) -> bool:
        """Whether somebody of the shop kept it first."""
        return self.made_by != CUSTOMER


def read_quotes(session: Session, since: datetime, until: datetime, sold_since: date, now: datetime) -> list[QuoteRead]:
    """The quotes first kept from a moment to before another, or bought since a day, each with its newest revision, oldest first.

    One whose record another version of the program wrote, and that cannot be read, is left out.
    """
    bought = select(SaleRow.quote_token).where(col(SaleRow.made_on) >= sold_since, col(SaleRow.quote_token) != "")
    kept = and_(col(QuoteRow.started_at) >= since, col(QuoteRow.started_at) < until)
    within = (or_(kept, col(QuoteRow.token).in_(bought)),)
    newest = (
        _of(
            QuoteRow.id,
            QuoteRow.token,
            QuoteRow.started_at,
            QuoteRow.revision,
            QuoteRow.seen_revision,
            col(QuoteRow.withdrawn_at),
            RevisionRow.valid_until,
            RevisionRow.record,
        )
        .join(RevisionRow, col(RevisionRow.quote_id) == col(QuoteRow.id))
        .where(col(RevisionRow.revision) == col(QuoteRow.revision), *within)
        .order_by(col(QuoteRow.id))
    )
    first = (
        select(RevisionRow.quote_id, RevisionRow.made_by)
        .join(QuoteRow, col(QuoteRow.id) == col(RevisionRow.quote_id))
        .where(col(RevisionRow.revision) == 1, *within)
    )
    made_by = dict(session.exec(first).all())
    held = _holds(session, within, now)
    found = []
    rows = session.execute(newest.execution_options(yield_per=AT_ONCE))
    for number, token, started, revision, seen, withdrawn, until_day, record in rows:
        try:
            told = _RECORD.validate_json(record)
        except ValidationError:
            continue
        found.append(
            QuoteRead(
                id=number,
                token=token,
                started_at=started,
                revision=revision,
                seen=seen,
                is_withdrawn=withdrawn is not None,
                valid_until=until_day,
                made_by=made_by.get(number, CUSTOMER),
                was_held=number in held,
                held=held.get(number),
                answers=told.answers,
                water=told.water,
                spot=told.spot,
                ideals={slot: one.ideal for slot, one in told.targets.items() if slot not in told.kit.kept},
                bounds={slot: (one.low, one.high) for slot, one in told.targets.items()},
                lines=told.kit.price.lines,
                margin=Margin(told.margin.revenue, told.margin.cost, told.margin.trade_in_loss),
            )
        )
    return found


def _holds(session: Session, within: Iterable[Any], now: datetime) -> dict[int, int | None]:
    """The quotes that ever had a hold, each with the revision of the one that is open."""
    rows = session.execute(
        _of(HoldRow.quote_id, HoldRow.revision, HoldRow.expires_at, HoldRow.ended_at)
        .join(QuoteRow, col(QuoteRow.id) == col(HoldRow.quote_id))
        .where(*within)
        .order_by(col(HoldRow.id))
    )
    held: dict[int, int | None] = {}
    for number, revision, expires, ended in rows:
        if number is not None:
            is_open = ended is None and expires > now
            held[number] = revision if is_open else held.get(number)
    return held


def oldest_quote(session: Session) -> datetime | None:
    """When the oldest quote was first kept."""
    return session.exec(select(func.min(col(QuoteRow.started_at)))).first()


def quotes_since(session: Session, since: datetime) -> int:
    """How many quotes were first kept since a moment."""
    return session.exec(select(func.count()).where(col(QuoteRow.started_at) >= since)).one()


def begun_drafts(session: Session, since: datetime, until: datetime) -> list[datetime]:
    """When the drafts that are still there were begun, from a moment to before another; what revises a quote begins nothing."""
    wanted = select(DraftRow.started_at).where(
        col(DraftRow.revises).is_(None), col(DraftRow.started_at) >= since, col(DraftRow.started_at) < until
    )
    return list(session.exec(wanted))


def load_tally(session: Session, what: str, first: date, last: date) -> dict[date, int]:
    """How often something happened on each of some days, of what was deleted since."""
    wanted = _of(TallyRow.day, TallyRow.number).where(
        col(TallyRow.what) == what, col(TallyRow.day) >= first, col(TallyRow.day) <= last
    )
    return {day: int(number) for day, number in session.execute(wanted)}


def add_to_tally(session: Session, what: str, days: Iterable[date]) -> None:
    """Count that something happened on some days, each as often as it is named."""
    for day in sorted(days):
        row = session.get(TallyRow, (what, day), with_for_update=True)
        if row is None:
            session.add(TallyRow(what=what, day=day, number=1))
            session.flush()
        else:
            row.number += 1
    session.flush()


def read_missed(session: Session, first: date) -> dict[tuple[int, str], float]:
    """The ideal sizes that nothing free met since a day, by quote and slot."""
    wanted = _of(UnmetRow.quote_id, UnmetRow.slot, UnmetRow.ideal).where(
        col(UnmetRow.day) >= first, col(UnmetRow.quote_id).is_not(None)
    )
    return {(quote, slot): ideal for quote, slot, ideal in session.execute(wanted)}


def read_missed_by_deleted(session: Session, first: date, last: date) -> list[Asked]:
    """What nothing free met on some days for quotes that were deleted since."""
    wanted = _of(UnmetRow.slot, UnmetRow.ideal, UnmetRow.day).where(
        col(UnmetRow.day) >= first, col(UnmetRow.day) <= last, col(UnmetRow.quote_id).is_(None)
    )
    return [Asked(slot, ideal, is_unmet=True, day=day) for slot, ideal, day in session.execute(wanted)]


def read_sales(session: Session, since: date) -> list[SaleFact]:
    """The contracts made since a day, in the order they were made."""
    within = (col(SaleRow.made_on) >= since,)

    def by_sale(wanted: Any) -> dict[int, list[Any]]:
        found: dict[int, list[Any]] = {}
        for row in session.execute(wanted):
            found.setdefault(row[0], []).append(row)
        return found

    items = by_sale(
        _of(
            SaleItemRow.sale_id,
            SaleItemRow.number,
            SaleItemRow.sku,
            SaleItemRow.slot,
            SaleItemRow.list,
            SaleItemRow.charged,
            SaleItemRow.piece,
            SaleItemRow.sent_on,
            SaleItemRow.received_on,
            SaleItemRow.gone,
            SaleItemRow.takes_place_of,
        )
        .join(SaleRow, col(SaleRow.id) == col(SaleItemRow.sale_id))
        .where(*within)
    )
    papers = by_sale(
        select(PaperRow.sale_id, PaperRow.kind, func.sum(PaperRow.gross))
        .join(SaleRow, col(SaleRow.id) == col(PaperRow.sale_id))
        .where(*within)
        .group_by(col(PaperRow.sale_id), col(PaperRow.kind))
    )
    trade_ins = by_sale(
        select(SettlementRow.sale_id, func.sum(SettlementRow.amount))
        .join(SaleRow, col(SaleRow.id) == col(SettlementRow.sale_id))
        .where(col(SettlementRow.means) == "trade_in", *within)
        .group_by(col(SettlementRow.sale_id))
    )
    withdrawn = by_sale(
        select(MarkRow.sale_id)
        .join(SaleRow, col(SaleRow.id) == col(MarkRow.sale_id))
        .where(col(MarkRow.kind) == "withdrawn", *within)
    )
    rows = _of(SaleRow.id, SaleRow.code, SaleRow.quote_token, SaleRow.made_on).where(*within).order_by(col(SaleRow.id))
    return [
        _sale_from(
            (number or 0, code, quote, day),
            [_item_from(row) for row in items.get(number or 0, ())],
            {kind: int(gross) for _, kind, gross in papers.get(number or 0, ())},
            sum(int(amount) for _, amount in trade_ins.get(number or 0, ())),
            is_withdrawn=number in withdrawn,
        )
        for number, code, quote, day in session.execute(rows)
    ]


def _item_from(row: Any) -> Item:
    _, number, sku, slot, list_price, charged, piece, sent, received, gone, takes_place_of = row
    return Item(
        number,
        sku,
        "",
        slot,
        list_price,
        charged,
        piece=piece,
        sent_on=sent,
        received_on=received,
        gone=cast(Gone, gone),
        takes_place_of=takes_place_of,
    )


def _sale_from(
    head: tuple[int, str, str, date],
    items: Sequence[Item],
    papers: dict[str, int],
    trade_in: int,
    *,
    is_withdrawn: bool,
) -> SaleFact:
    number, code, quote, day = head
    first = [item for item in items if item.takes_place_of is None]
    return SaleFact(
        id=number,
        day=day,
        # Whether it is paid is not counted, so that nothing need be known of what is left to pay.
        state=state_of(items, is_withdrawn, 0),
        was_handed_over=any(item.received_on is not None for item in items if item.is_goods),
        list=sum(item.list for item in first),
        charged=sum(item.charged for item in first),
        invoiced=papers.get("invoice", 0),
        credited=-papers.get("credit_note", 0),
        trade_in=trade_in,
        code=code,
        quote=quote,
        skus=tuple(item.sku for item in first if item.is_goods and item.piece is None),
    )


def read_counter(session: Session, since: datetime, until: datetime) -> tuple[dict[str, int], int]:
    """Pieces sold over the counter from a moment to before another by SKU, and their money in cents; not what was taken back."""
    money = func.sum(as_type(col(CounterSaleRow.pieces), BigInteger) * col(CounterSaleRow.price))
    wanted = select(CounterSaleRow.sku, func.sum(CounterSaleRow.pieces), money)
    within = (
        col(CounterSaleRow.at) >= since,
        col(CounterSaleRow.at) < until,
        col(CounterSaleRow.taken_back_at).is_(None),
    )
    rows = session.exec(wanted.where(*within).group_by(col(CounterSaleRow.sku))).all()
    return {sku: int(pieces) for sku, pieces, _ in rows}, sum(int(money) for _, _, money in rows)


@dataclass(frozen=True, slots=True)
class LessonRead:
    """A paid lesson: its code, kind and day, what is given back with a kit in cents, and the codes of the quotes it was given with."""

    code: str
    kind: str
    day: date
    given_back: int
    quotes: tuple[str, ...]


def read_lessons(session: Session, first: date, last: date) -> list[LessonRead]:
    """The lessons held or to be held on some days for which something was paid; those called off are none."""
    rows = session.execute(
        _of(DepositRow.code, LessonRow.kind, LessonRow.day, DepositRow.kind, DepositRow.amount, DepositRow.quote)
        .join(LessonRow, col(LessonRow.code) == col(DepositRow.code))
        .where(col(LessonRow.day) >= first, col(LessonRow.day) <= last)
        .where(col(LessonRow.state).in_(("taken", "booked", "missed", "called_off_late")))
        .order_by(col(DepositRow.id))
    )
    heads: dict[str, tuple[str, date]] = {}
    paid: dict[str, int] = {}
    back: dict[str, int] = {}
    quotes: dict[str, list[str]] = {}
    for code, kind, day, entry, amount, quote in rows:
        heads[code] = kind, day
        if entry == "paid":
            paid[code] = paid.get(code, 0) + amount
        if entry in ("given_back", "charged_again"):
            back[code] = back.get(code, 0) - SIGNS[cast(EntryKind, entry)] * amount
            quotes.setdefault(code, []).append(quote)
    return [
        LessonRead(code, kind, day, back.get(code, 0), tuple(quotes.get(code, ())))
        for code, (kind, day) in heads.items()
        if paid.get(code, 0) > 0
    ]


def contracts_with_codes(session: Session, first: date) -> list[tuple[str, date, tuple[str, ...]]]:
    """The contracts made since a day: the code, the day, and the codes of lessons that their quotes name."""
    rows = session.execute(
        _of(SaleRow.code, SaleRow.made_on, RevisionRow.record)
        .join(QuoteRow, col(QuoteRow.token) == col(SaleRow.quote_token))
        .join(
            RevisionRow,
            (col(RevisionRow.quote_id) == col(QuoteRow.id)) & (col(RevisionRow.revision) == col(QuoteRow.revision)),
        )
        .where(col(SaleRow.made_on) >= first)
    )
    return [(code, day, _codes_in(record)) for code, day, record in rows]


def _codes_in(record: str) -> tuple[str, ...]:
    try:
        return tuple(_RECORD.validate_json(record).answers.get("deposit_codes") or ())
    except ValidationError:
        return ()
