"""Lesson fees that were given back with a kit: which are to be paid after all once parts of it came back, in both ledgers.

Locks are taken in one order: the sale, then lessons.
"""

from __future__ import annotations

from server.domain.codes import read_code
from server.domain.deposits import Entry, NotGivenBack, decimal_of
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.kit_left import FeeBack, uncovered
from server.domain.money import Cents
from server.domain.sales import Sale
from server.persistence.cases import settle_paid_returns
from server.persistence.sales import sale_of_quote
from server.usecases.deposits import charge_again_for, charge_again_with, lessons_given_back_with, why_faults
from server.usecases.quotes import find_quote
from server.usecases.sales import locked_sale, policy_of, settle
from server.usecases.work import Work

NOT_TAKEN = "The lesson was not taken, so it is not charged for; if it is taken later, charge it then."
COVERED = "The kit has not come back, or what is left of it still includes this lesson."


def fees_of(work: Work, sale: Sale) -> tuple[FeeBack, ...]:
    """The lesson fees that were given back with a sale and not charged again, by their days."""
    return tuple(
        FeeBack(lesson.code, lesson.kind, lesson.with_kit(sale.code), lesson.day, lesson.state == "taken")
        for lesson in lessons_given_back_with(work, sale.code)
    )


def free_lessons_taken(sale: Sale) -> int:
    """How many of the lessons that came free with a sale were taken."""
    return len(sale.sessions("lesson"))


def charges_of(work: Work, sale: Sale) -> tuple[tuple[FeeBack, ...], tuple[NotGivenBack, ...]]:
    """Which fees given back with a sale are to be charged again as it stands today, and why not the others; it writes nothing."""
    fees = fees_of(work, sale)
    found = uncovered(sale, policy_of(work, sale), fees, free_lessons_taken(sale))
    others = (fee for fee in fees if fee not in found.taken)
    refused = (NotGivenBack(fee.code, NOT_TAKEN if fee in found.not_taken else COVERED) for fee in others)
    return found.taken, tuple(refused)


def charge_again(work: Work, quote_code: str, why: str, expected: Cents | None = None) -> tuple[Entry, ...]:
    """Charge the fees of lessons taken again whose kit came back; of a quote that was bought in the sale's own ledger as well.

    With `expected`, the sum in cents that was shown before, nothing is charged where it is another one by now. Raises as
    `charge_again_for`.
    """
    code = read_code(quote_code)
    number = sale_of_quote(work.session, find_quote(work, code))
    if number is None:
        return charge_again_for(work, quote_code, why, expected)
    if faults := why_faults(why):
        raise InvalidInput(faults)
    sale = locked_sale(work, number)
    fees, refused = charges_of(work, sale)
    total = sum(fee.amount for fee in fees)
    if not fees:
        reasons = [Fault("quote", f"Lesson {one.code}: {one.because}") for one in refused]
        raise Conflict(reasons or [Fault("quote", f"No fee is left that was given back with quote {code}.")])
    entries = charge_again_with(work, code, [fee.code for fee in fees], why.strip())
    if total != sum(entry.amount for entry in entries) or expected not in (None, total):
        raise Conflict([Fault("quote", f"It is {decimal_of(total)} by now: look at it again.")])
    for entry in entries:
        sale = settle(work, sale, "lesson_fee", -entry.amount, f"lesson {entry.code}", checked=False)
    if sale.owed >= 0:
        settle_paid_returns(work.session, sale.id, work.now)
    work.note_deed(f"charged {decimal_of(total)} again, parts of sale {sale.id} came back")
    work.commit()
    return entries
