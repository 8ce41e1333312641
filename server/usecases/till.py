"""The till's day brought in: read against what is booked already, looked at, and booked whole or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from typing import Any

from server.domain.catalogue import Part
from server.domain.counter import Sale, Sold, Stand, acts_of, find_item
from server.domain.deposits import decimal_of
from server.domain.digests import shown_digest
from server.domain.errors import Conflict, Fault, FileFault, InvalidInput
from server.domain.money import Cents
from server.domain.stock import Movement
from server.domain.till import (
    MOST_DAYS_BACK,
    ShelfChange,
    TillLine,
    changes_of,
    form_of,
    is_same,
    moment_of,
    price_then,
)
from server.persistence.counter import load_sales_between
from server.persistence.quotes import lock_key
from server.persistence.stock import lock_parts, save_movements
from server.persistence.till import FILE, FOUND, counted_since, load_found, read_till_rows
from server.usecases.counter import save_act, stands_of
from server.usecases.work import Work

MOST_BYTES = 1_000_000
DAYS_LISTED = 14
NOT_THE_SAME = "Meanwhile it comes to something else: look at it again."


@dataclass(frozen=True, slots=True)
class TillDay:
    """What a till's file comes to: lines to book, how many are booked already, what they do to the shelf, and what is wrong."""

    lines: tuple[TillLine, ...]
    known: int
    changes: tuple[ShelfChange, ...]
    faults: tuple[FileFault, ...]
    remarks: tuple[str, ...]

    @property
    def amount(self) -> Cents:
        """The money of the lines to book."""
        return sum(line.amount for line in self.lines)

    @property
    def digest(self) -> str:
        """A short text that is another one as soon as something else would be booked."""
        said = [(line.form, line.item.sku, line.pieces, line.price, line.at.isoformat()) for line in self.lines]
        said_short = [(one.part.sku, one.missing) for one in self.changes]
        return shown_digest((said, said_short))


def read_till(work: Work, content: bytes) -> TillDay:
    """What a file comes to now; nothing is changed. Raises `InvalidInput` for one that is too large."""
    if len(content) > MOST_BYTES:
        raise InvalidInput([Fault("file", "This file is too large for a till's day.", f"at most {MOST_BYTES} bytes")])
    rows, faults, remarks = read_till_rows(content)
    done = {act.sales[0].form: act for act in acts_of(_sales_kept(work))}
    lines, known = [], 0
    seen: set[str] = set()
    turns: dict[tuple[date, str, str], int] = {}
    for number, values in rows:
        line, found = _line(work, number, values, turns)
        if line is None:
            faults += found
        elif line.form in seen:
            faults.append(FileFault(FILE, number, "line", "This receipt has this line already.", "each line once"))
        elif line.form in done:
            known += 1
            faults += _faults_of_known(line, done[line.form])
        else:
            lines.append(line)
        seen |= {line.form} if line else set()
    faults.sort(key=lambda fault: fault.row or 0)
    lines.sort(key=lambda line: line.at)  # As they happened; those of one moment as they stand in the file.
    return TillDay(tuple(lines), known, _changes(work, lines), tuple(faults), tuple(remarks))


def _sales_kept(work: Work) -> list[Sale]:
    """The sales of the days that a file may speak of."""
    first = datetime.combine(work.today - timedelta(days=MOST_DAYS_BACK), time(), work.zone)
    return load_sales_between(work.session, first, work.now + timedelta(days=1))


def _line(
    work: Work, number: int, values: dict[str, Any], turns: dict[tuple[date, str, str], int]
) -> tuple[TillLine | None, list[FileFault]]:
    """A line of a row, or what is wrong with it. Without a number of its own it is the receipt's next with its code."""
    faults = []
    at = moment_of(values, work.catalogue.policy.shop.time_zone, work.now)
    if isinstance(at, Fault):
        faults.append(at)
    try:
        item = find_item(work.catalogue, values["code"])
    except InvalidInput as error:
        faults += [Fault("code", fault.message, fault.accepted) for fault in error.faults]
    if isinstance(at, Fault) or faults:
        return None, [FileFault(FILE, number, fault.field, fault.message, fault.accepted) for fault in faults]
    day, receipt = at.astimezone(work.zone).date(), values["receipt"]
    turn = turns[day, receipt, item.sku] = turns.get((day, receipt, item.sku), 0) + 1
    named = f"line {values['line']}" if "line" in values else f"{item.sku} {turn}"
    price = values["price"] if "price" in values else price_then(item, work.catalogue, day, work.today)
    line = TillLine(
        row=number,
        receipt=receipt,
        form=form_of(day, receipt, named),
        item=item,
        pieces=values["pieces"],
        price=price,
        at=at,
        has_own_price="price" in values,
    )
    return line, []


def _faults_of_known(line: TillLine, done: Sold) -> list[FileFault]:
    if is_same(line, done):
        return []
    words = f"This line of receipt {line.receipt} was booked as {done.pieces} × {done.sku} for {decimal_of(done.paid)}."
    accepted = "the line as it was booked; put it right in the counter's list of its day"
    return [FileFault(FILE, line.row, "receipt", words, accepted)]


def _changes(work: Work, lines: Sequence[TillLine]) -> tuple[ShelfChange, ...]:
    if not lines:
        return ()
    parts = work.catalogue.parts
    skus = {share.sku for line in lines for share in line.shares(parts)}
    counted = counted_since(work.session, skus, min(line.at for line in lines))
    return changes_of(lines, parts, stands_of(work, skus), counted)


def book_till(work: Work, content: bytes, shown: str) -> TillDay:
    """Book every line of a file that is not booked yet, as it was shown, or nothing at all; the same file again books nothing.

    Raises `InvalidInput` where the file has faults, `Conflict` where it comes to something else than what was `shown` (its digest).
    """
    lock_key(work.session, "till")
    before = read_till(work, content)
    lock_parts(work.session, [one.part.sku for one in before.changes])
    day = read_till(work, content)
    if day.faults:
        raise InvalidInput(Fault(fault.column or "file", str(fault), fault.accepted) for fault in day.faults)
    if not day.lines:
        return day
    if day.digest != shown:
        raise Conflict([Fault("file", NOT_THE_SAME)])
    found = [
        Movement(one.part.sku, "count", one.missing, f"{FOUND}{one.missing} more sold than the ledger had")
        for one in day.changes
        if one.missing
    ]
    save_movements(work.session, found, work.now, work.actor)
    for line in day.lines:
        why = f"till receipt {line.receipt}, counter sale"
        shares = line.shares(work.catalogue.parts)
        save_act(work, line.item, shares, line.pieces, line.at, line.form, why)
    number = len(day.lines)
    work.note_deed(f"brought in {number} {'line' if number == 1 else 'lines'} of the till")
    work.commit()
    return day


@dataclass(frozen=True, slots=True)
class ToLookAt:
    """A part as a till's day left it: pieces found that nobody has counted since, and how it stands."""

    part: Part
    found: int
    stand: Stand

    @property
    def promised(self) -> int:
        """Pieces set aside that are not there."""
        return max(0, self.stand.held - self.stand.on_hand)


def left_to_look_at(work: Work, skus: Iterable[str]) -> tuple[ToLookAt, ...]:
    """What of some parts still wants a look; a part that is unknown, or counted and all there, is left out."""
    known = sorted(set(skus) & work.catalogue.parts.keys())
    stands, found = stands_of(work, known), load_found(work.session, known)
    all_of_them = (ToLookAt(work.catalogue.parts[sku], found.get(sku, 0), stands[sku]) for sku in known)
    return tuple(one for one in all_of_them if one.found or one.promised)


@dataclass(frozen=True, slots=True)
class CounterDay:
    """What the counter took on a day, in how many sales, those taken back left out; money in cents."""

    day: date
    sales: int
    amount: Cents


def counter_days(work: Work) -> tuple[CounterDay, ...]:
    """What the counter took on the last days, the newest first; days without a sale too."""
    days = [work.today - timedelta(days=back) for back in range(DAYS_LISTED)]
    first = datetime.combine(days[-1], time(), work.zone)
    acts = acts_of(load_sales_between(work.session, first, work.now + timedelta(days=1)))
    of_day: dict[date, list[Sold]] = {}
    for act in acts:
        if not act.is_back:
            of_day.setdefault(act.sales[0].at.astimezone(work.zone).date(), []).append(act)
    return tuple(
        CounterDay(day, len(of_day.get(day, ())), sum(act.amount for act in of_day.get(day, ()))) for day in days
    )
