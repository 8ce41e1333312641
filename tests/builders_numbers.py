"""A shop with some weeks of trade behind it, for the numbers and the order list; and how these pages are seen."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode

from server.domain.sales import Sale
from server.usecases.clock import confirm_clock
from server.usecases.learner import start_draft
from server.usecases.orders import read_orders, read_orders_asked
from server.usecases.quotes import issue_quote, mark_seen
from server.usecases.work import Shop
from tests.builders_sales import bought
from tests.builders_seen import Seen, State, World, seen_as
from tests.builders_shop import learner

HEAVY = learner(mass_kg=136)
"""No board of the seed lies within this learner's target, yet a kit is sound."""


def days_ago(shop: Shop, days: float) -> Shop:
    """The same shop by a clock that stood so many days ago."""
    then = shop.clock() - timedelta(days=days)
    return Shop(shop.sessions, lambda: then)


def traded(shop: Shop) -> Sale:
    """Some weeks: drafts begun, a quote that lapsed, one seen, one kept at the desk, two that missed a board, and one bought.

    The owner has said that a clock of five days ago is right, since money is booked by none that is behind what was written.
    """
    with days_ago(shop, 5).writing("Orla") as work:
        confirm_clock(work)
    for _ in range(2):
        with days_ago(shop, 40).writing() as work:
            start_draft(work, learner())
    with days_ago(shop, 40).writing() as work:
        issue_quote(work, learner(spot="Lough Corravane", water="lake"))
    with days_ago(shop, 10).writing() as work:
        mark_seen(work, issue_quote(work, learner(mass_kg=66, foil_stage="long_flights")).token, 1)
    with days_ago(shop, 9).writing("Maeve") as work:
        issue_quote(work, learner(mass_kg=95))
    with days_ago(shop, 8).writing() as work:
        issue_quote(work, HEAVY)
    sale = bought(days_ago(shop, 5))
    with days_ago(shop, 3).writing() as work:
        start_draft(work, learner())
    with days_ago(shop, 2).writing() as work:
        issue_quote(work, HEAVY)
    return sale


def _numbers(query: str = "", status: int = 200) -> State:
    def made(world: World) -> Seen:
        traded(world.shop)
        return Seen(f"/console/numbers{query}", None, status)

    return made


def _orders(query: str = "", status: int = 200) -> State:
    def made(world: World) -> Seen:
        traded(world.shop)
        return Seen(f"/console/orders{query}", None, status)

    return made


def order_form(shop: Shop, key: str, pieces: str, sku: str = "") -> dict[str, str]:
    """The form of one line of the list as the page has it, with other pieces or another part typed in."""
    with shop.reading() as work:
        [line] = [one for one in read_orders(work, read_orders_asked(work, {})).lines if one.wanted.key == key]
    was = {f"was-{key}": str(line.pieces), f"was-sku-{key}": line.part.sku}
    return {"slot": line.wanted.slot, f"pieces-{key}": pieces, f"sku-{key}": sku or line.part.sku, **was}


def _order_wrong(world: World) -> Seen:
    traded(world.shop)
    return Seen("/console/orders", urlencode(order_form(world.shop, "board:105", "some")).encode(), 422)


NUMBERS_STATES: dict[str, State] = {
    "numbers": seen_as("owner", _numbers()),
    "numbers of some quotes": seen_as("owner", _numbers("?came=customer&water=sea&slot=hand_wing&by=spot")),
    "numbers before there was any": seen_as("owner", _numbers("?from=2020-01-01&to=2020-03-01")),
    "numbers, days wrong": seen_as("owner", _numbers("?from=never&to=2026-11-01&spot=nowhere", 422)),
    "what to order": seen_as("owner", _orders("?share=40")),
    "what to order, days wrong": seen_as(
        "owner", _orders("?season_from=2027-04-01&season_to=2026-01-01&share=200", 422)
    ),
    "what to order, pieces wrong": seen_as("owner", _order_wrong),
}
