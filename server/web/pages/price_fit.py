"""Fit against price: every kit for which no other fits as well for as little, the one shown marked, each an address to look at it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from urllib.parse import urlencode

from server.domain.catalogue import Catalogue, Gear
from server.domain.frontier import Option
from server.domain.kits import Kit, size_words
from server.domain.money import Cents
from server.domain.slots import CORE_SLOTS
from server.web.drawings.price import Step, price_chart
from server.web.pages.drawn import NARROW, WIDE, Pair
from server.web.render import money_words

IN_THE_TABLE = ("board", "front_foil", "hand_wing")


@dataclass(frozen=True, slots=True)
class PriceFitRow:
    """A kit of the table: its address (empty for the one shown), price of its parts, misfit, and its deciding sizes."""

    href: str
    price: str
    misfit: str
    sizes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PriceFit:
    """The chart and all of it in a table; `of_frontier` says whether the kit shown is one of those that nothing beats."""

    chart: Pair
    rows: tuple[PriceFitRow, ...]
    of_frontier: bool


@dataclass(frozen=True, slots=True)
class _Point:
    """A kit to choose: its SKUs, the price of its parts in cents, its misfit, and its gear by slot."""

    skus: tuple[str, ...]
    price: Cents
    misfit: float
    gear: Mapping[str, Gear]


def _point_of(option: Option, kit: Kit, catalogue: Catalogue) -> _Point:
    """A point of the frontier; where it names no part the kept piece stays, as in the kit shown."""
    bought = {slot: catalogue.parts[sku].gear for slot, sku in zip(CORE_SLOTS, option.skus, strict=True) if sku}
    return _Point(tuple(sku for sku in option.skus if sku), option.price, option.misfit, {**kit.kept, **bought})


@lru_cache(maxsize=8192)
def _named(sku: str) -> str:
    return urlencode({"sku": sku})


def price_fit(frontier: Sequence[Option], kit: Kit, catalogue: Catalogue, token: str) -> PriceFit | None:
    """Kits of the frontier and the one shown by the price of their parts; None where there is nothing to choose between."""
    terms = catalogue.policy.shop
    points = [_point_of(option, kit, catalogue) for option in frontier]
    of_frontier = any(point.skus == kit.skus for point in points)
    if not of_frontier:
        points.append(_Point(kit.skus, kit.price.core_charged, kit.misfit, kit.gear_by_slot))
    if len(points) < 2 or not math.isfinite(kit.misfit):
        return None
    in_order = sorted(points, key=lambda point: (point.price, -point.misfit))

    def money(cents: int) -> str:
        return money_words(cents, terms)

    def address(other: _Point) -> str:
        return f"/drafts/{token}/kit?{'&'.join(map(_named, other.skus))}#price-fit"

    steps = [
        Step(
            href=address(other),
            name=f"{money(other.price)}, misfit {other.misfit:.2f}: show this kit",
            price_cents=other.price,
            misfit=other.misfit,
            is_shown=other.skus == kit.skus,
            price_words=money(other.price),
        )
        for other in in_order
    ]
    rows = tuple(
        PriceFitRow(
            "" if step.is_shown else step.href,
            step.price_words,
            f"{other.misfit:.2f}",
            tuple(size_words(other.gear[slot]) for slot in IN_THE_TABLE),
        )
        for step, other in zip(steps, in_order, strict=True)
    )
    return PriceFit(Pair(price_chart(steps, WIDE, money), price_chart(steps, NARROW, money)), rows, of_frontier)
