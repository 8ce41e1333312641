"""Order quantities against a published example and two libraries."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm, poisson

from server.domain.ordering import (
    Demand,
    Stakes,
    demand_of,
    normal_quantile,
    poisson_quantile,
    quantile_of,
    stakes_of,
    suggest,
)


def test_the_published_example_of_a_normal_demand() -> None:
    # Cachon and Terwiesch, Matching Supply with Demand, Q12.1: N(200, 80), under 8, over 4: ratio 0.6667, quantity 234.46.
    stakes = Stakes(8_00, 4_00)
    assert stakes.ratio == pytest.approx(0.6667, abs=5e-5)
    assert normal_quantile(200, 80, stakes.ratio) == pytest.approx(234.46, abs=0.005)
    assert quantile_of(Demand(200, 80, "normal"), stakes.ratio) == 235


def test_a_small_demand_is_counted_as_poisson() -> None:
    assert poisson_quantile(4, 2 / 3) == 5  # scipy.stats.poisson.ppf(2/3, 4)


@given(st.floats(0.01, 300), st.floats(0.001, 0.999))
def test_every_poisson_quantile_is_that_of_scipy(mean: float, share: float) -> None:
    ours, theirs = poisson_quantile(mean, share), int(poisson.ppf(share, mean))
    assert ours == theirs or poisson.cdf(min(ours, theirs), mean) == pytest.approx(share, abs=1e-12)


@given(st.floats(1, 1e5), st.floats(0.1, 1e4), st.floats(0.001, 0.999))
def test_every_normal_quantile_is_that_of_scipy(mean: float, deviation: float, share: float) -> None:
    assert normal_quantile(mean, deviation, share) == pytest.approx(
        norm.ppf(share, mean, deviation), rel=1e-9, abs=1e-6
    )


def test_the_stakes_are_net_of_vat_and_never_negative() -> None:
    assert stakes_of(123_00, 60_00, Decimal(23), Decimal("0.45")) == Stakes(40_00, 15_00)
    assert stakes_of(123_00, 110_00, Decimal(23), Decimal("0.45")).under == 0
    assert stakes_of(123_00, 40_00, Decimal(23), Decimal("0.45")).over == 0


@given(st.integers(0, 500), st.floats(0.1, 4), st.integers(1, 100_00), st.integers(1, 100_00), st.integers(0, 50))
def test_more_demand_or_more_at_stake_never_orders_less(
    counted: int, scale: float, under: int, over: int, on_hand: int
) -> None:
    base = suggest(demand_of(counted, scale), Stakes(under, over), on_hand, 0)
    assert suggest(demand_of(counted + 1, scale), Stakes(under, over), on_hand, 0).order >= base.order - 1
    assert suggest(demand_of(counted, scale), Stakes(under + 1, over), on_hand, 0).order >= base.order
    assert suggest(demand_of(counted, scale), Stakes(under, over), on_hand + 1, 0).order <= base.order
    assert base.order == max(0, base.wanted - on_hand)


def test_what_nobody_asked_for_or_earns_nothing_is_not_ordered() -> None:
    assert suggest(demand_of(0), Stakes(10_00, 1_00), 0, 0).order == 0
    assert suggest(demand_of(9), Stakes(0, 1_00), 0, 0).order == 0
