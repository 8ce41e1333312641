"""The day of a till: what each line of its file sold or took back, under which key it is booked once, and what that does to the shelf.

A sale that happened cannot be refused. Where the ledger has fewer pieces than were sold, the shelf's count was wrong before: the pieces
missing are booked as found, so that the ledger never goes below zero and says where it was wrong.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from server.domain.catalogue import Catalogue, Part, PartSet
from server.domain.counter import Sold, Stand
from server.domain.errors import Fault
from server.domain.money import Cents
from server.domain.prices import NOT_SOLD
from server.domain.sets import SetLine, lines_of

MOST_DAYS_BACK = 31
MIDDAY = time(12)
TIME_ACCEPTED = "a day and a time by the shop's clock such as 2026-11-24 15:30, or 15:30 beside a day"


@dataclass(frozen=True, slots=True)
class TillLine:
    """One line of the file: pieces of a part or set, fewer than none where they came back; `price` is a piece's, in cents."""

    row: int
    receipt: str
    form: str
    item: Part | PartSet
    pieces: int
    price: Cents
    at: datetime
    has_own_price: bool

    @property
    def amount(self) -> Cents:
        """What was paid for it; less than nothing where it was paid back."""
        return self.pieces * self.price

    def shares(self, parts: Mapping[str, Part]) -> tuple[SetLine, ...]:
        """The parts that it sold, each with its share of the price."""
        if isinstance(self.item, PartSet):
            return lines_of(self.item, self.price, parts)
        return (SetLine(self.item.sku, self.price),)


@dataclass(frozen=True, slots=True)
class ShelfChange:
    """What the lines do to a part: pieces sold and come back, their money in cents, and how it stands before."""

    part: Part
    sold: int
    back: int
    amount: Cents
    stand: Stand
    counted_at: datetime | None = None
    """When it was counted after the first of these sales: that count may know of them."""

    @property
    def missing(self) -> int:
        """Pieces sold beyond those that the ledger has."""
        return max(0, self.sold - self.back - self.stand.on_hand)

    @property
    def left(self) -> int:
        """Pieces on hand afterwards."""
        return max(0, self.stand.on_hand - self.sold + self.back)

    @property
    def promised(self) -> int:
        """Pieces set aside for somebody that are not there any more afterwards."""
        return max(0, self.stand.held - self.left)


def moment_of(values: Mapping[str, object], zone: str, now: datetime) -> datetime | Fault:
    """When a line was sold: its time, the time of its day, or the middle of its day; never in the future nor long ago."""
    day, stamp = values.get("day"), values.get("time")
    if isinstance(stamp, time) and not isinstance(day, date):
        return Fault("time", "A time without its day.", TIME_ACCEPTED)
    if isinstance(stamp, datetime):
        local = stamp
    elif isinstance(day, date):
        local = datetime.combine(day, stamp if isinstance(stamp, time) else MIDDAY)
    else:
        return Fault("time", "When was it sold?", TIME_ACCEPTED)
    at = local.replace(tzinfo=ZoneInfo(zone))
    if stamp is None and at.date() == now.astimezone(at.tzinfo).date():
        at = min(at, now)  # Of today only the day is known: it was before now.
    field = "day" if stamp is None else "time"
    if at > now:
        return Fault(field, "This is still to come.", "a time that has passed")
    if at.date() < now.astimezone(at.tzinfo).date() - timedelta(days=MOST_DAYS_BACK):
        return Fault(field, f"This is more than {MOST_DAYS_BACK} days ago.", f"at most {MOST_DAYS_BACK} days ago")
    return at


def price_then(item: Part | PartSet, catalogue: Catalogue, day: date, today: date) -> Cents:
    """What a piece cost on a day, as the price history has it; a set has no history and costs what it does today."""
    if isinstance(item, PartSet):
        return item.price
    known = [point for point in catalogue.history.get(item.sku, ()) if point.since <= day]
    then = max(known, key=lambda point: point.since).price if known else NOT_SOLD
    return item.price_on(day) if day == today or then == NOT_SOLD else then


def form_of(day: date, receipt: str, line: str) -> str:
    """The key under which a line of a receipt is booked once, whatever file it comes in; receipts may begin anew each day."""
    text = "\n".join((day.isoformat(), receipt, line))
    return "till-" + hashlib.sha256(text.encode()).hexdigest()[:40]


def is_same(line: TillLine, done: Sold) -> bool:
    """Whether what was booked under a line's key is what the line says; where the file has no price any was right."""
    has_price = not line.has_own_price or done.paid == line.amount
    return (done.sku, done.pieces) == (line.item.sku, line.pieces) and has_price


def changes_of(
    lines: Sequence[TillLine], parts: Mapping[str, Part], stands: Mapping[str, Stand], counted: Mapping[str, datetime]
) -> tuple[ShelfChange, ...]:
    """What lines do to the shelf, part by part, in the order of their SKUs."""
    sold: dict[str, list[tuple[int, Cents, datetime]]] = {}
    for line in lines:
        for share in line.shares(parts):
            sold.setdefault(share.sku, []).append((line.pieces, line.pieces * share.price, line.at))
    return tuple(_change(parts[sku], sold[sku], stands[sku], counted.get(sku)) for sku in sorted(sold))


def _change(
    part: Part, sold: Iterable[tuple[int, Cents, datetime]], stand: Stand, counted_at: datetime | None
) -> ShelfChange:
    rows = list(sold)
    return ShelfChange(
        part=part,
        sold=sum(pieces for pieces, _, _ in rows if pieces > 0),
        back=-sum(pieces for pieces, _, _ in rows if pieces < 0),
        amount=sum(amount for _, amount, _ in rows),
        stand=stand,
        counted_at=counted_at if counted_at is not None and counted_at > min(at for _, _, at in rows) else None,
    )
