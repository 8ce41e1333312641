"""Rows as they lie in the database: no behaviour, no validation; domain values are made from them elsewhere."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import BigInteger, Column, DateTime, ForeignKey, MetaData, Text, UniqueConstraint
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator
from sqlmodel import Field, SQLModel

SQLModel.metadata = metadata = MetaData(
    naming_convention={
        "ix": "ix_%(column_0_label)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class Moment(TypeDecorator[datetime]):
    """A point in time: refuses one without a zone, keeps UTC, gives UTC back (SQLite itself would forget the zone)."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment needs a time zone")
        moment = value.astimezone(UTC)
        return moment.replace(tzinfo=None) if dialect.name == "sqlite" else moment

    def process_result_value(self, value: datetime | None, _dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


def _moment() -> Column[Any]:
    return Column(Moment(), nullable=False)


def _text() -> Column[Any]:
    return Column(Text(), nullable=False)


def _named(table_and_column: str, **options: Any) -> Column[Any]:
    return Column(ForeignKey(table_and_column), nullable=False, **options)


class PartRow(SQLModel, table=True):
    __tablename__ = "part"
    sku: str = Field(primary_key=True)
    slot: str
    name: str
    maker: str
    gtin: str
    price: int
    cost: int
    measures: str = Field(sa_column=_text())
    sold: bool
    retired: bool = False
    markdown_price: int | None = None
    markdown_since: date | None = None


class PricePointRow(SQLModel, table=True):
    __tablename__ = "price_point"
    __table_args__ = (UniqueConstraint("sku", "since"),)
    id: int | None = Field(default=None, primary_key=True)
    sku: str = Field(sa_column=_named("part.sku", index=True))
    since: date
    price: int


class SpotRow(SQLModel, table=True):
    __tablename__ = "spot"
    name: str = Field(primary_key=True)
    place: int
    facts: str = Field(sa_column=_text())


class LessonKindRow(SQLModel, table=True):
    __tablename__ = "lesson_kind"
    kind: str = Field(primary_key=True)
    place: int
    title: str
    fee: int
    cost: int
    minutes: int
    places: int


class ZoneRow(SQLModel, table=True):
    __tablename__ = "zone"
    zone: str = Field(primary_key=True)
    place: int
    fee: int
    cost: int
    days: str


class PolicyRow(SQLModel, table=True):
    """A version of the policy. `effective_at` ranks it: of those whose moment has come the latest is in force, of equals the newest.

    One that holds at once has the moment of the one it takes the place of; None ranks first.
    """

    __tablename__ = "policy_version"
    version: int | None = Field(default=None, primary_key=True)
    terms: str = Field(sa_column=_text())
    made_at: datetime = Field(sa_column=_moment())
    made_by: str
    effective_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    note: str | None = Field(default=None, sa_column=Column(Text(), nullable=True))
    dropped_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    dropped_by: str | None = None


class CatalogueRow(SQLModel, table=True):
    __tablename__ = "catalogue_version"
    version: int | None = Field(default=None, primary_key=True)
    policy: int = Field(sa_column=_named("policy_version.version"))
    made_at: datetime = Field(sa_column=_moment())
    made_by: str


class StepRow(SQLModel, table=True):
    """A change of the catalogue with the rows as they were before, so that it can be undone as one."""

    __tablename__ = "catalogue_step"
    version: int = Field(
        sa_column=Column(ForeignKey("catalogue_version.version"), primary_key=True, autoincrement=False)
    )
    kind: str
    about: str = Field(sa_column=_text())
    before: str = Field(sa_column=_text())
    undoes: int | None = None
    undone_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    undone_by: str | None = None


class SetRow(SQLModel, table=True):
    """Several parts sold as one item; what is on hand and held are its parts."""

    __tablename__ = "part_set"
    sku: str = Field(primary_key=True)
    name: str
    maker: str
    gtin: str
    price: int
    parts: str = Field(sa_column=_text())
    sold: bool
    retired: bool = False


class StockRow(SQLModel, table=True):
    __tablename__ = "stock_entry"
    id: int | None = Field(default=None, primary_key=True)
    sku: str = Field(sa_column=_named("part.sku", index=True))
    kind: str
    change: int
    held: int = 0
    hold_id: int | None = Field(default=None, foreign_key="hold.id", index=True)
    at: datetime = Field(sa_column=_moment())
    by: str
    why: str = ""


class DraftRow(SQLModel, table=True):
    __tablename__ = "draft"
    token: str = Field(primary_key=True)
    answers: str = Field(sa_column=_text())
    picks: str = Field(sa_column=_text())
    mass_unit: str = "kg"
    revises: str | None = None
    started_at: datetime = Field(sa_column=_moment())
    changed_at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    joined: str | None = Field(default=None, sa_column=Column(Text(), nullable=True))
    agreed: str | None = Field(default=None, sa_column=Column(Text(), nullable=True))


class QuoteRow(SQLModel, table=True):
    __tablename__ = "quote"
    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True)
    code: str = Field(unique=True)
    revision: int
    started_at: datetime = Field(sa_column=_moment())
    seen_revision: int | None = None
    seen_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    withdrawn_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    withdrawn_by: str | None = None
    withdrawn_because: str | None = Field(default=None, sa_column=Column(Text(), nullable=True))


class RevisionRow(SQLModel, table=True):
    __tablename__ = "quote_revision"
    __table_args__ = (UniqueConstraint("quote_id", "revision"),)
    id: int | None = Field(default=None, primary_key=True)
    quote_id: int = Field(sa_column=_named("quote.id"))
    revision: int
    issued_at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    valid_until: date
    made_by: str
    record: str = Field(sa_column=_text())


class HoldRow(SQLModel, table=True):
    """A request to set parts aside; the person in it is forgotten some time after it has ended."""

    __tablename__ = "hold"
    id: int | None = Field(default=None, primary_key=True)
    quote_id: int | None = Field(default=None, foreign_key="quote.id", index=True)
    revision: int
    skus: str = Field(sa_column=_text())
    name: str
    email: str
    phone: str
    email_key: str = Field(index=True)
    phone_key: str = Field(index=True)
    deposit_back: int
    made_at: datetime = Field(sa_column=_moment())
    expires_at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    confirmed_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    ended_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    ended_because: str = ""
    confirmed_by: str | None = None
    ended_by: str | None = None


class UnmetRow(SQLModel, table=True):
    __tablename__ = "unmet_demand"
    __table_args__ = (UniqueConstraint("quote_id", "slot"),)
    id: int | None = Field(default=None, primary_key=True)
    quote_id: int | None = Field(default=None, foreign_key="quote.id")
    slot: str
    ideal: float
    day: date


class OnceRow(SQLModel, table=True):
    """A key under which a request was done, so that the same request sent again finds what it made."""

    __tablename__ = "done_once"
    key: str = Field(primary_key=True)
    digest: str
    quote_id: int = Field(sa_column=_named("quote.id"))
    revision: int
    at: datetime = Field(sa_column=_moment())


class LessonRow(SQLModel, table=True):
    __tablename__ = "paid_lesson"
    code: str = Field(primary_key=True)
    kind: str
    day: date
    state: str
    recorded_at: datetime = Field(sa_column=_moment())
    off_since: date | None = None


class DepositRow(SQLModel, table=True):
    __tablename__ = "deposit_entry"
    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(sa_column=_named("paid_lesson.code", index=True))
    kind: str
    amount: int
    day: date
    quote: str = ""
    at: datetime = Field(sa_column=_moment())
    by: str
    method: str | None = None
    why: str | None = Field(default=None, sa_column=Column(Text(), nullable=True))
    worth_cents: int | None = None
    """Of a voucher for which less was paid."""


class AccountRow(SQLModel, table=True):
    __tablename__ = "account"
    id: int | None = Field(default=None, primary_key=True)
    name: str
    name_key: str = Field(unique=True)
    role: str
    password_hash: str | None = None
    seed: str | None = None
    seed_offered: str | None = None
    last_step: int = -1
    made_at: datetime = Field(sa_column=_moment())
    ended_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))


class SessionRow(SQLModel, table=True):
    __tablename__ = "account_session"
    id: int | None = Field(default=None, primary_key=True)
    account_id: int = Field(sa_column=_named("account.id", index=True))
    digest: str = Field(unique=True)
    stage: str
    address: str
    started_at: datetime = Field(sa_column=_moment())
    seen_at: datetime = Field(sa_column=_moment())
    ended_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))


class LinkRow(SQLModel, table=True):
    __tablename__ = "one_time_link"
    id: int | None = Field(default=None, primary_key=True)
    digest: str = Field(unique=True)
    account_id: int = Field(sa_column=_named("account.id", index=True))
    forgets_factor: bool
    expires_at: datetime = Field(sa_column=_moment())
    used_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))


class FailureRow(SQLModel, table=True):
    """Failed sign-ins since the last one that went well; the key is a digest of a name, an account or an address."""

    __tablename__ = "sign_in_failure"
    key: str = Field(primary_key=True)
    failures: int
    last_at: datetime = Field(sa_column=_moment())


class DeedRow(SQLModel, table=True):
    """Who did what to whom; the database itself refuses to change or delete a row."""

    __tablename__ = "deed"
    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    who: str
    what: str
    whom: str = ""
    address: str = ""


class WorksheetRow(SQLModel, table=True):
    """What the desk works on for a caller, beside the draft of the same token: who it is for, notes, the link that was given."""

    __tablename__ = "worksheet"
    token: str = Field(primary_key=True)
    made_by: str
    made_at: datetime = Field(sa_column=_moment())
    name: str = ""
    email: str = ""
    phone: str = ""
    email_key: str = Field(default="", index=True)
    phone_key: str = Field(default="", index=True)
    note: str = Field(default="", sa_column=_text())
    staff_note: str = Field(default="", sa_column=_text())
    sent_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    sent_by: str = ""
    lapses_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    withdrawn_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    opened_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    asked_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    asked_by: str = ""
    refused_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    refused_because: str = Field(default="", sa_column=_text())
    quote_token: str = Field(default="", index=True)
    revision: int | None = None


class CallRow(SQLModel, table=True):
    """A call that was promised, and what became of it; the person in it is forgotten some time after it was made."""

    __tablename__ = "promised_call"
    id: int | None = Field(default=None, primary_key=True)
    quote_id: int | None = Field(default=None, foreign_key="quote.id", index=True)
    name: str
    phone: str
    phone_key: str = Field(index=True)
    about: str = Field(sa_column=_text())
    due_at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    made_by: str
    made_at: datetime = Field(sa_column=_moment())
    done_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    done_by: str = ""


class CounterSaleRow(SQLModel, table=True):
    """Pieces sold over the counter, once for each key; taken back by another entry in the stock ledger."""

    __tablename__ = "counter_sale"
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    sku: str = Field(sa_column=_named("part.sku", index=True))
    pieces: int
    price: int
    at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    by: str
    taken_back_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    taken_back_by: str = ""


class WindowRow(SQLModel, table=True):
    """A window for giving fees back that the shop has extended, with its reason."""

    __tablename__ = "window_extension"
    id: int | None = Field(default=None, primary_key=True)
    code: str = Field(sa_column=_named("paid_lesson.code", index=True))
    until: date
    why: str = Field(sa_column=_text())
    at: datetime = Field(sa_column=_moment())
    by: str


class LessonTimeRow(SQLModel, table=True):
    __tablename__ = "lesson_time"
    id: int | None = Field(default=None, primary_key=True)
    kind: str
    starts_at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    minutes: int
    places: int
    instructor: str
    spot: str
    provisional: str = ""
    final: str = ""
    because: str = Field(default="", sa_column=_text())
    sequence: int = 0
    key: str = Field(default="", index=True)
    """Of the form that made it; those of several weeks share it."""
    made_at: datetime = Field(sa_column=_moment())
    made_by: str


class BookingRow(SQLModel, table=True):
    """A place in a lesson; the person in it is forgotten some time after the lesson."""

    __tablename__ = "booking"
    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True)
    code: str = Field(sa_column=Column(ForeignKey("paid_lesson.code"), nullable=False, unique=True))
    time_id: int = Field(sa_column=_named("lesson_time.id", index=True))
    name: str
    email: str
    phone: str
    email_key: str = Field(index=True)
    phone_key: str = Field(index=True)
    mass_kg: float | None = None
    state: str
    quote_token: str = Field(default="", index=True)
    claimed_quote_token: str = ""
    note: str = Field(default="", sa_column=_text())
    moved_by_shop: bool = False
    key: str | None = Field(default=None, unique=True)
    """Of the form that made it."""
    taught_share: float | None = None
    repeats: int | None = Field(default=None, foreign_key="booking.id")
    fee_cents: int
    handed_back_before_cents: int = 0
    sequence: int = 0
    made_at: datetime = Field(sa_column=_moment())
    made_by: str


class AssessmentRow(SQLModel, table=True):
    """What an instructor saw on the water, once for each key, however often a phone sends it."""

    __tablename__ = "assessment"
    id: int | None = Field(default=None, primary_key=True)
    key: str = Field(unique=True)
    booking_id: int = Field(sa_column=_named("booking.id", index=True))
    seen: str = Field(sa_column=_text())
    seen_at: datetime = Field(sa_column=_moment())
    received_at: datetime = Field(sa_column=_moment())
    by: str


class ReadingRow(SQLModel, table=True):
    """The wind and tide at a spot as the desk typed them."""

    __tablename__ = "strand_reading"
    id: int | None = Field(default=None, primary_key=True)
    spot: str
    at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    mean_kn: float
    gust_kn: float
    from_deg: float
    tide_m: float
    has_lightning: bool = False
    by: str


class MessageRow(SQLModel, table=True):
    """A message on its way out: written in the transaction of what it tells, sent by a loop that leases it for a while."""

    __tablename__ = "message"
    id: int | None = Field(default=None, primary_key=True)
    message_id: str = Field(unique=True)
    name: str
    about: str = Field(default="", index=True)
    to_name: str
    to_email: str
    subject: str = Field(sa_column=_text())
    body: str = Field(sa_column=_text())
    calendar: str | None = Field(default=None, sa_column=Column(Text(), nullable=True))
    made_at: datetime = Field(sa_column=_moment())
    made_by: str
    next_at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    tries: int = 0
    leased_until: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    sent_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    gave_up_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    last_error: str = Field(default="", sa_column=_text())


class WordingRow(SQLModel, table=True):
    """The owner's own text of a message; the newest row of a name is in force."""

    __tablename__ = "message_wording"
    id: int | None = Field(default=None, primary_key=True)
    name: str = Field(index=True)
    subject: str = Field(sa_column=_text())
    body: str = Field(sa_column=_text())
    at: datetime = Field(sa_column=_moment())
    by: str


class SaleRow(SQLModel, table=True):
    """A contract; the person in it is kept for the policy's years."""

    __tablename__ = "sale"
    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True)
    code: str = Field(index=True)
    quote_token: str = Field(default="", index=True)
    revision: int | None = None
    concluded: str
    made_at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    made_on: date
    name: str
    email: str
    phone: str
    email_key: str = Field(index=True)
    phone_key: str = Field(index=True)
    delivery: str
    zone: str
    address: str = Field(default="", sa_column=_text())
    tier_name: str
    tier_percent: int
    agreed_charged: int
    agreed_before: int
    policy_version: int = Field(sa_column=_named("policy_version.version"))
    may_write: bool = False
    hold_id: int | None = Field(default=None, foreign_key="hold.id")
    key: str = Field(unique=True)
    """Of the form that made it."""


class SaleItemRow(SQLModel, table=True):
    __tablename__ = "sale_item"
    __table_args__ = (UniqueConstraint("sale_id", "number"),)
    id: int | None = Field(default=None, primary_key=True)
    sale_id: int = Field(sa_column=_named("sale.id"))
    number: int
    sku: str = Field(index=True)
    label: str
    slot: str
    list: int
    charged: int
    alone: int
    worth: int
    quantity: int
    percent: str
    scheme: str
    bought: int
    is_tiered: bool
    piece: int | None = Field(default=None, index=True)
    serial: str = Field(default="", index=True)
    is_held: bool = False
    sent_on: date | None = None
    received_on: date | None = None
    gone: str = ""
    gone_on: date | None = None
    takes_place_of: int | None = None


class SeriesRow(SQLModel, table=True):
    """The last number given in a series; locked while the next one is taken, so that none is missing or double."""

    __tablename__ = "paper_series"
    name: str = Field(primary_key=True)
    last: int


class PaperRow(SQLModel, table=True):
    """An invoice or credit note; never changed."""

    __tablename__ = "sale_paper"
    number: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    sale_id: int = Field(sa_column=_named("sale.id", index=True))
    kind: str
    day: date = Field(index=True)
    lines: str = Field(sa_column=_text())
    vat: str = Field(sa_column=_text())
    why: str = Field(default="", sa_column=_text())
    corrects: int | None = None
    by: str
    gross: int
    """The sum of its lines, so that balances can be summed in the database."""
    buyer: str = Field(default="", sa_column=_text())
    policy_version: int = Field(sa_column=_named("policy_version.version"))


class SettlementRow(SQLModel, table=True):
    """Money and what stands for it, one entry a payment; never changed."""

    __tablename__ = "sale_settlement"
    id: int | None = Field(default=None, primary_key=True)
    sale_id: int = Field(sa_column=_named("sale.id", index=True))
    means: str
    amount: int
    day: date = Field(index=True)
    at: datetime = Field(sa_column=_moment())
    by: str
    note: str = Field(default="", sa_column=_text())


class MarkRow(SQLModel, table=True):
    """What was done with a sale, once for each key."""

    __tablename__ = "sale_mark"
    __table_args__ = (UniqueConstraint("sale_id", "key"),)
    id: int | None = Field(default=None, primary_key=True)
    sale_id: int = Field(sa_column=_named("sale.id"))
    kind: str
    at: datetime = Field(sa_column=_moment())
    by: str
    why: str = Field(default="", sa_column=_text())
    about: str = Field(default="{}", sa_column=_text())
    key: str


class CaseRow(SQLModel, table=True):
    """A return that was given notice of, or something faulty, until it is settled or dropped."""

    __tablename__ = "sale_case"
    id: int | None = Field(default=None, primary_key=True)
    sale_id: int = Field(sa_column=_named("sale.id", index=True))
    kind: str
    notice_on: date
    record: str = Field(sa_column=_text())
    opened_at: datetime = Field(sa_column=_moment())
    opened_by: str
    due_on: date | None = None
    settled_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    outcome: str = ""


class PieceRow(SQLModel, table=True):
    """One used or demonstration piece, from the day it is expected until it is sold or thrown away."""

    __tablename__ = "piece"
    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True)
    source: str
    state: str = Field(index=True)
    slot: str
    sku: str = ""
    name: str
    maker: str
    serial: str = ""
    measures: str = Field(default="{}", sa_column=_text())
    condition: str
    hours: int | None = None
    note: str = Field(default="", sa_column=_text())
    price: int | None = None
    bought: int
    scheme: str
    percent: str
    due_about: date | None = None
    from_sale: int | None = Field(default=None, foreign_key="sale.id", index=True)
    from_item: int | None = None
    """Of the sale it came from: the number of the item that came back, or the place among the trade-ins."""
    made_at: datetime = Field(sa_column=_moment())
    made_by: str
    changed_at: datetime = Field(sa_column=_moment())


class ExpectedRow(SQLModel, table=True):
    """New parts that a maker is to deliver about a day."""

    __tablename__ = "expected_delivery"
    id: int | None = Field(default=None, primary_key=True)
    sku: str = Field(sa_column=_named("part.sku", index=True))
    pieces: int
    due_about: date
    note: str = Field(default="", sa_column=_text())
    made_at: datetime = Field(sa_column=_moment())
    made_by: str
    arrived: int = 0
    ended_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    key: str = Field(unique=True)


class ReservationRow(SQLModel, table=True):
    """A used piece, or one of an expected delivery, set aside for somebody; open until it expires or ends."""

    __tablename__ = "reservation"
    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True)
    piece_id: int | None = Field(default=None, foreign_key="piece.id", index=True)
    expected_id: int | None = Field(default=None, foreign_key="expected_delivery.id", index=True)
    name: str
    email: str
    phone: str
    email_key: str = Field(index=True)
    phone_key: str = Field(index=True)
    made_at: datetime = Field(sa_column=_moment())
    expires_at: datetime = Field(sa_column=_moment())
    confirmed_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    ended_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    ended_because: str = ""
    hold_id: int | None = Field(default=None, foreign_key="hold.id")
    """Of the stock set aside once an expected delivery came."""
    key: str = Field(unique=True)


class PhotoRow(SQLModel, table=True):
    """A photograph as it was made anew here: no name, no place, no camera."""

    __tablename__ = "photo"
    id: int | None = Field(default=None, primary_key=True)
    token: str = Field(unique=True)
    about: str = Field(index=True)
    """What it shows, such as piece:12 or question:3."""
    place: int
    width: int
    height: int
    content: bytes
    made_at: datetime = Field(sa_column=_moment())


class QuestionRow(SQLModel, table=True):
    """What a customer asks after the handover, and what became of it."""

    __tablename__ = "question"
    id: int | None = Field(default=None, primary_key=True)
    sale_id: int = Field(sa_column=_named("sale.id", index=True))
    item: int | None = None
    text: str = Field(sa_column=_text())
    asked_at: datetime = Field(sa_column=_moment())
    answer: str = Field(default="", sa_column=_text())
    answered_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    answered_by: str = ""
    key: str = Field(unique=True)


class FollowUpRow(SQLModel, table=True):
    """A message asking how it goes, due some weeks after the handover; written once."""

    __tablename__ = "follow_up"
    __table_args__ = (UniqueConstraint("sale_id", "week"),)
    id: int | None = Field(default=None, primary_key=True)
    sale_id: int = Field(sa_column=_named("sale.id"))
    week: int
    due_on: date = Field(index=True)
    told_at: datetime | None = Field(default=None, sa_column=Column(Moment(), nullable=True))
    dropped_because: str = ""


class TallyRow(SQLModel, table=True):
    """How often something happened on a day, kept when the things themselves were deleted; no person is in it."""

    __tablename__ = "tally"
    what: str = Field(primary_key=True)
    day: date = Field(primary_key=True)
    number: int


class OrderRow(SQLModel, table=True):
    """How many of a size the owner wants for a season, in place of what was suggested."""

    __tablename__ = "order_choice"
    season: str = Field(primary_key=True)
    size: str = Field(primary_key=True)
    pieces: int
    at: datetime = Field(sa_column=_moment())
    by: str


class BackupRow(SQLModel, table=True):
    """A backup that was made: when, under which name, how large."""

    __tablename__ = "backup"
    id: int | None = Field(default=None, primary_key=True)
    at: datetime = Field(sa_column=Column(Moment(), nullable=False, index=True))
    name: str
    size: int = Field(sa_column=Column(BigInteger(), nullable=False))
    by: str
