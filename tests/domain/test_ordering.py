"""Order quantities against a published example and two libraries."""

from __future__ import annotations

import random
import statistics
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import beta, nbinom, norm, poisson

from server.domain.ordering import (
    Demand,
    Share,
    Stakes,
    buyers_of,
    mixed_quantile,
    normal_quantile,
    poisson_quantile,
    quantile_of,
    share_of_buyers,
    stakes_of,
    suggest,
)

ALL_BUY = Share(1.0)


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
    demand, more = (buyers_of(asked, scale, ALL_BUY) for asked in (counted, counted + 1))
    base = suggest(demand, Stakes(under, over), on_hand, 0)
    if more.shape == demand.shape:
        assert suggest(more, Stakes(under, over), on_hand, 0).order >= base.order
    assert suggest(demand, Stakes(under + 1, over), on_hand, 0).order >= base.order
    assert suggest(demand, Stakes(under, over), on_hand + 1, 0).order <= base.order
    assert base.order == max(0, base.wanted - on_hand)


def test_what_nobody_asked_for_or_earns_nothing_is_not_ordered() -> None:
    assert suggest(buyers_of(0, 1, ALL_BUY), Stakes(10_00, 1_00), 0, 0).order == 0
    assert suggest(buyers_of(9, 1, ALL_BUY), Stakes(0, 1_00), 0, 0).order == 0


def test_the_same_example_by_a_library_of_stock_theory() -> None:
    # stockpyl's newsvendor_normal(holding_cost=4, stockout_cost=8, demand_mean=200, demand_sd=80), run once: 234.458.
    assert normal_quantile(200, 80, Stakes(8_00, 4_00).ratio) == pytest.approx(234.458, abs=0.0005)


@given(st.floats(0.05, 300), st.floats(1.01, 6), st.floats(0.001, 0.998))
def test_every_quantile_of_an_uncertain_mean_is_the_negative_binomials_of_scipy(
    mean: float, wider: float, share: float
) -> None:
    variance = mean * wider
    law = nbinom(mean * mean / (variance - mean), mean / variance)
    ours, theirs = mixed_quantile(mean, variance**0.5, share), int(law.ppf(share))
    assert ours == theirs or law.cdf(min(ours, theirs)) == pytest.approx(share, abs=1e-9)


def test_without_more_spread_than_poissons_it_is_poissons() -> None:
    assert mixed_quantile(4, 2, 2 / 3) == poisson_quantile(4, 2 / 3) == 5
    assert mixed_quantile(0, 0, 0.9) == 0


@given(st.integers(0, 400), st.integers(0, 400))
def test_the_share_that_buys_is_betas_after_a_flat_prior(bought: int, others: int) -> None:
    share = share_of_buyers(bought, bought + others)
    law = beta(bought + 1, others + 1)
    assert share.mean == pytest.approx(law.mean())
    assert share.variance == pytest.approx(law.var())


def test_without_anybody_who_decided_half_buy_and_no_more_buy_than_decided() -> None:
    assert share_of_buyers(0, 0) == Share(0.5, 1 / 12, 0, 0)
    with pytest.raises(ValueError, match="decided"):
        share_of_buyers(3, 2)
    with pytest.raises(ValueError, match="negative"):
        buyers_of(-1, 1, Share(0.5))


UNCERTAIN = [(20, 1.0, share_of_buyers(1, 4), 0), (60, 0.5, share_of_buyers(10, 50), 3), (8, 2.0, Share(0.25), 0)]


@pytest.mark.parametrize(("asked", "scale", "share", "counter"), UNCERTAIN)
def test_the_spread_of_what_buyers_want_is_that_of_ten_thousand_seasons(
    asked: int, scale: float, share: Share, counter: int
) -> None:
    # Each season: a mean of those who ask as uncertain as its count is, a share that buys, and Poisson buyers of both.
    dice = random.Random(20_260_401)
    m, c, p, v = scale * asked, scale * counter, share.mean, share.variance

    def near(mean: float, variance: float) -> float:
        return dice.gammavariate(mean * mean / variance, variance / mean) if variance and mean else mean

    def poisson_of(mean: float) -> int:
        arrived, at = -1, 0.0
        while at < mean:
            at += dice.expovariate(1)
            arrived += 1
        return max(arrived, 0)

    a = p * (p * (1 - p) / v - 1) if v else 0.0
    seasons = [
        poisson_of(near(m, scale * m) * (dice.betavariate(a, a * (1 - p) / p) if v else p) + near(c, scale * c))
        for _ in range(10_000)
    ]
    demand = buyers_of(asked, scale, share, counter)
    assert demand.mean == pytest.approx(statistics.fmean(seasons), rel=0.04)
    assert demand.deviation == pytest.approx(statistics.pstdev(seasons), rel=0.05)
    for ratio in (0.3, 2 / 3, 0.85):
        counted = sorted(seasons)[int(ratio * len(seasons))]
        assert abs(quantile_of(demand, ratio) - counted) <= 1


def test_knowing_the_share_better_spreads_less_and_many_are_normal() -> None:
    assert buyers_of(20, 1, Share(0.25)).deviation < buyers_of(20, 1, share_of_buyers(5, 20)).deviation
    assert buyers_of(20, 1, Share(0.25)) == Demand(5, 2.5, "mixed")
    assert buyers_of(4000, 1, Share(0.25)).shape == "normal"
    # Where a piece too many costs nothing the order is large, but has an end.
    assert quantile_of(buyers_of(20, 1, Share(0.25)), 1.0) == mixed_quantile(5, 2.5, 0.999)
