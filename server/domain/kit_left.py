"""What is left of a kit once parts of it came back: the discount that it still earns, and the lessons that it still includes."""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

from server.domain.money import Cents
from server.domain.policy import Policy, Tier
from server.domain.pricing import LESSON, tier_for
from server.domain.sales import Item, Sale, gone_as_faulty


@dataclass(frozen=True, slots=True)
class FeeBack:
    """A lesson fee that was given back with a sale: of which lesson, how much in cents, of which day, and whether it was taken."""

    code: str
    kind: str
    amount: Cents
    day: date
    is_taken: bool


@dataclass(frozen=True, slots=True)
class Uncovered:
    """The lessons that what is left does not include: fees of lessons taken, how many free ones taken, and fees of those not taken."""

    taken: tuple[FeeBack, ...] = ()
    free: int = 0
    not_taken: tuple[FeeBack, ...] = ()


def tier_left(sale: Sale, policy: Policy, coming: Container[int] = ()) -> Tier | None:
    """The tier of what was bought new and stays, once the items `coming` are back as well.

    What came back as faulty counts as if it stayed: nobody loses a discount or a lesson by that.
    """
    faulty = gone_as_faulty(sale.marks)
    staying = (one for one in _parts(sale) if (not one.gone or one.number in faulty) and one.number not in coming)
    return tier_for((item.slot for item in staying), policy)


def has_come_apart(sale: Sale, coming: Container[int] = ()) -> bool:
    """Whether a part of the kit came back that was not faulty, or is among the items `coming`."""
    faulty = gone_as_faulty(sale.marks)
    back = (item.number for item in _parts(sale) if item.gone in ("returned", "withdrawn"))
    return any(number not in faulty for number in back) or any(item.number in coming for item in _parts(sale))


def _parts(sale: Sale) -> tuple[Item, ...]:
    """The parts of the kit itself that were sold new: those that earn its discount."""
    return tuple(item for item in sale.goods if item.is_core and item.piece is None)


def uncovered(
    sale: Sale, policy: Policy, fees: Iterable[FeeBack], free_taken: int, coming: Container[int] = ()
) -> Uncovered:
    """The lessons that came with a sale and that what is left of it does not include any more; none while all of it is left.

    Lessons taken stay covered first, the earliest of those whose fee was given back before the free ones, then those not taken.
    What was earned together with parts bought before is charged as soon as a part of this sale comes back.
    """
    if not has_come_apart(sale, coming):
        return Uncovered()
    tier = tier_left(sale, policy, coming)
    lessons = tier.lessons if tier is not None else None
    kind, left = (lessons.kind, lessons.number) if lessons is not None else ("", 0)
    in_turn = sorted(fees, key=lambda fee: (fee.day, fee.code))
    taken, left = _beyond([fee for fee in in_turn if fee.is_taken], kind, left)
    is_same = any(item.slot == LESSON and item.sku == kind for item in sale.items)
    free = max(0, free_taken - (left if is_same else 0))
    left = max(0, left - free_taken) if is_same else left
    not_taken, _ = _beyond([fee for fee in in_turn if not fee.is_taken], kind, left)
    return Uncovered(taken, free, not_taken)


def _beyond(fees: Sequence[FeeBack], kind: str, left: int) -> tuple[tuple[FeeBack, ...], int]:
    """The fees beyond so many of a kind, in their order, and how many of these are left over."""
    covered = [fee for fee in fees if fee.kind == kind][:left]
    return tuple(fee for fee in fees if fee not in covered), left - len(covered)
