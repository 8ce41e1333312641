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
    assert units.kg_from_stone(*units.stone_from_kg(amount)) == pytest.approx(amount, rel=1e-12)


@given(amounts)
def test_the_pounds_left_over_are_less_than_a_stone(amount: float) -> None:
    _, pounds = units.stone_from_kg(amount)
    assert 0 <= pounds < 14
