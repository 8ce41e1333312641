"""Money in whole minor units (cents), with the only rounding function of the house."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

Cents = int
Exact = int | Fraction | Decimal


def round_half_up(amount: Exact) -> Cents:
    """The nearest whole number; a half goes up, and away from zero for a negative amount (−2.5 becomes −3)."""
    return _half_up(*amount.as_integer_ratio())


def _half_up(numerator: int, denominator: int) -> Cents:
    """A quotient rounded; whole numbers all the way, which takes a tenth of the time of fractions."""
    whole = (2 * abs(numerator) + denominator) // (2 * denominator)
    return whole if numerator >= 0 else -whole


def to_whole(cents: Cents) -> Cents:
    """Cents rounded half up to whole hundreds, as one speaks of an estimate: 57,850 gives 57,900."""
    return 100 * _half_up(cents, 100)


def round_down_to(amount: Exact, step: Cents) -> Cents:
    """The largest whole multiple of `step` not above an amount of zero or more; 48,799 in steps of 500 gives 48,500."""
    numerator, denominator = amount.as_integer_ratio()
    return numerator // (denominator * step) * step


def share_of(amount: Cents, percent: Exact) -> Cents:
    """`percent` per cent of an amount, rounded once; 22 % of 5,874.00 is 1,292.28."""
    numerator, denominator = percent.as_integer_ratio()
    return _half_up(amount * numerator, 100 * denominator)


def percent_below(before: Cents, now: Cents) -> int:
    """By how many whole per cent a price is below another, rounded down so that it is never overstated: 2,519 to 2,199 is 12."""
    return 100 * (before - now) // before


def vat_inside(gross: Cents, percent: Exact) -> Cents:
    """The tax inside a price that includes it: gross × rate / (100 + rate), rounded; 123.00 at 23 % holds 23.00."""
    numerator, denominator = percent.as_integer_ratio()
    return _half_up(gross * numerator, 100 * denominator + numerator)


def spread(total: int, weights: Sequence[int]) -> list[int]:
    """Split a whole number over whole weights by largest remainder, so that the parts add up to it again.

    Each part first gets the whole units of its exact share; the units left go to the largest remainders, and of equal
    remainders to the earlier one (Hamilton's method of apportionment). Without any weight everything stays with
    the first part. It does not take a negative total or weight.
    """
    if total < 0 or any(weight < 0 for weight in weights):
        raise ValueError("neither the total nor a weight may be negative")
    whole = sum(weights)
    if not weights:
        return []
    if whole == 0:
        return [total] + [0] * (len(weights) - 1)
    parts = [total * weight // whole for weight in weights]
    remainders = [total * weight % whole for weight in weights]
    by_remainder = sorted(range(len(weights)), key=lambda place: (-remainders[place], place))
    for place in by_remainder[: total - sum(parts)]:
        parts[place] += 1
    return parts
