"""The versions of the policy: since when each holds and why, two of them compared, one brought back, one to come taken back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.policy import ShopTerms
from server.domain.policy_book import PolicyVersion, timeline_of
from server.usecases.policies import change_policy, drop_policy, list_versions, made_from, terms_of, versions_to_come
from server.usecases.repricing import SPANS
from server.usecases.work import Shop, Work
from server.web.pages.desk import when_words
from server.web.pages.doers import by_words
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.policy import USUAL_SPAN, Asked, asked_in, draft_of, span_of
from server.web.pages.policy_effect import EffectShown, effect_shown
from server.web.pages.policy_fields import PAGES, PolicyPage
from server.web.pages.policy_words import ChangeShown, changes_line, changes_shown, shown
from server.web.render import day_words, see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

VersionNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]
SAID = {
    "saved": "The new policy is in force. Quotes made before keep theirs.",
    "waits": "The new policy waits for its day. Until then nothing changes.",
    "dropped": "It was taken back, and will not take effect.",
}


@dataclass(frozen=True, slots=True)
class VersionShown:
    """A version in the list: from when until when, by whom, why, and what it changed; `state` is now, to come, past or taken back."""

    version: int
    since: str
    until: str
    by: str
    note: str
    state: str
    changed: str = ""


@dataclass(frozen=True, slots=True)
class WaitingSaid:
    """A version to come that lacks what was changed since it was made."""

    version: int
    day: str
    lacks: tuple[ChangeShown, ...]


@dataclass(frozen=True)
class PolicyIndex:
    """Where the owner finds every term, and every version."""

    sheets: tuple[PolicyPage, ...]
    now: VersionShown | None
    versions: tuple[VersionShown, ...]
    waiting: tuple[WaitingSaid, ...]
    said: str


@dataclass(frozen=True)
class ComparePage:
    """Two versions side by side."""

    one: int
    other: int
    versions: tuple[VersionShown, ...]
    changes: tuple[ChangeShown, ...]


@dataclass(frozen=True)
class VersionPage(TypedForm):
    """A version beside the one in force: what differs, what it would do, and bringing it back or taking it back."""

    version: VersionShown
    shown: int
    changes: tuple[ChangeShown, ...]
    effect: EffectShown | None
    days: int
    typed: Mapping[str, str]
    faults: tuple[Fault, ...] = ()
    spans: tuple[int, ...] = SPANS


def versions_shown(work: Work) -> tuple[VersionShown, ...]:
    """Every version, the newest first."""
    versions = list_versions(work)
    terms = work.catalogue.policy.shop
    spells = {spell.version.version: (spell.since, spell.until) for spell in timeline_of(versions)}
    current = work.catalogue.policy.version
    return tuple(
        _version(one, spells.get(one.version), current, work.now, terms)
        for one in sorted(versions, key=lambda one: -one.version)
    )


def _version(
    one: PolicyVersion,
    spell: tuple[datetime, datetime | None] | None,
    current: int,
    now: datetime,
    terms: ShopTerms,
) -> VersionShown:
    since = when_words(one.starts_at if spell is None else spell[0], now, terms)
    until = when_words(spell[1], now, terms) if spell and spell[1] else ""
    state = "past"
    if one.dropped_at is not None:
        state, until = "taken back", ""
    elif one.version == current:
        state = "now"
    elif one.is_to_come(now):
        state = "to come"
    return VersionShown(one.version, since, until, by_words(one.made_by), one.note, state)


@owner_router.get("/console/policy")
def show_index(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, said: str = "") -> Response:
    """The pages of the policy and its versions."""
    with shop.reading(account.name) as work:
        terms = work.catalogue.policy.shop
        changed = _what_changed(work, terms)
        versions = tuple(replace(one, changed=changed.get(one.version, "")) for one in versions_shown(work))
        page = PolicyIndex(
            PAGES,
            next((one for one in versions if one.state == "now"), None),
            versions,
            _lacking(work, terms),
            SAID.get(said, ""),
        )
        return pages.show(request, "console/policy.html", page, terms)


def _what_changed(work: Work, terms: ShopTerms) -> dict[int, str]:
    """In a line for each version what differs from the one in force when it was made; the first has none before it."""
    versions = list_versions(work)
    known = {one.version: terms_of(work, one.version) for one in versions}
    before = {one.version: made_from(one, versions) for one in versions}
    return {
        number: changes_line(changes_shown(known[base.version], known[number], terms)) or "nothing"
        for number, base in before.items()
        if base is not None
    }


def _lacking(work: Work, terms: ShopTerms) -> tuple[WaitingSaid, ...]:
    """The versions to come that would undo something on their day."""
    return tuple(
        WaitingSaid(
            one.version.version,
            day_words(terms.day_of(one.version.starts_at), terms),
            shown(one.left_behind, terms, one.terms),
        )
        for one in versions_to_come(work)
        if one.left_behind
    )


@owner_router.get("/console/policy/compare")
def compare(
    request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, one: str = "", other: str = ""
) -> Response:
    """Two versions side by side; without numbers the newest beside the one before it."""
    with shop.reading(account.name) as work:
        versions = versions_shown(work)
        known = {version.version for version in versions}
        standing = [version.version for version in versions if version.state != "taken back"]
        after = _number(other, known) or max(standing or known)
        before = _number(one, known) or max((number for number in known if number < after), default=after)
        terms = work.catalogue.policy.shop
        changes = changes_shown(terms_of(work, before), terms_of(work, after), terms)
        page = ComparePage(before, after, versions, changes)
        return pages.show(request, "console/policy_compare.html", page, terms)


def _number(text: str, known: set[int]) -> int | None:
    return int(text) if text.isdecimal() and len(text) < 10 and int(text) in known else None


@owner_router.get("/console/policy/versions/{number}")
def show_version(
    request: Request, number: VersionNumber, account: OwnerOf, shop: ShopOf, pages: PagesOf, days: str = ""
) -> Response:
    """A version beside the one in force, with what it would do."""
    with shop.reading(account.name) as work:
        page = _page(work, number, span_of(days), None, {"when": "once"}, ())
        return pages.show(request, "console/policy_version.html", page, work.catalogue.policy.shop)


@owner_router.post("/console/policy/versions/{number}")
def bring_back(
    request: Request, number: VersionNumber, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf
) -> Response:
    """What the button says: show what a version would do, or make its terms the next version."""
    is_saving = text_in(form, "do") == "save"
    asked = asked_in(form, to_save=is_saving)
    faults = asked.faults
    if is_saving and not faults:
        faults = _brought_back(shop, account.name, number, asked)
        if not faults:
            return see_other(f"/console/policy?said={'waits' if asked.from_day else 'saved'}")
    with shop.reading(account.name) as work:
        page = _page(work, number, asked.days, asked.from_day, asked.typed, faults)
        terms = work.catalogue.policy.shop
        status = 422 if page.faults and is_saving else 200  # What it would do was asked for, and is answered.
        return pages.show(request, "console/policy_version.html", page, terms, block="version_part", status=status)


def _brought_back(shop: Shop, actor: str, number: int, asked: Asked) -> tuple[Fault, ...]:
    try:
        with shop.writing(actor) as work:
            change_policy(work, terms_of(work, number), asked.from_day, asked.note, asked.shown)
    except (InvalidInput, Conflict) as error:
        return error.faults
    return ()


@owner_router.post("/console/policy/versions/{number}/drop")
def drop(number: VersionNumber, account: OwnerOf, shop: ShopOf) -> Response:
    """Take a version back before its day."""
    with shop.writing(account.name) as work:
        drop_policy(work, number)
    return see_other("/console/policy?said=dropped")


def _page(
    work: Work, number: int, days: int, from_day: date | None, typed: Mapping[str, str], faults: tuple[Fault, ...]
) -> VersionPage:
    policy = work.catalogue.policy
    terms: Mapping[str, Any] = terms_of(work, number)
    current = terms_of(work, policy.version)
    changes = changes_shown(current, terms, policy.shop)
    draft, wrong = draft_of(work, terms)
    version = next(one for one in versions_shown(work) if one.version == number)
    return VersionPage(
        version=version,
        shown=policy.version,
        changes=changes,
        effect=effect_shown(work, current, terms, draft, days, from_day) if draft and changes else None,
        days=days or USUAL_SPAN,
        typed=typed,
        faults=(*faults, *wrong),
    )
