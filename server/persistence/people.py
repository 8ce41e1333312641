"""What is kept of a person in every table, found by their e-mail address or telephone number, and taken out of them.

A quote is theirs that they asked to hold, were called about, had made for them, booked with or bought; where another person has done
one of these with it, it is that person's as well and stays.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, TypeVar

from sqlalchemy import ColumnElement, false, or_
from sqlmodel import Session, SQLModel, col, select

from server.domain.lessons import OPEN_STATES
from server.domain.people import Fields, Open
from server.domain.stock import Contact
from server.persistence.sales import load_sale
from server.persistence.tables import (
    AssessmentRow,
    BookingRow,
    CallRow,
    CaseRow,
    DepositRow,
    DraftRow,
    FollowUpRow,
    HoldRow,
    LessonRow,
    MarkRow,
    MessageRow,
    PaperRow,
    PhotoRow,
    QuestionRow,
    QuoteRow,
    ReservationRow,
    RevisionRow,
    SaleItemRow,
    SaleRow,
    SettlementRow,
    WorksheetRow,
)

INWARD = frozenset({"email_key", "phone_key", "key", "message_id", "leased_until", "content"})
"""What is kept of a thing for the program's own sake and says nothing of a person."""
JSON_COLUMNS = frozenset({"answers", "picks", "agreed", "record", "lines", "vat", "about", "seen", "joined", "skus"})
OF_THE_SHOP = frozenset({"margin", "cost", "bought", "word_margin_percent"})
"""What things cost the shop and what it earns with them."""
Row = TypeVar("Row", bound=SQLModel)


@dataclass
class Found:
    """The rows that are kept of a person, by table; the quotes they share with others, and those of theirs that a sale names."""

    rows: dict[str, Sequence[SQLModel]] = field(default_factory=dict)
    shared: list[QuoteRow] = field(default_factory=list)
    sold: set[str] = field(default_factory=set)

    def of(self, kind: type[Row]) -> list[Row]:
        """The rows of one table."""
        return [row for row in self.rows.get(str(kind.__tablename__), ()) if isinstance(row, kind)]

    def ids(self, kind: type[SQLModel]) -> list[int]:
        """The numbers of the rows of one table."""
        return [row.id for row in self.of(kind)]  # type: ignore[attr-defined]


def find_rows(session: Session, contact: Contact, *, to_change: bool = False) -> Found:
    """Everything that is kept of whoever has this address or this number; with `to_change` locked until the transaction ends."""
    look = _Look(session, to_change)
    found = Found()
    for kind in (SaleRow, HoldRow, ReservationRow, BookingRow, CallRow, WorksheetRow):
        found.rows[str(kind.__tablename__)] = look.rows(kind, _is_theirs(kind, contact))
    behind = [row.hold_id for row in found.of(SaleRow) if row.hold_id and row.hold_id not in found.ids(HoldRow)]
    found.rows["hold"] = [*found.of(HoldRow), *look.rows(HoldRow, col(HoldRow.id).in_(behind))]
    _find_quotes(look, found)
    _find_beside(look, found)
    found.rows["message"] = _messages(look, found, contact)
    return found


@dataclass(frozen=True)
class _Look:
    session: Session
    to_change: bool

    def rows(self, kind: type[Row], where: ColumnElement[bool]) -> list[Row]:
        """The rows of a table that meet a condition, in the order of their key."""
        wanted = select(kind).where(where).order_by(*kind.__table__.primary_key)  # type: ignore[attr-defined]
        if self.to_change:
            wanted = wanted.with_for_update().execution_options(populate_existing=True)
        return list(self.session.exec(wanted))


def _is_theirs(kind: Any, contact: Contact) -> ColumnElement[bool]:
    """Whether a row bears the address or the number; a call has no address."""
    by = []
    if contact.email and hasattr(kind, "email_key"):
        by.append(kind.email_key == contact.email_key)
    if contact.phone_key:
        by.append(kind.phone_key == contact.phone_key)
    return or_(false(), *by)


def _find_quotes(look: _Look, found: Found) -> None:
    """The quotes of the rows found so far, and what hangs on those that are this person's alone."""
    by_token: tuple[Any, ...] = (WorksheetRow, BookingRow, SaleRow)
    by_number: tuple[Any, ...] = (HoldRow, CallRow)
    tokens = {row.quote_token for kind in by_token for row in found.of(kind)} - {""}
    numbers = {row.quote_id for kind in by_number for row in found.of(kind)} - {None}
    wanted = or_(col(QuoteRow.token).in_(tokens), col(QuoteRow.id).in_(numbers))
    quotes = look.rows(QuoteRow, wanted)
    found.shared = [row for row in quotes if _is_shared(look.session, row, found)]
    mine = [row for row in quotes if row not in found.shared]
    found.rows["quote"] = mine
    theirs = [row.token for row in mine]
    found.rows["quote_revision"] = look.rows(RevisionRow, col(RevisionRow.quote_id).in_([row.id for row in mine]))
    drafts = [row.token for row in found.of(WorksheetRow)]
    found.rows["draft"] = look.rows(DraftRow, or_(col(DraftRow.token).in_(drafts), col(DraftRow.revises).in_(theirs)))
    found.sold = set(look.session.exec(select(SaleRow.quote_token).where(col(SaleRow.quote_token).in_(theirs))))


def _is_shared(session: Session, quote: QuoteRow, found: Found) -> bool:
    """Whether somebody else has asked to hold it, was called about it, has it on a worksheet, booked with it or bought it."""
    by_number = ((HoldRow, HoldRow.quote_id), (CallRow, CallRow.quote_id))
    by_token = (
        (WorksheetRow, WorksheetRow.quote_token),
        (BookingRow, BookingRow.quote_token),
        (SaleRow, SaleRow.quote_token),
    )
    names: list[tuple[Any, Any, Any]] = [(kind, column, quote.id) for kind, column in by_number]
    names += [(kind, column, quote.token) for kind, column in by_token]
    for kind, column, value in names:
        known = {id(row) for row in found.of(kind)}
        others = session.exec(select(kind).where(column == value, col(kind.name) != "")).all()
        if any(id(row) not in known for row in others):
            return True
    return False


def _find_beside(look: _Look, found: Found) -> None:
    """What hangs on sales and bookings."""
    sales, bookings = found.ids(SaleRow), found.ids(BookingRow)
    for kind in (SaleItemRow, PaperRow, SettlementRow, MarkRow, CaseRow, QuestionRow, FollowUpRow):
        found.rows[str(kind.__tablename__)] = look.rows(kind, col(kind.sale_id).in_(sales))
    abouts = [f"question:{number}" for number in found.ids(QuestionRow)]
    found.rows["photo"] = look.rows(PhotoRow, col(PhotoRow.about).in_(abouts))
    found.rows["assessment"] = look.rows(AssessmentRow, col(AssessmentRow.booking_id).in_(bookings))
    codes = [row.code for row in found.of(BookingRow)]
    found.rows["paid_lesson"] = look.rows(LessonRow, col(LessonRow.code).in_(codes))
    found.rows["deposit_entry"] = look.rows(DepositRow, col(DepositRow.code).in_(codes))


def _messages(look: _Look, found: Found, contact: Contact) -> list[MessageRow]:
    """The messages to the address, and those about what is theirs."""
    emails = {contact.email_key, *(row.email_key for kind in KEYED_BY_MAIL for row in found.of(kind))} - {""}
    to = [spelt for spelt in look.session.exec(select(MessageRow.to_email).distinct()) if spelt.casefold() in emails]
    abouts = [f"quote:{row.token}" for row in found.of(QuoteRow)]
    for name, kind in (("booking", BookingRow), ("sale", SaleRow), ("reservation", ReservationRow)):
        abouts += [f"{name}:{number}" for number in found.ids(kind)]
    return look.rows(MessageRow, or_(col(MessageRow.to_email).in_(to), col(MessageRow.about).in_(abouts)))


KEYED_BY_MAIL: tuple[Any, ...] = (SaleRow, HoldRow, ReservationRow, BookingRow, WorksheetRow)


def plain_rows(found: Found) -> dict[str, list[Fields]]:
    """The rows as plain values: what JSON they hold read, moments in UTC, and nothing of what is the program's or the shop's alone."""
    return {name: [_plain(row) for row in rows] for name, rows in found.rows.items() if rows}


def _plain(row: SQLModel) -> Fields:
    values = row.model_dump(exclude=set(INWARD | OF_THE_SHOP))
    return {name: _value(name, value) for name, value in values.items()}


def _value(name: str, value: Any) -> Any:
    is_json = name in JSON_COLUMNS and isinstance(value, str) and value[:1] in ("{", "[")
    return _for_them(json.loads(value)) if is_json else value


def _for_them(said: Any) -> Any:
    """What is said in JSON without what is for the shop's eyes alone, however deep."""
    if isinstance(said, dict):
        return {name: _for_them(one) for name, one in said.items() if name not in OF_THE_SHOP}
    return [_for_them(one) for one in said] if isinstance(said, list) else said


def photos_of(found: Found) -> dict[str, bytes]:
    """The photographs by the names of files for them."""
    return {f"photo-{row.id}.jpg": row.content for row in found.of(PhotoRow)}


def ways_of(found: Found, name: str) -> tuple[str, ...]:
    """Every name, `email` or `phone` that the rows give, as it was typed."""
    kinds: tuple[Any, ...] = (*KEYED_BY_MAIL, CallRow)
    return tuple(sorted({getattr(row, name, "") for kind in kinds for row in found.of(kind)} - {""}))


def open_things(session: Session, found: Found, now: datetime) -> list[Open]:
    """What of a person's has to be ended before they can be erased: sales, holds, requests and lessons."""
    codes = {row.id: row.code for row in [*found.of(QuoteRow), *found.shared]}
    sold = {row.hold_id for row in found.of(SaleRow)}
    things = [_open_sale(session, row, found) for row in found.of(SaleRow)]
    for hold in found.of(HoldRow):
        if hold.ended_at is None and hold.expires_at > now and hold.id not in sold:
            code = codes.get(hold.quote_id, "")
            things.append(Open(f"Parts of quote {code} are held: let go of them.", f"/desk/quotes/{code}"))
    things += [
        Open("A piece is held: let go of it.", f"/desk/reservations/{one.id}")
        for one in found.of(ReservationRow)
        if one.ended_at is None and one.expires_at > now
    ]
    things += [
        Open(f"Lesson {one.code} is booked: mark how it went, or call it off.", f"/desk/lessons/{one.time_id}")
        for one in found.of(BookingRow)
        if one.state in OPEN_STATES
    ]
    return [thing for thing in things if thing is not None]


def _open_sale(session: Session, row: SaleRow, found: Found) -> Open | None:
    sale = load_sale(session, row.id or 0)
    waits = any(case.sale_id == row.id and case.settled_at is None for case in found.of(CaseRow))
    if sale is None or not (sale.owed or waits or any(item.is_to_come for item in sale.items)):
        return None
    because = (
        "money is owed"
        if sale.owed
        else "a return or a fault is not settled"
        if waits
        else "goods are to be handed over"
    )
    return Open(f"Sale {row.code} is not finished: {because}.", f"/desk/sales/{row.id}")
