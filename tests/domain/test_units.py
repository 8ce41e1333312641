"""Conversions are exact and lead back to where they started."""

from __future__ import annotations

from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain import units

REGISTRY: Any = pint.UnitRegistry()

amounts = st.floats(min_value=0.01, max_value=10_000, allow_nan=False)

# Function, amount, unit it comes from, unit it goes to.
CONVERSIONS = [
    (units.ms_from_kn, 1, "knot", "m/s"),
    (units.ms_from_kn, 15, "knot", "m/s"),
    (units.kn_from_ms, 5, "m/s", "knot"),
    (units.kg_from_lb, 1, "lb", "kg"),
    (units.kg_from_lb, 187, "lb", "kg"),
    (units.lb_from_kg, 80, "kg", "lb"),
    (units.m2_from_cm2, 1600, "cm^2", "m^2"),
    (units.cm2_from_m2, 0.16, "m^2", "cm^2"),
    (units.inches_from_cm, 175, "cm", "inch"),
    (units.cm_from_inches, 68.9, "inch", "cm"),
    (units.kmh_from_kn, 15, "knot", "km/h"),
    (units.kn_from_kmh, 28, "km/h", "knot"),
]


@pytest.mark.parametrize(("convert", "amount", "unit", "to"), CONVERSIONS)
def test_a_conversion_agrees_with_a_library_of_units(convert: Any, amount: float, unit: str, to: str) -> None:
    # pint, a general library of units.
    assert convert(amount) == pytest.approx(REGISTRY.Quantity(amount, unit).to(to).magnitude, rel=1e-12)


def test_a_knot_is_a_nautical_mile_of_1852_metres_an_hour() -> None:
    # SI Brochure.
    assert units.ms_from_kn(1) == 1852 / 3600


def test_a_pound_is_0_45359237_kilograms_exactly() -> None:
    # International yard and pound agreement 1959, from memory.
    assert units.kg_from_lb(1) == 0.45359237
    assert units.kg_from_lb(100) == pytest.approx(45.359237, rel=1e-15)


def test_a_stone_is_fourteen_pounds() -> None:
    assert units.kg_from_stone(1, 0) == pytest.approx(REGISTRY.Quantity(1, "stone").to("kg").magnitude, rel=1e-12)
    # Own arithmetic: 12 st 8 lb are 176 lb.
    assert units.kg_from_stone(12, 8) == pytest.approx(79.832257, abs=1e-6)
    stone, pounds = units.stone_from_kg(79.9)
    assert stone == 12
    assert pounds == pytest.approx(8.1494, abs=1e-4)


@given(amounts)
def test_there_and_back_is_where_one_started(amount: float) -> None:
    assert units.lb_from_kg(units.kg_from_lb(amount)) == pytest.approx(amount, rel=1e-12)
    assert units.kn_from_ms(units.ms_from_kn(amount)) == pytest.approx(amount, rel=1e-12)
    assert units.cm2_from_m2(units.m2_from_cm2(amount)) == pytest.approx(amount, rel=1e-12)
    assert units.cm_from_inches(units.inches_from_cm(amount)) == pytest.approx(amount, rel=1e-12)
    assert units.kn_from_kmh(units.kmh_from_kn(amount)) == pytest.approx(amount, rel=1e-12)
    assert units.kg_from_stone(*units.stone_from_kg(amount)) == pytest.approx(amount, rel=1e-12)


@given(amounts)
def test_the_pounds_left_over_are_less_than_a_stone(amount: float) -> None:
    _, pounds = units.stone_from_kg(amount)
    assert 0 <= pounds < 14


def test_an_inch_is_2_54_centimetres_exactly() -> None:
    # International yard and pound agreement 1959: a yard is 0.9144 m, and an inch its thirty-sixth part.
    assert units.cm_from_inches(1) == 2.54
    assert units.cm_from_inches(36) == pytest.approx(91.44, rel=1e-15)


# Beaufort scale, equivalent speeds at 10 m in knots: World Meteorological Organization, Manual on Codes (WMO-No. 306),
# Volume I.1, Section E. Force, first and last knot.
BEAUFORT = [
    (1, 1, 3),
    (2, 4, 6),
    (3, 7, 10),
    (4, 11, 16),
    (5, 17, 21),
    (6, 22, 27),
    (7, 28, 33),
    (8, 34, 40),
    (9, 41, 47),
    (10, 48, 55),
    (11, 56, 63),
    (12, 64, 100),
]


@pytest.mark.parametrize(("force", "first", "last"), BEAUFORT)
def test_the_beaufort_force_is_that_of_the_published_table(force: int, first: int, last: int) -> None:
    assert {units.beaufort_from_kn(knots) for knots in range(first, last + 1)} == {force}


def test_under_a_knot_it_is_calm_and_between_two_knots_the_nearer_counts() -> None:
    assert [units.beaufort_from_kn(knots) for knots in (0, 0.5, 0.99, 1)] == [0, 0, 0, 1]
    assert [units.beaufort_from_kn(knots) for knots in (10.4, 10.5, 16.49, 16.5)] == [3, 4, 4, 5]


@given(amounts, amounts)
def test_more_wind_is_never_a_lesser_force(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert units.beaufort_from_kn(low) <= units.beaufort_from_kn(high)
