"""A person's data: what is kept of whoever has an address or a number, to be given to them or erased at their wish."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.people import SORT_OF, Kept, read_sought
from server.domain.stock import Contact
from server.usecases.people import erase_person, export_person, find_kept, last_erased
from server.usecases.work import Work
from server.web.pages.desk import when_words
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.render import Pages, see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

LABELS = {"email": "E-mail address", "phone": "Telephone number", "sure": "Erase"}
SURE = Fault("sure", "Say that you have looked at this and that it is what they wish.", "the box ticked")
WHERE = {
    "sale": "/desk/sales/{id}",
    "quote": "/desk/quotes/{code}",
    "reservation": "/desk/reservations/{id}",
    "question": "/desk/questions/{id}",
}
TOLD = {
    "sale": "code",
    "quote": "code",
    "booking": "code",
    "message": "subject",
    "question": "text",
    "promised_call": "about",
    "sale_item": "label",
    "worksheet": "note",
    "paid_lesson": "code",
}
MOST_TOLD = 5


@dataclass(frozen=True, slots=True)
class SortShown:
    """How much there is of one sort, the newest of it, and what erasing does to it."""

    words: str
    becomes: str
    newest: tuple[tuple[str, str, str], ...]
    """When, what and its page, where there is one."""
    is_more: bool


@dataclass(frozen=True)
class PeoplePage(TypedForm):
    """The field to look by, and what was found."""

    typed: Mapping[str, str]
    kept: Kept | None = None
    sorts: tuple[SortShown, ...] = ()
    others: tuple[tuple[str, Mapping[str, str]], ...] = ()
    """Other addresses and numbers of the same things, each with what is typed to look for it as well."""
    years: int = 0
    said: str = ""
    faults: tuple[Fault, ...] = ()

    def label(self, name: str) -> str:
        """What a field is called."""
        return LABELS.get(name, "")


@owner_router.get("/console/people")
def ask(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, said: str = "") -> Response:
    """The fields to look by, and what was erased just now."""
    with shop.reading(account.name) as work:
        done = last_erased(work) if said == "erased" else ""
        return _shown(request, pages, work, PeoplePage(_typed("", ""), said=done))


@owner_router.post("/console/people")
def look(request: Request, form: Form, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What is kept of a person, whose address and number stand in no address of a page; the fields alone, where nobody is asked for."""
    typed = _typed(text_in(form, "email"), text_in(form, "phone"))
    with shop.reading(account.name) as work:
        if not any(typed.values()):
            return _shown(request, pages, work, PeoplePage(typed))
        try:
            page = _found(work, read_sought(**typed), typed)
        except InvalidInput as error:
            return _shown(request, pages, work, PeoplePage(typed, faults=error.faults), 422)
        return _shown(request, pages, work, page)


@owner_router.get("/console/people/data.zip")
@owner_router.get("/console/people/erase")
def back_to_asking() -> Response:
    """Where somebody asks anew for the answer to a form."""
    return see_other("/console/people")


@owner_router.post("/console/people/data.zip")
def export(form: Form, account: OwnerOf, shop: ShopOf) -> Response:
    """All of it as one file to give to the person."""
    with shop.writing(account.name) as work:
        made = export_person(work, read_sought(**_typed(text_in(form, "email"), text_in(form, "phone"))))
    headers = {"Content-Disposition": f'attachment; filename="{made.name}"', "Cache-Control": "no-store"}
    return Response(made.content, media_type="application/zip", headers=headers)


@owner_router.post("/console/people/erase")
def erase(request: Request, form: Form, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Erase what was shown, once the box is ticked."""
    typed = _typed(text_in(form, "email"), text_in(form, "phone"))
    status = 422
    faults: tuple[Fault, ...] = (SURE,)
    try:
        contact = read_sought(**typed)
        if text_in(form, "sure"):
            with shop.writing(account.name) as work:
                erase_person(work, contact, text_in(form, "digest"))
            return see_other("/console/people?said=erased")
    except NotFound as error:
        status, faults = 404, (Fault("email", str(error)),)
    except (InvalidInput, Conflict) as error:
        status, faults = (422 if isinstance(error, InvalidInput) else 409), error.faults
    with shop.reading(account.name) as work:
        try:
            page = _found(work, read_sought(**typed), typed, faults)
        except InvalidInput:
            page = PeoplePage(typed, faults=faults)
        return _shown(request, pages, work, page, status)


def _typed(email: str, phone: str) -> dict[str, str]:
    return {"email": _plain(email), "phone": _plain(phone)}


def _plain(text: str) -> str:
    return text.strip()[:200] if text.isprintable() else "?"


def _shown(request: Request, pages: Pages, work: Work, page: PeoplePage, status: int = 200) -> Response:
    """The page; what it shows is kept nowhere on the way."""
    answer = pages.show(request, "console/people.html", page, work.catalogue.policy.shop, status=status)
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _found(work: Work, contact: Contact, typed: Mapping[str, str], faults: tuple[Fault, ...] = ()) -> PeoplePage:
    kept = find_kept(work, contact)
    return PeoplePage(
        typed,
        kept,
        sorts=tuple(_sort(work, kept, name) for name in kept.counts),
        others=tuple(_others(kept, typed)),
        years=work.catalogue.policy.sales.kept_years,
        faults=faults,
    )


def _others(kept: Kept, typed: Mapping[str, str]) -> list[tuple[str, Mapping[str, str]]]:
    """Ways to reach them that were not asked for; the one that takes a field's place says so by leading there with the other kept."""
    contact = kept.contact
    emails = [one for one in kept.emails if one.casefold() != contact.email_key]
    phones = [one for one in kept.phones if Contact("", "", one).phone_key != contact.phone_key]
    named = [("email", one) for one in emails] + [("phone", one) for one in phones]
    return [(one, {**typed, name: one}) for name, one in named]


def _sort(work: Work, kept: Kept, name: str) -> SortShown:
    rows, sort = kept.rows[name], SORT_OF[name]
    newest = tuple(_row(work, name, row) for row in list(reversed(rows))[:MOST_TOLD] if name in TOLD)
    return SortShown(sort.counted(len(rows)), sort.becomes, newest, len(rows) > MOST_TOLD and name in TOLD)


def _row(work: Work, name: str, row: Mapping[str, Any]) -> tuple[str, str, str]:
    moment = next((value for value in row.values() if isinstance(value, datetime)), None)
    at = when_words(moment, work.now, work.catalogue.policy.shop) if moment else ""
    address = WHERE.get(name, "")
    return at, str(row.get(TOLD[name]) or "–")[:80], address.format(**row) if address else ""
