"""Rounding is half up in one place, and what is split adds up again."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from apportionment import methods as apportionment
from hypothesis import assume, given
from hypothesis import strategies as st

from server.domain.money import Exact, percent_below, round_down_to, round_half_up, share_of, spread, vat_inside

# Amount, rounded half up: away from zero on both sides of it.
ROUNDINGS: list[tuple[Exact, int]] = [
    (Decimal("2.5"), 3),
    (Decimal("-2.5"), -3),
    (Decimal("3.5"), 4),
    (Decimal("0.5"), 1),
    (Decimal("-0.5"), -1),
    (Decimal("2.4999999999999999999999999999999"), 2),
    (Fraction(1, 3), 0),
    (Fraction(5, 3), 2),
    (Fraction(-1, 3), 0),
    (7, 7),
    (-7, -7),
]

# Gross, tax inside at 23 %. Own arithmetic, gross × 23/123; the Irish standard rate: Revenue, historical rates.
VAT = [(123_00, 23_00), (999_00, 186_80), (2_499_00, 467_29), (0, 0)]

HOUSE_OF_1790 = (
    [
        *(630560, 475327, 432879, 353523, 331589, 278514, 236841, 206236),
        *(179570, 141822, 85533, 70835, 68705, 68446, 55540),
    ],
    60,
    [11, 8, 7, 6, 6, 5, 4, 3, 3, 2, 1, 1, 1, 1, 1],
)
FORTY_TWO_SEATS = ([247000, 185000, 459000, 400000, 413000], 42, [6, 5, 11, 10, 10])

weights = st.lists(st.integers(min_value=0, max_value=500_000), min_size=1, max_size=8)
totals = st.integers(min_value=0, max_value=1_000_000)


@pytest.mark.parametrize(("amount", "rounded"), ROUNDINGS)
def test_a_half_is_rounded_away_from_zero(amount: Exact, rounded: int) -> None:
    assert round_half_up(amount) == rounded


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=3))
def test_rounding_agrees_with_the_decimal_arithmetic_of_the_language(amount: Decimal) -> None:
    # Python's decimal: ROUND_HALF_UP rounds a half away from zero.
    assert round_half_up(amount) == int(amount.to_integral_value(rounding=ROUND_HALF_UP))


@given(st.fractions(min_value=-(10**6), max_value=10**6, max_denominator=10_000))
def test_a_rounded_amount_is_never_more_than_a_half_off(amount: Fraction) -> None:
    assert abs(round_half_up(amount) - amount) <= Fraction(1, 2)
    assert round_half_up(-amount) == -round_half_up(amount)


@pytest.mark.parametrize(("gross", "tax"), VAT)
def test_the_tax_inside_a_price_at_the_irish_standard_rate(gross: int, tax: int) -> None:
    assert vat_inside(gross, 23) == tax


def test_the_tax_inside_a_price_at_a_rate_with_a_fraction() -> None:
    # Own arithmetic: 100.00 × 13.5 / 113.5 = 11.894.
    assert vat_inside(100_00, Decimal("13.5")) == 11_89
    assert vat_inside(100_00, 0) == 0


def test_a_share_is_rounded_once_and_half_up() -> None:
    # Own arithmetic.
    assert share_of(5_874_00, 22) == 1_292_28
    assert share_of(25, 10) == 3
    assert share_of(24, 10) == 2
    assert share_of(0, 22) == 0


@pytest.mark.parametrize(
    ("amount", "step", "down"),
    [(48799, 500, 48500), (48500, 500, 48500), (499, 500, 0), (0, 500, 0), (Decimal("999.99"), 500, 500), (7, 1, 7)],
)
def test_rounding_down_goes_to_the_whole_step_below(amount: Exact, step: int, down: int) -> None:
    assert round_down_to(amount, step) == down


@pytest.mark.parametrize(
    ("weighing", "total", "parts"),
    [
        pytest.param(*HOUSE_OF_1790, id="published apportionment of the House of 1790, 60 seats"),
        pytest.param(*FORTY_TWO_SEATS, id="published worked example, 42 seats"),
    ],
)
def test_largest_remainders_split_as_published(weighing: list[int], total: int, parts: list[int]) -> None:
    assert spread(total, weighing) == parts
    assert list(apportionment.compute("largest_remainder", weighing, total)) == parts


@given(weights, totals)
def test_largest_remainders_agree_with_a_library_of_apportionment(weighing: list[int], total: int) -> None:
    assume(total > 0 and sum(weighing) > 0)
    remainders = sorted((total * weight % sum(weighing) for weight in weighing), reverse=True)
    left_over = sum(remainders) // sum(weighing)
    # Where the last unit is tied, the library's choice is its own and ours is the earlier part.
    assume(left_over == 0 or remainders[left_over - 1] != remainders[left_over])
    # The package apportionment; exact with fractions.
    assert spread(total, weighing) == list(apportionment.compute("largest_remainder", weighing, total, fractions=True))


@given(weights, totals)
def test_splitting_keeps_the_sum_and_strays_less_than_one_from_each_exact_share(
    weighing: list[int], total: int
) -> None:
    parts = spread(total, weighing)
    assert sum(parts) == total
    assert len(parts) == len(weighing)
    if sum(weighing):
        exact = [Fraction(total * weight, sum(weighing)) for weight in weighing]
        assert all(abs(part - share) < 1 for part, share in zip(parts, exact, strict=True))


def test_of_equal_remainders_the_earlier_part_gets_the_unit() -> None:
    assert spread(1, [1, 1]) == [1, 0]
    assert spread(5, [1, 1, 1]) == [2, 2, 1]
    assert spread(100, [1, 1, 1]) == [34, 33, 33]


def test_a_split_without_any_weight_leaves_all_with_the_first() -> None:
    assert spread(7, [0, 0]) == [7, 0]
    assert spread(0, []) == []


@pytest.mark.parametrize(("total", "weighing"), [(-1, [1]), (1, [1, -1])])
def test_nothing_negative_is_split(total: int, weighing: list[int]) -> None:
    with pytest.raises(ValueError, match="negative"):
        spread(total, weighing)


# Own arithmetic: 2,519 to 2,199 is 12.7 %, 1,000 to 752 is 24.8 %.
BELOW = [
    (2_519_00, 2_199_00, 12),
    (1_000_00, 752_00, 24),
    (439_00, 399_00, 9),
    (100_00, 70_00, 30),
    (100_00, 100_00, 0),
]


@pytest.mark.parametrize(("before", "now", "percent"), BELOW)
def test_a_reduction_is_never_overstated(before: int, now: int, percent: int) -> None:
    assert percent_below(before, now) == percent
