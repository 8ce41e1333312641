"""Who did what: the record of deeds with a search that stands in the address, page by page, and as CSV."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput
from server.domain.lessons import read_day
from server.usecases.record import Record, Wanted, read_record, whole_record
from server.web.pages.forms import TypedForm
from server.web.pages.tables import table_to_save
from server.web.render import moment_words
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

FIELDS = ("who", "what", "whom", "from", "to")
LABELS = {"who": "Who", "what": "What", "whom": "Whom", "from": "From", "to": "To, included", "page": "Page"}
MOST_PAGES = 100_000
DAY_ACCEPTED = "a day such as 28 November 2026, written 2026-11-28"


@dataclass(frozen=True, slots=True)
class DeedShown:
    """A deed, in words."""

    at: str
    who: str
    what: str
    whom: str
    address: str


@dataclass(frozen=True)
class RecordPage(TypedForm):
    """The search as typed, and a page of what it found."""

    typed: Mapping[str, str]
    deeds: tuple[DeedShown, ...] = ()
    number: int = 0
    number_of_page: int = 1
    pages: int = 1
    query: str = ""
    newer: str = ""
    older: str = ""
    faults: tuple[Fault, ...] = ()

    @property
    def names_anybody(self) -> bool:
        """Whether a deed on this page was done to somebody else."""
        return any(one.whom and one.whom != one.who for one in self.deeds)

    @property
    def has_addresses(self) -> bool:
        """Whether it is known of a deed on this page from which address it was done."""
        return any(one.address for one in self.deeds)

    def label(self, name: str) -> str:
        """What a field is called."""
        return LABELS.get(name, "")


@owner_router.get("/console/record")
def look(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The newest deeds, or those that are looked for."""
    typed = _typed(request)
    with shop.reading(account.name) as work:
        terms = work.catalogue.policy.shop
        try:
            record = read_record(work, _wanted(typed), _page_asked(request))
        except InvalidInput as error:
            page = RecordPage(typed, faults=error.faults)
            return pages.show(request, "console/record.html", page, terms, status=422)
        deeds = tuple(
            DeedShown(moment_words(one.at, terms), one.who, one.what, one.whom, one.address) for one in record.deeds
        )
        return pages.show(request, "console/record.html", _shown(typed, deeds, record), terms)


@owner_router.get("/console/record/export.csv")
def export(request: Request, account: OwnerOf, shop: ShopOf) -> Response:
    """The same search, all of it, a row a deed."""
    with shop.reading(account.name) as work:
        deeds = whole_record(work, _wanted(_typed(request)))
        name = f"who-did-what-{work.today.isoformat()}.csv"
    moments = [one.at.astimezone(UTC).isoformat(timespec="seconds") for one in deeds]
    rows = [(at, one.who, one.what, one.whom, one.address) for at, one in zip(moments, deeds, strict=True)]
    return table_to_save(name, [("at_utc", "who", "what", "whom", "from"), *rows])


def _typed(request: Request) -> dict[str, str]:
    asked = request.query_params
    return {name: asked.get(name, "").strip()[:100] for name in FIELDS if asked.get(name, "").isprintable()}


def _wanted(typed: Mapping[str, str]) -> Wanted:
    """What is looked for; raises `InvalidInput` for what is no day, or for days the wrong way round."""
    days = {name: read_day(typed[name]) if typed.get(name) else None for name in ("from", "to")}
    faults = [
        Fault(name, "This is not a day.", DAY_ACCEPTED) for name in days if typed.get(name) and days[name] is None
    ]
    first, last = days["from"], days["to"]
    if first is not None and last is not None and last < first:
        faults.append(Fault("to", "This is before the first day.", "the same day or a later one"))
    if faults:
        raise InvalidInput(faults)
    return Wanted(typed.get("who", ""), typed.get("what", ""), typed.get("whom", ""), first, last)


def _page_asked(request: Request) -> int:
    text = request.query_params.get("page", "1")
    if not text.isascii() or not text.isdigit() or not 1 <= int(text[:7]) <= MOST_PAGES:
        raise InvalidInput([Fault("page", "There is no such page.", f"1 to {MOST_PAGES}")])
    return int(text[:7])


def _shown(typed: Mapping[str, str], deeds: tuple[DeedShown, ...], record: Record) -> RecordPage:
    asked = {name: value for name, value in typed.items() if value}

    def to_page(number: int) -> str:
        there = 1 <= number <= record.pages
        return f"/console/record?{urlencode({**asked, 'page': str(number)})}" if there else ""

    newer, older = to_page(record.page - 1), to_page(record.page + 1)
    return RecordPage(typed, deeds, record.number, record.page, record.pages, urlencode(asked), newer, older)
