"""States that only several forms in a row lead to, made so that nobody waits for chance to send those in their order."""

from __future__ import annotations

from server.usecases.deposits import give_back_for, take_deposit
from server.usecases.lessons import call_weather, stand_of, take_fee
from server.usecases.quotes import issue_quote
from tests.builders_accounts import WORDS
from tests.builders_lessons import booked, lesson
from tests.builders_policy import changed
from tests.builders_seen import Seen, State, World, seen_as
from tests.builders_shop import agreed, learner
from tests.pages.reader import encoded

FEE = 115_00


def _factor_offered(world: World) -> Seen:
    return Seen("/account/factor", encoded([("current", WORDS)]))


def _fee_to_give_back(world: World) -> Seen:
    """A lesson that was paid for and called off by the shop."""
    number = lesson(world.shop)
    booking = booked(world.shop, number)
    with world.shop.writing("Maeve") as work:
        take_fee(work, booking, stand_of(work, booking).due, "cash")
    with world.shop.writing("Maeve") as work:
        call_weather(work, number, "final", "off", None, "A front comes through.")
    return Seen(f"/desk/lessons/{number}?learner={booking.id}")


def _kit_come_back(world: World) -> Seen:
    """A lesson's ledger beside a quote whose kit gave its fee back, and may come back itself."""
    with world.shop.writing("Maeve") as work:
        code = take_deposit(work, "private", FEE, "taken", work.today).code
    with world.shop.writing("Maeve") as work:
        quote = issue_quote(work, learner(deposit_codes=[code])).code
    agreed(world.shop, quote)
    with world.shop.writing("Maeve") as work:
        give_back_for(work, quote)
    return Seen(f"/desk/deposits/{code}?quote={quote}")


def _policy_waiting(world: World) -> Seen:
    version = changed(world.shop, "quotes.price_good_days", 21, in_days=30)
    return Seen(f"/console/policy/versions/{version}")


SEQUELS_STATES: dict[str, State] = {
    "second factor offered": seen_as("staff", _factor_offered),
    "fee of a lesson that was called off": seen_as("staff", _fee_to_give_back),
    "fee of a kit that may come back": seen_as("staff", _kit_come_back),
    "policy that waits for its day": seen_as("owner", _policy_waiting),
}
