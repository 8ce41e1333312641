"""The first page, and the five steps in which a learner answers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.catalogue import Catalogue
from server.domain.drafts import STEP_FIELDS, STEPS, Draft, Link, step_of
from server.domain.errors import Fault, InvalidInput, NotFound
from server.domain.fit import Target
from server.domain.kits import Kit
from server.domain.learner import REQUIRED, read_some
from server.domain.slots import CORE_SLOTS
from server.usecases.fit import fitter_for, paid_lessons
from server.usecases.learner import read_draft, save_answers, start_draft
from server.usecases.work import Shop, Work
from server.web.pages.asked import AskingPage, mounts_of, tracks_of
from server.web.pages.forms import Form, StepRead, Typed, filled_step, keep_rows, read_step, text_in, trade_rows
from server.web.pages.words import UNIT_WORDS
from server.web.render import Pages, is_fragment_asked, see_other
from server.web.state import PagesOf, SettingsOf, ShopOf
from server.web.units import CHOICES, Units, remember, remembered, rounded_in, size_in, units_of

router = APIRouter(include_in_schema=False)

STEP_WORDS = {
    "you": "You",
    "flying": "Flying so far",
    "where": "Where you ride",
    "gear": "Gear you have",
    "extras": "Extras and lessons",
}


@dataclass(frozen=True)
class HomePage:
    """The first page."""

    in_stock: int


@dataclass(frozen=True)
class PanelRow:
    """A slot in the panel: the size in the kit (what is asked for, where there is no kit), and words about it."""

    slot: str
    size: str
    words: str


@dataclass(frozen=True)
class Panel:
    """The kit so far, beside the questions."""

    missing: int
    faults: int
    rows: tuple[PanelRow, ...] = ()
    balance: int | None = None
    words: str = ""


@dataclass(frozen=True, kw_only=True)
class StepPage(AskingPage):
    """One step: its fields as typed, what is wrong beside them, what can be chosen, and the kit so far."""

    token: str
    step: str
    title: str
    place: int
    steps: tuple[tuple[str, str, bool], ...]
    back: str | None
    panel: Panel
    link: Link | None


@router.get("/")
def home(request: Request, shop: ShopOf, pages: PagesOf) -> Response:
    """What this is, and the way in."""
    with shop.reading() as work:
        shelf = work.shelf
    page = HomePage(sum(len(shelf.free_in(slot)) for slot in CORE_SLOTS))
    return pages.show(request, "home.html", page, shelf.catalogue.policy.shop)


@router.post("/drafts")
def start(shop: ShopOf) -> Response:
    """Begin: a draft of one's own."""
    with shop.writing() as work:
        draft = start_draft(work)
    return see_other(f"/drafts/{draft.token}/you")


def _known(step: str) -> str:
    if step not in STEPS:
        raise NotFound("step", "There is no such step.")
    return step


@router.get("/drafts/{token}")
def resume(token: str) -> Response:
    """A draft's address by itself leads to its first step."""
    return see_other(f"/drafts/{token}/you")


@router.get("/drafts/{token}/{step}")
def show_step(request: Request, token: str, step: str, shop: ShopOf, pages: PagesOf) -> Response:
    """A step with what was answered before."""
    _known(step)
    with shop.reading() as work:
        draft = read_draft(work, token)
        chosen = remembered(request)
        read = filled_step(step, draft.answers, chosen.mass if chosen else draft.mass_unit)
        faults = read.at_inputs(_faults(work, step, read.answers, is_done=False))
        page = _page(work, draft, step, read.typed, tuple(faults), units_of(request))
    return pages.show(request, "learner/step.html", page, page.catalogue.policy.shop)


@router.post("/drafts/{token}/{step}")
def answer_step(
    request: Request, token: str, step: str, form: Form, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """Keep what can be read and go on; what cannot is shown again with what would be accepted.

    As a change inside the form (htmx) it answers with the panel of the kit so far. The unit that a mass is given in is
    remembered with the other units.
    """
    _known(step)
    read = read_step(step, form)
    answer = _answered(request, token, step, read, text_in(form, "go"), shop, pages)
    units, chosen = units_of(request), text_in(form, "mass_unit")
    if chosen in CHOICES["mass"] and chosen != units.mass:
        remember(answer, replace(units, mass=chosen), is_secure=settings.address.startswith("https://"))
    return answer


def _answered(request: Request, token: str, step: str, read: StepRead, go: str, shop: Shop, pages: Pages) -> Response:
    with shop.writing() as work:
        catalogue = work.catalogue
        faults = read.at_inputs(_faults(work, step, read.answers, is_done=go in ("next", "kit")))
        is_on_the_way = is_fragment_asked(request)
        answers = _readable(read.answers, catalogue)
        draft = save_answers(work, token, _given(answers) if is_on_the_way else answers, read.mass_unit)
    if not (is_on_the_way or faults) and go in ("next", "kit"):
        return see_other(f"/drafts/{token}/{_after(step, draft, go)}")
    with shop.reading() as work:  # Choosing and showing keep no writer waiting.
        page = _page(work, draft, step, read.typed, tuple(faults), units_of(request))
        terms = work.catalogue.policy.shop
    if is_on_the_way:
        return pages.show(request, "learner/step.html", page, terms, block="panel")
    return pages.show(request, "learner/step.html", page, terms, status=422 if faults else 200)


def _after(step: str, draft: Draft, go: str) -> str:
    if go == "next" and step != STEPS[-1]:
        return STEPS[STEPS.index(step) + 1]
    missing = [name for name in REQUIRED if name not in draft.answers]
    return step_of(missing[0]) if missing else "kit"


def _required_of(step: str) -> tuple[str, ...]:
    return tuple(name for name in REQUIRED if name in STEP_FIELDS[step])


def _readable(answers: Mapping[str, Any], catalogue: Catalogue) -> dict[str, Any]:
    """The answers that can be read, as they are; one that cannot keeps what the draft had."""
    _, faults = read_some(answers, catalogue)
    wrong = {fault.field.split("[")[0].split(".")[0] for fault in faults}
    return {name: value for name, value in answers.items() if name not in wrong}


def _given(answers: Mapping[str, Any]) -> dict[str, Any]:
    """Answers without those needed for a kit that are blank.

    A form on its way may be done after the whole one that was sent later, and must not take its answers back.
    """
    return {name: value for name, value in answers.items() if value is not None or name not in REQUIRED}


def _faults(work: Work, step: str, answers: Mapping[str, Any], *, is_done: bool) -> list[Fault]:
    """What cannot be read; once the step is done with, also what is missing."""
    _, faults = read_some(answers, work.catalogue)
    _, unknown = paid_lessons(work, answers.get("deposit_codes"))
    faults += unknown
    for name in _required_of(step) if is_done else ():
        if answers.get(name) is None:
            faults.append(
                Fault(name, "This answer is needed for a kit.", "one of the choices below" if name != "mass_kg" else "")
            )
    return faults


def _page(work: Work, draft: Draft, step: str, typed: Typed, faults: tuple[Fault, ...], units: Units) -> StepPage:
    catalogue = work.catalogue
    place = STEPS.index(step)
    return StepPage(
        token=draft.token,
        step=step,
        title=STEP_WORDS[step],
        place=place + 1,
        steps=tuple((name, STEP_WORDS[name], _is_answered(name, draft)) for name in STEPS),
        back=STEPS[place - 1] if place else None,
        typed=typed,
        faults=faults,
        panel=_panel(work, draft, len(faults), units),
        link=draft.link,
        catalogue=catalogue,
        keeps=tuple(keep_rows()),
        trades=tuple(trade_rows(typed)),
        tracks=tracks_of(catalogue),
        mounts=mounts_of(catalogue),
    )


def _is_answered(step: str, draft: Draft) -> bool:
    required = _required_of(step)
    return bool(required) and all(name in draft.answers for name in required)


def _panel(work: Work, draft: Draft, faults: int, units: Units) -> Panel:
    missing = sum(name not in draft.answers for name in REQUIRED)
    if missing:
        return Panel(missing, faults)
    try:
        fitter = fitter_for(work, draft.answers, draft.revises, draft.agreed)
    except InvalidInput as error:
        return Panel(0, len(error.faults), words="One of the answers no longer holds: look through the steps again.")
    kit = fitter.recommended()
    targets = fitter.fitting.sizing.targets
    rows = tuple(_panel_row(kit, slot, target, units) for slot, target in targets.items())
    if kit is None:
        return Panel(
            0, faults, rows, words="Nothing in stock suits all of this. We show the nearest: talk to us first."
        )
    return Panel(0, faults, rows, kit.price.balance)


def _panel_row(kit: Kit | None, slot: str, target: Target, units: Units) -> PanelRow:
    unit = units.length if target.unit == "cm" else UNIT_WORDS[target.unit]
    asked = f"{rounded_in(target.ideal, target.unit, units)} {unit}"
    if kit is None:
        return PanelRow(slot, asked, "asked for")
    name = "your own" if slot in kit.kept else kit.bought[slot].name
    return PanelRow(slot, size_in(kit.gear_in(slot), units), f"{name}; asked for {asked}")
