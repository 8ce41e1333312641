"""The steps of the catalogue in the console: who changed what when, field by field, and undoing the newest one that stands."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.catalogue_changes import FieldChange
from server.domain.errors import Conflict, Fault
from server.domain.policy import ShopTerms
from server.domain.steps import Step, next_to_undo
from server.usecases.step_changes import Other, StepChanges, step_changes
from server.usecases.steps import list_steps, undo_step
from server.usecases.work import Work
from server.web.pages.calls import RowNumber
from server.web.pages.desk import when_words
from server.web.pages.part_changes import ChangesShown, changes_shown, field_words
from server.web.render import Pages, see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

KIND_WORDS = {
    "load": "loaded by the command",
    "import": "brought in from files",
    "edit": "changed by hand",
    "bulk": "several changed at once",
    "retire": "retired",
    "undo": "undone",
}


@dataclass(frozen=True)
class StepRow:
    """A step in the list."""

    number: int
    when: str
    kind: str
    about: str
    by: str
    undone: str
    is_next: bool


@dataclass(frozen=True)
class StepsPage:
    """The steps, newest first."""

    steps: tuple[StepRow, ...]


@dataclass(frozen=True)
class StepPage:
    """One step with all that it changed."""

    step: StepRow
    undoes: int | None
    changes: ChangesShown
    hindrances: tuple[str, ...]
    faults: tuple[Fault, ...] = ()


@owner_router.get("/console/steps")
def show_steps(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """All steps, newest first."""
    with shop.reading(account.name) as work:
        steps = list_steps(work)
        newest = next_to_undo(steps)
        rows = tuple(_row(step, work, is_next=step == newest) for step in steps)
        return pages.show(request, "console/steps.html", StepsPage(rows), work.catalogue.policy.shop)


def _row(step: Step, work: Work, *, is_next: bool) -> StepRow:
    terms: ShopTerms = work.catalogue.policy.shop
    undone = "" if step.undone_at is None else f"{when_words(step.undone_at, work.now, terms)} by {step.undone_by}"
    return StepRow(
        number=step.version,
        when=when_words(step.at, work.now, terms),
        kind=KIND_WORDS.get(step.kind, step.kind),
        about=step.about,
        by=step.by,
        undone=undone,
        is_next=is_next,
    )


@owner_router.get("/console/steps/{number}")
def show_step(request: Request, number: RowNumber, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What one step changed."""
    with shop.reading(account.name) as work:
        return _shown(request, work, pages, "console/step.html", step_changes(work, number))


@owner_router.get("/console/steps/{number}/undo")
def ask_to_undo(request: Request, number: RowNumber, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What undoing a step would bring back, and what not."""
    with shop.reading(account.name) as work:
        return _shown(request, work, pages, "console/step_undo.html", step_changes(work, number, undoing=True))


def _shown(
    request: Request,
    work: Work,
    pages: Pages,
    template: str,
    found: StepChanges,
    faults: tuple[Fault, ...] = (),
) -> Response:
    page = StepPage(
        step=_row(found.step, work, is_next=found.is_next),
        undoes=found.step.undoes,
        changes=changes_shown(found.parts, ((one.word, _words(one)) for one in found.others)),
        hindrances=found.hindrances,
        faults=faults,
    )
    return pages.show(request, template, page, work.catalogue.policy.shop, status=409 if faults else 200)


def _words(one: Other) -> str:
    """A change beside parts in a line."""
    if one.is_new or one.is_gone:
        return f"{'new' if one.is_new else 'gone'}: {one.name}"
    words = map(_price_words if one.word == "price history" else field_words, one.fields)
    return (f"{one.name}: " if one.name else "") + ", ".join(words)


def _price_words(field: FieldChange) -> str:
    """What a day of the price history says: €1,029.00 from 28 November 2026."""
    if field.after is None:
        return f"no longer {field.before} {field.name}"
    return f"{field.after}{f' instead of {field.before}' if field.before else ''} {field.name}"


@owner_router.post("/console/steps/{number}/undo")
def undo(request: Request, number: RowNumber, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Undo the newest step that stands; one that was undone already is only shown."""
    try:
        with shop.writing(account.name) as work:
            undone_by = undo_step(work, number)
    except Conflict as error:
        with shop.reading(account.name) as work:
            found = step_changes(work, number, undoing=True)
            if found.step.undone_at is not None:
                return see_other(f"/console/steps/{number}")
            return _shown(request, work, pages, "console/step_undo.html", found, error.faults)
    return see_other(f"/console/steps/{undone_by}")
