"""The owner's policy as its pages are seen: at rest, with a draft and what it would do, with faults, and its versions."""

from __future__ import annotations

from datetime import timedelta
from typing import Any
from urllib.parse import urlencode

from server.usecases.policies import change_policy, terms_of
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from server.web.pages.policy_fields import BY_NAME
from server.web.pages.policy_form import filled
from tests.builders_seen import Seen, State, World, seen_as
from tests.builders_shop import learner


def posted(shop: Shop, page: str, *, do: str = "show", **typed: str) -> bytes:
    """A page of the policy as it would be sent with some fields typed anew; underscores twice in a name are a hyphen."""
    with shop.reading() as work:
        version = work.catalogue.policy.version
        fields: dict[str, Any] = dict(filled(BY_NAME[page], terms_of(work, version)))
    fields |= {"when": "once", "days": "90", "shown": str(version), "do": do}
    fields |= {name.replace("__", "-"): value for name, value in typed.items()}
    return urlencode(fields, doseq=True).encode()


def changed(shop: Shop, key: str, value: Any, *, note: str = "Tried out", in_days: int = 0) -> int:
    """A new version of the policy with one term changed, at once or some days on; its number."""
    with shop.writing("Orla") as work:
        version = work.catalogue.policy.version
        terms = terms_of(work, version)
        table, _, name = key.partition(".")
        terms[table] = {**terms.get(table, {}), name: value}
        day = work.today + timedelta(days=in_days) if in_days else None
        return change_policy(work, terms, day, note, version)


def _page(name: str) -> State:
    return seen_as("owner", lambda world: Seen(f"/console/policy/pages/{name}"))


def _posted(page: str, status: int = 200, **typed: str) -> State:
    def made(world: World) -> Seen:
        with world.shop.writing() as work:
            issue_quote(work, learner())
        return Seen(f"/console/policy/pages/{page}", posted(world.shop, page, **typed), status)

    return seen_as("owner", made)


def _versions(world: World) -> Seen:
    changed(world.shop, "quotes.price_good_days", 21, in_days=30)
    changed(world.shop, "quotes.draft_days", 45, note="Shorter memory")
    return Seen("/console/policy?said=saved")


def _version(world: World) -> Seen:
    first = changed(world.shop, "pricing.margin_floor_percent", 7)
    changed(world.shop, "pricing.margin_floor_percent", 6)
    return Seen(f"/console/policy/versions/{first}")


def _compared(world: World) -> Seen:
    changed(world.shop, "pricing.margin_floor_percent", 7)
    return Seen("/console/policy/compare")


def _while_one_waits(world: World) -> Seen:
    changed(world.shop, "pricing.margin_floor_percent", 7, in_days=20)
    changed(world.shop, "quotes.draft_days", 45, in_days=30)
    with world.shop.writing() as work:
        issue_quote(work, learner())
    return Seen("/console/policy/pages/kit", posted(world.shop, "kit", tiers__1__percent="25"))


POLICY_STATES: dict[str, State] = {
    "policy": seen_as("owner", _versions),
    "policy, two versions": seen_as("owner", _compared),
    "policy, a version to bring back": seen_as("owner", _version),
    "policy, kit discount moved": _posted("kit", tiers__1__percent="26"),
    "policy, kit discount moved while versions wait": seen_as("owner", _while_one_waits),
    "policy, sizing moved": _posted("sizing", fit__worn_kg="12"),
    "policy, old gear": _page("old-gear"),
    "policy, wrong": _posted("kit", 422, do="save", tiers__1__percent="lots", tiers__2__name=""),
    "policy, colours too faint": _posted("look", 422, do="save", look__ink="#eeeeee"),
}
