"""What the ledgers of a sale, its papers, its money, its items and the shelf, must agree on; each fault is told as a sentence.

The machine of a quote's whole life asks after every step, and so do the runs in which servers are killed.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator, Sequence

from sqlmodel import Session, col, func, select

from server.domain.money import Cents, vat_inside
from server.domain.sales import MONEY, Sale, series_faults, vat_by_rate
from server.persistence.deposits import codes_given_back_with, load_lessons
from server.persistence.sales import last_number, paper_numbers
from server.persistence.tables import HoldRow, PaperRow, SaleRow, StockRow

MOST_ROUNDED = 2
"""Cents by which cash is rounded at most."""


def skus_of(hold: HoldRow) -> list[str]:
    """What a hold still sets aside."""
    skus: list[str] = json.loads(hold.skus)
    return skus


def faults_of_series(session: Session) -> list[str]:
    """Numbers of papers that are missing or double."""
    return [str(fault) for fault in series_faults(paper_numbers(session), 1, last_number(session))]


def faults_of_ledgers(session: Session, sale: Sale, taken: Cents) -> Iterator[str]:
    """Where papers, settlements, VAT and lesson fees of a sale disagree; `taken` is the money that changed hands, in cents."""
    charged = sum(line.gross for paper in sale.papers for line in paper.lines)
    settled = sum(one.amount for one in sale.settlements)
    if sale.owed != charged - settled:
        yield f"{sale.owed} is owed, {charged} was charged and {settled} settled"
    money = sum(one.amount for one in sale.settlements if one.means in MONEY)
    if money != taken:
        yield f"{money} of money in the settlements, {taken} was taken"
    if any(abs(one.amount) > MOST_ROUNDED for one in sale.settlements if one.means == "rounding"):
        yield "cash was rounded by more than cash is"
    for percent, gross in vat_by_rate(line for paper in sale.papers for line in paper.lines).items():
        written = sum(one.vat for paper in sale.papers for one in paper.vat if one.percent == percent)
        if written != vat_inside(gross, percent):
            yield f"VAT of {written} at {percent} % inside {gross}"
    summed = session.exec(select(func.sum(PaperRow.gross)).where(col(PaperRow.sale_id) == sale.id)).one()
    if (summed or 0) != charged:
        yield f"the papers are kept with {summed} and say {charged}"
    lessons = load_lessons(session, codes_given_back_with(session, sale.code)).values()
    with_kit = sum(lesson.with_kit(sale.code) for lesson in lessons)
    counted = sum(one.amount for one in sale.settlements if one.means == "lesson_fee")
    if with_kit != counted:
        yield f"{with_kit} of lesson fees were given back, {counted} are counted"


def faults_of_items(session: Session, sale: Sale) -> Iterator[str]:
    """Where the items of a sale say another thing of what is set aside than its hold."""
    hold_id = session.get_one(SaleRow, sale.id).hold_id
    hold = session.get(HoldRow, hold_id) if hold_id is not None else None
    aside = Counter(skus_of(hold)) if hold is not None and hold.ended_at is None else Counter()
    said = Counter(item.sku for item in sale.items if item.is_held)
    if aside != said:
        yield f"{dict(aside)} is set aside, the items say {dict(said)}"


def faults_of_holds(session: Session, holds: Sequence[HoldRow]) -> Iterator[str]:
    """Where the stock ledger holds another thing for a hold than the hold's own list; an ended one sets nothing aside."""
    summed = select(StockRow.hold_id, StockRow.sku, func.sum(StockRow.held)).where(
        col(StockRow.hold_id).in_([hold.id for hold in holds])
    )
    held: dict[int | None, Counter[str]] = {}
    for hold_id, sku, pieces in session.exec(summed.group_by(col(StockRow.hold_id), col(StockRow.sku))):
        held.setdefault(hold_id, Counter())[sku] = int(pieces)
    for hold in holds:
        aside = Counter(skus_of(hold)) if hold.ended_at is None else Counter()
        there = held.get(hold.id, Counter())
        if any(there[sku] != aside[sku] for sku in {*there, *aside}):
            yield f"the ledger holds {dict(there)} for hold {hold.id}, which sets {dict(aside)} aside"
