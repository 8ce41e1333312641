"""Import and export in the console: the catalogue as a workbook or files, and what an upload would change before it does."""

from __future__ import annotations

import hashlib
from collections.abc import AsyncIterator, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Depends
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from server.domain.catalogue_changes import PartChange, lowest_price
from server.domain.errors import Conflict, Fault, FileFault, InvalidInput, NotFound
from server.domain.reductions import called_words, moved_words
from server.usecases.imports import (
    ARCHIVE,
    EXPORTS,
    MOVED,
    WORKBOOK,
    Choices,
    Judged,
    Plan,
    apply_import,
    export,
    plan_import,
)
from server.usecases.step_changes import StepChanges, step_changes
from server.usecases.uploads import MOST_BYTES, Upload, open_upload, packed, unpacked
from server.usecases.work import Shop, Work
from server.web.pages.forms import FaultyForm, refuse_charset, text_in
from server.web.pages.part_changes import ChangesShown, changes_shown
from server.web.render import Pages, day_words, money_words, see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

MOST_FILES = 30
MOST_CARRIED = 24 * 1024 * 1024
FIRST_FAULTS = 100
MOST_FAULTS = 1000
"""So many faults stand on the page; of the others it says how many there are."""
MOST_NAMED = 10
NO_FILE = Fault("files", "No file was chosen.", "a workbook, a ZIP, or files of the catalogue")
OTHER_CHOICES = "This is shown anew with what you chose: look at it, then bring it in."
TOO_MUCH = "This is too much to be brought in at once: bring in a part of it at a time."
TYPES = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "zip": "application/zip",
    "csv": "text/csv; charset=utf-8",
    "toml": "application/toml",
}


async def _form_with_catalogue(request: Request) -> AsyncIterator[FormData]:
    """A form with files of a catalogue in it, or with what was looked at of them, carried on."""
    refuse_charset(request)
    async with request.form(max_files=MOST_FILES, max_fields=20, max_part_size=MOST_CARRIED) as form:
        yield form


CatalogueForm = Annotated[FormData, Depends(_form_with_catalogue)]


@dataclass(frozen=True)
class FilesPage(FaultyForm):
    """Where files go out and come in."""

    files: tuple[str, ...]
    workbook: str
    archive: str
    choices: Choices
    faults: tuple[Fault, ...] = ()
    done: Done | None = None


@dataclass(frozen=True, slots=True)
class Done:
    """What was brought in just now: the step that it is, in words, and whether it can be undone as it stands."""

    step: int
    words: str
    can_be_undone: bool


@dataclass(frozen=True)
class CountRow:
    """What a count of the shelf would book."""

    sku: str
    name: str
    pieces: int
    found: int


@dataclass(frozen=True)
class MarkdownRow:
    """A markdown that is new: where it stands, and what may be said of it."""

    sku: str
    where: str
    moved: str
    called: str


@dataclass(frozen=True)
class ImportPage(FaultyForm):
    """What an upload would change, or why it cannot be brought in."""

    names: str
    first_faults: tuple[FileFault, ...]
    other_faults: tuple[FileFault, ...]
    number_of_faults: int
    warnings: tuple[FileFault, ...]
    left: str
    changes: ChangesShown
    prices: str
    slips: tuple[str, ...]
    """Prices that may be slips: under cost, or far from what they were."""
    markdowns: tuple[MarkdownRow, ...]
    counts: tuple[CountRow, ...]
    choices: Choices
    is_nothing: bool
    content: str
    shown: str
    said: str
    faults: tuple[Fault, ...] = ()

    @property
    def faults_left_out(self) -> int:
        """How many faults are not on the page."""
        return self.number_of_faults - len(self.first_faults) - len(self.other_faults)


@owner_router.get("/console/files")
def show_files(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, done: str = "") -> Response:
    """Where files go out and come in; after an import, what it brought in."""
    with shop.reading(account.name) as work:
        return _files(request, work, pages, Choices(), (), _done(work, done))


def _files(
    request: Request,
    work: Work,
    pages: Pages,
    choices: Choices,
    faults: tuple[Fault, ...],
    done: Done | None = None,
) -> Response:
    names = tuple(name for name in EXPORTS if "catalogue" not in name)
    page = FilesPage(names, WORKBOOK, ARCHIVE, choices, faults, done)
    status = 422 if faults else 200
    return pages.show(request, "console/files.html", page, work.catalogue.policy.shop, status=status)


def _done(work: Work, number: str) -> Done | None:
    """What an import brought in, by the number of its step; nothing for what was no import, or is undone."""
    if not (number.isascii() and number.isdigit() and len(number) < 9):
        return None
    try:
        found = step_changes(work, int(number))
    except NotFound:
        return None
    if found.step.kind != "import" or found.step.undone_at is not None:
        return None
    return Done(found.step.version, _brought_in(found), found.is_next and not found.hindrances)


def _brought_in(found: StepChanges) -> str:
    parts = found.parts
    prices = sum(one.before.price != one.after.price for one in parts.changed)
    counts = {
        "price changed": prices,
        "part changed otherwise": len(parts.changed) - prices,
        "new part": len(parts.new),
        "part back": len(parts.back),
        "part retired": len(parts.retired),
        "other change": sum(one.word != "price history" for one in found.others),
    }
    said = [f"{number:,} {_many(words) if number > 1 else words}" for words, number in counts.items() if number]
    return ", ".join(said) or found.step.about


def _many(words: str) -> str:
    noun = next(noun for noun in ("price", "part", "change") if noun in words.split())
    return words.replace(noun, noun + "s", 1)


@owner_router.get("/console/files/export")
def export_file(account: OwnerOf, shop: ShopOf, name: str = WORKBOOK) -> Response:
    """The catalogue in force as one file."""
    with shop.reading(account.name) as work:
        content = export(work, name)
    if content is None:
        raise NotFound("name", "There is no such file of the catalogue.")
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=TYPES[name.rpartition(".")[2]], headers=headers)


def _uploaded(form: FormData) -> Upload:
    """What a form brought: files that were chosen, else what an earlier page carried on; raises `InvalidInput`."""
    chosen = [file for file in form.getlist("files") if isinstance(file, UploadFile) and (file.filename or file.size)]
    if chosen:
        return open_upload((file.filename or "", file.file.read(MOST_BYTES + 1)) for file in chosen)
    carried = text_in(form, "content")
    if not carried:
        raise InvalidInput([NO_FILE])
    return unpacked(carried)


def _choices(form: FormData) -> Choices:
    return Choices("retire" if text_in(form, "rest") == "retire" else "stay", text_in(form, "books_counts") == "yes")


@owner_router.post("/console/files/preview")
def preview_upload(request: Request, form: CatalogueForm, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What an upload would change; nothing is changed."""
    choices = _choices(form)
    with shop.reading(account.name) as work:
        try:
            plan = plan_import(work, _uploaded(form), choices)
        except InvalidInput as error:
            return _files(request, work, pages, choices, _at_files(error))
        return _import(request, work, pages, plan, 422 if plan.faults else 200)


def _at_files(error: InvalidInput) -> tuple[Fault, ...]:
    """The faults of an upload beside the field where it is chosen."""
    return tuple(Fault("files", fault.message, fault.accepted) for fault in error.faults)


@owner_router.post("/console/files/apply")
def bring_in(request: Request, form: CatalogueForm, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Bring in what was looked at, if it still is what was shown; else it is shown anew."""
    choices = _choices(form)
    with shop.reading(account.name) as work:
        try:
            plan = plan_import(work, _uploaded(form), choices)
        except InvalidInput as error:
            return _files(request, work, pages, choices, _at_files(error))
        if plan.faults:
            return _import(request, work, pages, plan, 422)
        shown = text_in(form, "shown")
        if plan.is_nothing or shown != _stamp(plan):
            is_same_state = shown.startswith(_state(plan))
            return _import(request, work, pages, plan, 409, OTHER_CHOICES if is_same_state else MOVED)
    return _applied(request, shop, pages, plan, account.name)


def _applied(request: Request, shop: Shop, pages: Pages, plan: Plan, actor: str) -> Response:
    """Bring a plan in; where something moved since it was made, show what it would change now."""
    try:
        with shop.writing(actor) as work:
            version = apply_import(work, plan)
    except Conflict:
        with shop.reading(actor) as work:
            again = plan_import(work, plan.upload, plan.choices)
            return _import(request, work, pages, again, 409, MOVED)
    return see_other(f"/console/files?done={version}")


def _state(plan: Plan) -> str:
    """The catalogue and the policy that a plan was held against, and what was uploaded."""
    digest = hashlib.sha256(packed(plan.upload).encode()).hexdigest()[:16]
    return f"{plan.versions[0]}-{plan.versions[1]}-{digest}-"


def _stamp(plan: Plan) -> str:
    """All that a preview hangs on."""
    return f"{_state(plan)}{plan.choices.rest}-{'counts' if plan.choices.books_counts else 'none'}"


def _import(request: Request, work: Work, pages: Pages, plan: Plan, status: int, said: str = "") -> Response:
    content = "" if plan.faults else packed(plan.upload)
    is_too_much = len(content) > MOST_CARRIED
    others = (line.partition(": ") for line in plan.changes.others)
    parts, counts = plan.folder.parts, plan.counts
    page = ImportPage(
        names=", ".join(plan.upload.names) or "What was uploaded",
        first_faults=plan.faults[:FIRST_FAULTS],
        other_faults=plan.faults[FIRST_FAULTS:MOST_FAULTS],
        number_of_faults=len(plan.faults),
        warnings=plan.warnings[:MOST_FAULTS],
        left=", ".join(plan.left),
        changes=changes_shown(plan.parts, ((word, line.replace(" -> ", " → ")) for word, _, line in others)),
        prices=_price_words(work, plan),
        slips=tuple(_slips(work, plan)),
        markdowns=tuple(_markdown(work, plan, one) for one in plan.judged),
        counts=tuple(
            CountRow(one.sku, parts[one.sku].name, one.change, plan.folder.on_hand[one.sku]) for one in counts
        ),
        choices=plan.choices,
        is_nothing=plan.is_nothing,
        content="" if is_too_much else content,
        shown=_stamp(plan),
        said=TOO_MUCH if is_too_much else said,
    )
    return pages.show(request, "console/import.html", page, work.catalogue.policy.shop, status=status)


def _markdown(work: Work, plan: Plan, one: Judged) -> MarkdownRow:
    terms = work.catalogue.policy.shop
    words = (lambda cents: money_words(cents, terms)), (lambda day: day_words(day, terms))
    where = f"{plan.upload.source.place(one.file)}, row {one.row}"
    return MarkdownRow(one.part.sku, where, moved_words(one.verdict, *words), called_words(one.verdict, *words))


def _slips(work: Work, plan: Plan) -> Iterator[str]:
    """Parts by name that would be sold for less than they cost, and prices that fall or rise by more than half."""
    terms = work.catalogue.policy.shop
    under = plan.parts.under_cost(terms.vat_percent)
    if under:
        named = [
            f"{one.sku} ({money_words(lowest_price(one), terms)}, cost {money_words(one.cost, terms)})" for one in under
        ]
        they = (
            "1 part would sell for less than it costs"
            if len(under) == 1
            else (f"{len(under)} parts would sell for less than they cost")
        )
        yield f"{they}, VAT taken out: {_listed(named)}."
    far = plan.parts.far
    if far:
        they = "1 price falls or rises" if len(far) == 1 else f"{len(far)} prices fall or rise"
        yield f"{they} by more than half: {_listed([_moved(work, one) for one in far])}."


def _listed(named: Sequence[str]) -> str:
    left = len(named) - MOST_NAMED
    return ", ".join(named[:MOST_NAMED]) + (f" and {left} more" if left > 0 else "")


def _moved(work: Work, one: PartChange) -> str:
    terms = work.catalogue.policy.shop
    prices = f"{one.after.sku} from {money_words(one.before.price, terms)} to {money_words(one.after.price, terms)}"
    return f"{prices} ({100 * (one.price_ratio - 1):+.0f} %)"


def _price_words(work: Work, plan: Plan) -> str:
    """How many prices go up and down and which go farthest, so that a slip of the keyboard shows first."""
    moved = sorted(
        (one for one in (*plan.parts.changed, *plan.parts.back) if one.after.price != one.before.price),
        key=lambda one: one.price_ratio,
    )
    if not moved:
        return ""
    ends: Iterable[int] = (0,) if len(moved) == 1 else (0, -1)
    farthest = [_moved(work, moved[end]) for end in ends]
    up = sum(one.price_ratio > 1 for one in moved)
    return f"{up} up, {len(moved) - up} down. The farthest: {' and '.join(farthest)}. They begin today."
