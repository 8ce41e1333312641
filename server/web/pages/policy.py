"""The owner's policy, page by page: each change with what it would do before it is saved, as a new version with its day."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from fastapi import APIRouter
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.policy import Policy, policy_from
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from server.usecases.policies import Waiting, change_policy, check_terms, terms_of, versions_to_come
from server.usecases.repricing import SPANS
from server.usecases.work import Shop, Work
from server.web.drawings.colours import Sample
from server.web.pages.forms import FaultyForm, Form, text_in
from server.web.pages.policy_effect import CurveShown, EffectShown, curve_shown, effect_shown
from server.web.pages.policy_fields import BY_NAME, PAGES, PolicyPage, field_of, page_of
from server.web.pages.policy_form import (
    BLANK_ROWS,
    MOST_ROWS,
    MOST_TIERS,
    PageRead,
    Typed,
    filled,
    placed,
    read_page,
)
from server.web.pages.policy_sample import samples_of
from server.web.pages.policy_words import ChangeShown, changes_shown
from server.web.render import day_words, see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

USUAL_SPAN = 90
LONGEST_NOTE = 300
NO_PAGE = "There is no such page of the policy."
NOTHING_CHANGED = "Nothing on this page is changed yet."
DAY_ACCEPTED = "a day such as 1 January 2027, written 2027-01-01; today or in the next two years"
FORM_WORDS = {"from_day": "From this day", "note": "Why", "shown": "The policy", "when": "When"}


@dataclass(frozen=True, slots=True)
class WaitingShown:
    """A version to come: what it says otherwise on this page, and what of the draft it would undo on its day."""

    version: int
    day: str
    here: tuple[ChangeShown, ...]
    undoes: tuple[ChangeShown, ...]


@dataclass(frozen=True)
class PolicyForm(FaultyForm):
    """A page of the policy as typed, with what it would do; `shown` is the version whose terms it changes."""

    sheet: PolicyPage
    typed: Typed
    shown: int
    days: int
    faults: tuple[Fault, ...] = ()
    changes: tuple[ChangeShown, ...] = ()
    effect: EffectShown | None = None
    curve: CurveShown | None = None
    waiting: tuple[WaitingShown, ...] = ()
    samples: tuple[Sample, ...] = ()
    lesson_kinds: tuple[tuple[str, str], ...] = ()
    zones: tuple[str, ...] = ()
    spans: tuple[int, ...] = SPANS
    sheets: tuple[PolicyPage, ...] = PAGES
    slots: tuple[str, ...] = CORE_SLOTS
    extra_slots: tuple[str, ...] = EXTRA_SLOTS
    name_of: Any = field(default=field_of)

    def value(self, name: str) -> str:
        """A field as typed."""
        said = self.typed.get(name, "")
        return said if isinstance(said, str) else ""

    def ticked(self, name: str, value: str) -> bool:
        """Whether a box is ticked."""
        said = self.typed.get(name, ())
        return value in said if not isinstance(said, str) else value == said

    def words_of(self, name: str) -> str:
        """What a field is called in the list of faults."""
        if name.startswith("tiers-"):
            row = name.split("-")[1]
            return f"{self.value(f'tiers-{row}-name') or 'The new discount'}, {name.split('-', 2)[2].replace('_', ' ')}"
        term = next((term for term in self.sheet.terms if field_of(term.key) == name), None)
        return term.words if term else FORM_WORDS.get(name, "")

    @property
    def tier_rows(self) -> range:
        """The rows of kit discounts, with an empty one after them."""
        used = [row for row in range(1, MOST_TIERS + 1) if f"tiers-{row}-name" in self.typed]
        return range(1, min(max(used, default=0) + 1, MOST_TIERS) + 1)

    def pair_rows(self, name: str) -> range:
        """The rows of a table of pairs, with empty ones after them."""
        used = [row for row in range(1, MOST_ROWS + 1) if f"{name}-{row}-a" in self.typed]
        return range(1, min(max(used, default=0) + BLANK_ROWS, MOST_ROWS) + 1)


@dataclass(frozen=True, slots=True)
class Asked:
    """When a change is to hold and why, as typed."""

    from_day: date | None
    note: str
    shown: int
    days: int
    typed: Mapping[str, str]
    faults: tuple[Fault, ...]


def asked_in(form: FormData, *, to_save: bool) -> Asked:
    """What stands beside the terms in a form; a note is a courtesy, and may stay empty."""
    when, text = text_in(form, "when"), text_in(form, "from_day")
    note = " ".join(text_in(form, "note").split())
    faults: list[Fault] = []
    from_day = None
    if when == "day":
        from_day = _day(text)
        if from_day is None:
            faults.append(Fault("from_day", f"{text or 'Nothing'} is not a day.", DAY_ACCEPTED))
    elif text and to_save:
        faults.append(Fault("from_day", "A day is named, but it is to take effect at once.", "one or the other"))
    if to_save and len(note) > LONGEST_NOTE:
        faults.append(Fault("note", "That is too long.", f"up to {LONGEST_NOTE} characters"))
    shown_text, days = text_in(form, "shown"), text_in(form, "days")
    version = int(shown_text) if shown_text.isdecimal() and len(shown_text) < 10 else 0
    typed = {"when": when or "once", "from_day": text, "note": note, "days": days}
    return Asked(from_day, note, version, span_of(days), typed, tuple(faults))


def span_of(text: str) -> int:
    """Over how many days is looked back: one of those offered."""
    return next((days for days in SPANS if str(days) == text), USUAL_SPAN)


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text) if len(text) == len("2027-01-01") else None
    except ValueError:
        return None


def page_named(name: str) -> PolicyPage:
    """A page of the policy by its name; raises `NotFound`."""
    page = BY_NAME.get(name)
    if page is None:
        raise NotFound("name", NO_PAGE)
    return page


def draft_of(work: Work, terms: Mapping[str, Any]) -> tuple[Policy | None, tuple[Fault, ...]]:
    """The policy that terms make, or everything that is wrong with them."""
    try:
        return check_terms(work, terms), ()
    except InvalidInput as error:
        return None, error.faults


def waiting_shown(
    work: Work, sheet: PolicyPage, terms: Mapping[str, Any], current: Mapping[str, Any], from_day: date | None
) -> tuple[WaitingShown, ...]:
    """The versions to come: what each says otherwise on a page, and what it would undo of a draft that takes effect before it."""
    shop = work.catalogue.policy.shop
    changed = {one.key for one in changes_shown(current, terms, shop)}

    def waits(one: Waiting) -> WaitingShown:
        day = shop.day_of(one.version.starts_at)
        here = tuple(row for row in changes_shown(current, one.terms, shop) if page_of(row.key) is sheet)
        is_later = from_day is not None and from_day >= day
        undone = () if is_later else changes_shown(terms, one.terms, shop)
        undoes = tuple(row for row in undone if row.key in changed)
        return WaitingShown(one.version.version, day_words(day, shop), here, undoes)

    return tuple(waits(one) for one in versions_to_come(work))


@owner_router.get("/console/policy/pages/{name}")
def show_page(request: Request, name: str, account: OwnerOf, shop: ShopOf, pages: PagesOf, days: str = "") -> Response:
    """A page of the policy in force, to be changed."""
    sheet = page_named(name)
    with shop.reading(account.name) as work:
        current = terms_of(work, work.catalogue.policy.version)
        read = PageRead(current, {**filled(sheet, current), "when": "once"})
        context = _context(work, sheet, read, current, span_of(days), None, ())
        return pages.show(request, "console/policy_page.html", context, work.catalogue.policy.shop)


@owner_router.post("/console/policy/pages/{name}")
def change_page(request: Request, name: str, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """What the button says: show what the change would do, or make it a new version of the policy."""
    sheet = page_named(name)
    is_saving = text_in(form, "do") == "save"
    asked = asked_in(form, to_save=is_saving)
    with shop.reading(account.name) as work:
        current = terms_of(work, work.catalogue.policy.version)
        read = read_page(sheet, form, current)
        terms = work.catalogue.policy.shop
        is_same = not read.faults and not changes_shown(current, read.terms, terms)
    faults = (*read.faults, *asked.faults)
    if is_saving and is_same:
        faults = (*faults, Fault("shown", NOTHING_CHANGED, "another value than the one in force"))
    if is_saving and not faults:
        refused = _saved(shop, account.name, read.terms, asked)
        if not refused:
            return see_other(f"/console/policy?said={'waits' if asked.from_day else 'saved'}")
        faults = placed(refused, sheet, read)
    with shop.reading(account.name) as work:
        shown_again = replace(read, typed={**read.typed, **asked.typed})
        context = _context(work, sheet, shown_again, current, asked.days, asked.from_day, faults)
        status = 422 if context.faults and is_saving else 200  # What it would do was asked for, and is answered.
        return pages.show(request, "console/policy_page.html", context, terms, block="policy_part", status=status)


def _saved(shop: Shop, actor: str, terms: Mapping[str, Any], asked: Asked) -> tuple[Fault, ...]:
    """Make terms a new version; what stands against it, where something does."""
    try:
        with shop.writing(actor) as work:
            change_policy(work, terms, asked.from_day, asked.note, asked.shown)
    except (InvalidInput, Conflict) as error:
        return error.faults
    return ()


def _context(
    work: Work,
    sheet: PolicyPage,
    read: PageRead,
    current: Mapping[str, Any],
    days: int,
    from_day: date | None,
    faults: tuple[Fault, ...],
) -> PolicyForm:
    policy = work.catalogue.policy
    draft, wrong = draft_of(work, read.terms)
    known = {fault.field for fault in faults}
    faults = (*faults, *(fault for fault in placed(wrong, sheet, read) if fault.field not in known))
    changes = changes_shown(current, read.terms, policy.shop) if draft else ()
    has_curve = sheet.name == "old-gear" and draft is not None
    return PolicyForm(
        sheet=sheet,
        typed=read.typed,
        shown=policy.version,
        days=days,
        faults=faults,
        changes=changes,
        effect=effect_shown(work, current, read.terms, draft, days, from_day) if draft and changes else None,
        curve=curve_shown(work, policy_from(current).trade_in, draft.trade_in) if has_curve and draft else None,
        waiting=waiting_shown(work, sheet, read.terms, current, from_day),
        samples=samples_of(read.terms) if sheet.name == "look" else (),
        lesson_kinds=tuple((kind.kind, kind.title) for kind in work.catalogue.lessons.values()),
        zones=tuple(work.catalogue.zones),
    )
