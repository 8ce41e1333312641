"""How many to order for a season: demand with its uncertainty, and the quantity at which one more would as likely cost as earn.

The newsvendor model: a piece too few loses what it would have earned, a piece too many loses what it cost less what it fetches once
the season is over. The best quantity is the quantile of demand at the ratio of the first to both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from statistics import NormalDist
from typing import Literal

from server.domain.money import Cents, round_half_up, vat_inside

SMALL_MEAN = 300.0
"""Up to here demand is counted piece by piece (Poisson, its mean uncertain); beyond, the normal distribution of the same mean and
spread differs by few pieces of hundreds."""
MOST_MEAN = 1e6
MOST_SHARE = 0.999
"""Where a piece too many costs nothing there is no best quantity: one for all but a season in a thousand is enough."""


@dataclass(frozen=True, slots=True)
class Stakes:
    """What one piece too few and one too many cost, in cents net of VAT.

    `ratio` is the share of seasons in which there should be enough.
    """

    under: Cents
    over: Cents

    @property
    def ratio(self) -> float:
        """under / (under + over): 1 where a piece too many costs nothing, 0 where one too few does."""
        whole = self.under + self.over
        return self.under / whole if whole else 0.0


def stakes_of(price: Cents, cost: Cents, vat_percent: Decimal, end_of_season_value: Decimal) -> Stakes:
    """The stakes of one piece: its price with VAT, its cost net, and the share of its price that it fetches afterwards.

    Neither is negative: a piece that sells under its cost is worth no order, one that keeps its cost cannot be too many.
    A price of 123.00 at 23 %, cost 60.00, worth 0.45 afterwards: under 40.00, over 15.00.
    """
    net = price - vat_inside(price, vat_percent)
    afterwards = round_half_up(Fraction(end_of_season_value) * net)
    return Stakes(max(0, net - cost), max(0, cost - afterwards))


@dataclass(frozen=True, slots=True)
class Demand:
    """A season's demand: its mean and standard deviation in pieces, and the distribution that is taken for it."""

    mean: float
    deviation: float
    shape: Literal["poisson", "mixed", "normal"]
    """`mixed` is Poisson demand whose own mean is uncertain: the negative binomial distribution of this mean and spread."""

    @property
    def low(self) -> int:
        """Nine seasons in ten bring more than this, or as many."""
        return quantile_of(self, 0.1)

    @property
    def high(self) -> int:
        """Nine seasons in ten bring this many, or fewer."""
        return quantile_of(self, 0.9)


@dataclass(frozen=True, slots=True)
class Share:
    """The share of those who ask that buy: its mean, and the variance of not knowing it better; `decided` is from how many."""

    mean: float
    variance: float = 0.0
    bought: int = 0
    decided: int = 0


def share_of_buyers(bought: int, decided: int) -> Share:
    """The share that buys, from how many of those who decided did: mean (k + 1) / (n + 2), as Laplace's rule of succession has it.

    It is Beta(k + 1, n − k + 1) distributed, of variance a b / ((a + b)² (a + b + 1)): 1 of 4 gives 0.333 and a variance of 0.0317; of
    none who decided half buy, give or take anything. Raises `ValueError` where more bought than decided.
    """
    if not 0 <= bought <= decided:
        raise ValueError("no more can have bought than decided")
    a, b = bought + 1, decided - bought + 1
    return Share(a / (a + b), a * b / ((a + b) ** 2 * (a + b + 1)), bought, decided)


def buyers_of(asked: int, scale: float, share: Share, over_the_counter: int = 0) -> Demand:
    """The pieces that a coming season's buyers want, from how many asked in days past and the share of them that buys.

    `scale` is how much longer the season is; what was sold over the counter was bought for certain. Those who ask are Poisson, and
    stay so when each of them buys with a probability. With m = scale × asked, the share's mean p and variance v, the mean is p m
    and the variance p m + p² s m + v (m² + s m): Poisson's own, that the count is uncertain, and that the share is (the variance of
    a product of two that do not depend on each other; Goodman, Journal of the American Statistical Association 55, 1960, 708–713).
    Pieces c over the counter add s c and s c + s² c. 20 asked, the same days again, 1 of 4 bought for certain: mean 5, variance 6.25.
    Raises `ValueError` for negative counts or a scale that is none.
    """
    if min(asked, over_the_counter) < 0 or not 0 <= scale <= MOST_MEAN:
        raise ValueError("neither a count nor the scale may be negative")
    m, c, p, v = scale * asked, scale * over_the_counter, share.mean, share.variance
    mean = p * m + c
    variance = p * m + p * p * scale * m + v * (m * m + scale * m) + c + scale * c
    return Demand(mean, math.sqrt(variance), "mixed" if mean <= SMALL_MEAN else "normal")


def poisson_quantile(mean: float, share: float) -> int:
    """The smallest whole number that Poisson demand of a mean does not exceed with at least this probability.

    The sum of e^−m m^k / k! from 0 on. Mean 4, share 2/3: 5. For means up to 700, beyond which e^−m is no number of a computer.
    """
    if mean <= 0 or share <= 0:
        return 0
    term = total = math.exp(-mean)
    quantity = 0
    while total < share and term > 0:
        quantity += 1
        term *= mean / quantity
        total += term
    return quantity


def mixed_quantile(mean: float, deviation: float, share: float) -> int:
    """As `poisson_quantile`, of Poisson demand whose mean is itself gamma distributed, so that it spreads wider than its mean tells.

    That is the negative binomial distribution (Greenwood and Yule 1920) with r = m² / (s² − m) and P(0) = (m / s²)^r, each next
    probability (k − 1 + r) / k × (1 − m / s²) times the last. Mean 4, variance 6, share 2/3: 5. Without more spread than Poisson's it
    is Poisson's.
    """
    variance = deviation * deviation
    if variance <= mean * (1 + 1e-9):
        return poisson_quantile(mean, share)
    if mean <= 0 or share <= 0:
        return 0
    r, kept = mean * mean / (variance - mean), mean / variance
    term = total = math.exp(r * math.log(kept))
    quantity = 0
    while total < share and quantity < MOST_MEAN:
        quantity += 1
        term *= (quantity - 1 + r) / quantity * (1 - kept)
        total += term
    return quantity


def normal_quantile(mean: float, deviation: float, share: float) -> float:
    """The quantile of normal demand: mean + deviation × z. N(200, 80) at 2/3: 234.46 (Cachon and Terwiesch, Q12.1)."""
    if deviation <= 0:
        return mean
    return NormalDist(mean, deviation).inv_cdf(min(max(share, 1e-9), 1 - 1e-9))


def quantile_of(demand: Demand, share: float) -> int:
    """A quantile of demand in whole pieces, never negative; of normal demand rounded up, so that the share is reached."""
    if demand.shape == "poisson":
        return poisson_quantile(demand.mean, share)
    if demand.shape == "mixed":
        return mixed_quantile(demand.mean, demand.deviation, min(share, MOST_SHARE))
    return max(0, math.ceil(normal_quantile(demand.mean, demand.deviation, share) - 1e-9))


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What to order: the quantity that should be there for the season, what is there or due, and the difference."""

    wanted: int
    on_hand: int
    due: int
    order: int


def suggest(demand: Demand, stakes: Stakes, on_hand: int, due: int) -> Suggestion:
    """How many to order so that on hand and due come to the quantile of demand at the ratio of the stakes; never fewer than none."""
    wanted = quantile_of(demand, stakes.ratio) if demand.mean > 0 and stakes.under > 0 else 0
    order = max(0, wanted - on_hand - due)
    return Suggestion(wanted, on_hand, due, order)
