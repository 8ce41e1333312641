"""The owner's console: what needs them first, what stands now, and where everything that only the owner changes is found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.backups import is_stale
from server.domain.policy import ShopTerms
from server.domain.slots import SLOT_WORDS
from server.usecases.console import UNMET_DAYS, Overview, overview
from server.usecases.work import Work
from server.web.pages.desk import when_words
from server.web.pages.doers import by_words
from server.web.render import day_words
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

SECTIONS: tuple[tuple[str, str, str], ...] = (
    ("/console/catalogue", "Catalogue", "Every part with its price, its shelf and what it earns; one or many changed."),
    ("/console/sets", "Sets", "Several parts sold as one item."),
    ("/console/places", "Places", "Spots, kinds of lesson and where parcels go."),
    ("/console/files", "Import and export", "The catalogue as files, and a price list looked at before it holds."),
    ("/console/steps", "Steps", "What was changed in the catalogue, and the newest of it undone."),
    ("/console/policy", "Policy", "Every term of the shop, with what a change would do before it is saved."),
    ("/console/numbers", "Numbers", "Quotes, what was asked for and not there, and what is left of it."),
    ("/console/orders", "What to order", "How many of each size for a season, and why."),
    ("/console/till", "Till’s day", "What a till of its own sold on a day, brought in as a file."),
    ("/messages/wordings", "Words of the messages", "What customers are written, word by word."),
    ("/console/people", "A person’s data", "What is kept of somebody: to give them, or to erase."),
    ("/staff", "Who works here", "Who may sign in at the desk, and as what."),
    ("/console/record", "Who did what", "Everything of weight that was done, by whom and when."),
)
"""Where, what it is called, and what it is for."""
PAGES: Mapping[str, str] = {
    "waiting": "/desk",
    "not_sent": "/desk/messages",
    "held_up": "/desk/messages",
    "at_a_loss": "/console/catalogue?flag=loss",
    "uncallable": "/console/catalogue?flag=not_reduced",
    "unmet": "/console/orders",
}
"""Where each need is seen to; one without a page of its own is only said."""


@dataclass(frozen=True, slots=True)
class Need:
    """Something that waits for the owner: how many, of what, why it matters, and where it is seen to."""

    number: int
    what: str
    why: str
    address: str


@dataclass(frozen=True)
class ConsolePage:
    """What waits, what stands, and the sections."""

    needs: tuple[Need, ...]
    clock: str
    backup: str
    backup_is_stale: bool
    policy: str
    policy_to_come: tuple[str, ...]
    catalogue: str
    step: str
    sections: tuple[tuple[str, str, str], ...] = SECTIONS


@owner_router.get("/console")
def show_console(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Where the owner begins."""
    with shop.reading(account.name) as work:
        terms = work.catalogue.policy.shop
        return pages.show(request, "console/console.html", _page(work, overview(work), terms), terms)


def _page(work: Work, stands: Overview, terms: ShopTerms) -> ConsolePage:
    policy, step = stands.policy, stands.step
    return ConsolePage(
        needs=tuple(need for need in _needs(stands, work.now, terms) if need.number),
        clock=stands.clock,
        backup=_backup_words(work, stands),
        backup_is_stale=is_stale(stands.backed_up_at, work.now),
        policy=""
        if policy is None
        else f"version {policy.version}, since {when_words(policy.starts_at, work.now, terms)}, {by_words(policy.made_by)}",
        policy_to_come=tuple(
            f"version {one.version} from {day_words(one.starts_at, terms)} on, {by_words(one.made_by)}"
            for one in stands.to_come
        ),
        catalogue=f"{stands.parts} parts on sale",
        step="" if step is None else f"{step.about}, {when_words(step.at, work.now, terms)}, {by_words(step.by)}",
    )


def _needs(stands: Overview, now: datetime, terms: ShopTerms) -> list[Need]:
    def need(name: str, number: int, one: str, many: str, why: str) -> Need:
        return Need(number, one if number == 1 else many, why, PAGES.get(name, ""))

    held = when_words(stands.held_up.since, now, terms) if stands.held_up else ""
    slots = ", ".join(f"{SLOT_WORDS.get(slot, slot)} {number}" for slot, number in stands.unmet.items())
    return [
        need(
            "waiting",
            stands.waiting,
            "kit waits for your word",
            "kits wait for your word",
            "A further discount, or a margin under its floor.",
        ),
        need(
            "held_up",
            stands.held_up.number if stands.held_up else 0,
            "message waits to be tried again",
            "messages wait to be tried again",
            f"The oldest since {held}: {stands.held_up.because}" if stands.held_up else "",
        ),
        need("not_sent", stands.not_sent, "message was not sent", "messages were not sent", "Tried, and given up."),
        need(
            "at_a_loss",
            len(stands.at_a_loss),
            "part sells for less than it costs",
            "parts sell for less than they cost",
            f"Today’s price without VAT is under the cost: {_some(stands.at_a_loss)}.",
        ),
        need(
            "uncallable",
            len(stands.uncallable),
            "part is marked down but may not be called reduced",
            "parts are marked down but may not be called reduced",
            f"Not under the lowest price of the 30 days before: {_some(stands.uncallable)}.",
        ),
        need(
            "unmet",
            sum(stands.unmet.values()),
            "time nothing in stock was right",
            "times nothing in stock was right",
            f"For learners of the last {UNMET_DAYS} days: {slots}.",
        ),
    ]


def _some(skus: tuple[str, ...], most: int = 3) -> str:
    more = len(skus) - most
    return ", ".join(skus[:most]) + (f" and {more} more" if more > 0 else "")


def _backup_words(work: Work, stands: Overview) -> str:
    if stands.backed_up_at is None:
        return "No backup was ever made."
    days = (work.now - stands.backed_up_at).days
    when = when_words(stands.backed_up_at, work.now, work.catalogue.policy.shop)
    return f"The last one is {days} days old: {when}." if is_stale(stands.backed_up_at, work.now) else when
