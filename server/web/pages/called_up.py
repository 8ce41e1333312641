"""The desk's page of a quote: what the customer sees, what only the shop sees, and its story; it follows changes by itself."""

from __future__ import annotations

import re
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.policy import ShopTerms
from server.domain.quotes import Quote
from server.domain.sets import sets_among
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.domain.standing import Standing
from server.domain.stock import Contact, Hold
from server.domain.worksheets import Worksheet
from server.usecases.accounts import Account
from server.usecases.called_up import CalledUp, call_up, desk_version, version_at_desk
from server.usecases.desk import know_code
from server.usecases.quotes import version_of
from server.usecases.standing import version_with
from server.usecases.work import Work
from server.web.pages.docket import Docket, docket_of_quote
from server.web.pages.promised import CallForm, call_form
from server.web.pages.story import ToldShown, story_shown
from server.web.pages.words import lead_of, title_of
from server.web.pages.worked import MarginShown, margin_shown, sees_margin
from server.web.render import PAGES_VARY, moment_words, money_words
from server.web.signed import StaffOf
from server.web.state import PagesOf, SettingsOf, ShopOf
from server.web.units import size_in, units_of

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True, slots=True)
class PartShown:
    """A part of the quote; `charged` in cents, None for a kept one."""

    word: str
    size: str
    name: str
    sku: str
    charged: int | None


@dataclass(frozen=True)
class CalledUpPage:
    """A quote as the desk sees it."""

    quote: Quote
    title: str
    lead: str
    version: str
    address: str
    standing: Standing
    made: str
    """When the newest revision was made, and by whom."""
    hold: Hold | None
    held_until: str
    contact: Contact | None
    seen: str
    rows: tuple[PartShown, ...]
    docket: Docket
    notes: tuple[str, ...]
    margin: MarginShown | None
    story: tuple[ToldShown, ...]
    worksheets: tuple[Worksheet, ...]
    talk_first: str
    announced: str
    call: CallForm
    sets: tuple[str, ...]
    """Sets on the shelf whose parts are all in the kit, in words."""
    call_back: str = "quote"


@router.get("/desk/quotes/{code}")
def show(
    request: Request, code: str, account: StaffOf, shop: ShopOf, settings: SettingsOf, pages: PagesOf, shown: str = ""
) -> Response:
    """The newest revision with its story; asked again with the version that is `shown`, an empty answer while nothing has changed."""
    know_code(shop, account.id, code)
    with shop.reading(account.name) as work:
        if shown and shown == desk_version(work, code):
            return Response(status_code=204, headers={"Vary": PAGES_VARY})
        page = _page(request, work, call_up(work, code), account, settings.address, shown)
        return pages.show(request, "desk/quote.html", page, work.catalogue.policy.shop, block="called_up")


def _page(request: Request, work: Work, found: CalledUp, account: Account, address: str, shown: str) -> CalledUpPage:
    quote, hold, policy = found.quote, found.hold, work.catalogue.policy
    units = units_of(request)
    charged = {line.sku: line.charged for line in quote.kit.price.lines if line.is_core}
    rows = []
    for slot in CORE_SLOTS:
        part, word = quote.kit.parts.get(slot), SLOT_WORDS[slot]
        if slot in quote.kit.kept:
            rows.append(PartShown(word, size_in(quote.kit.gear_in(slot), units), "their own", "", None))
            word = f"{word} beside it"
        if part is not None:
            name, size = f"{part.name}, {part.maker}", size_in(part.gear, units)
            rows.append(PartShown(word, size, name, part.sku, charged.get(part.sku)))
    story = story_shown(found.story, policy.shop)
    newest = next(told for told in story if told.revision == quote.revision)
    where = found.standing
    version = version_with(version_of(quote.revision, hold), where.sale, where.withdrawn)
    version = version_at_desk(version, found.seen)
    skus = [part.sku for part in quote.kit.parts.values()] + [
        line.sku for line in quote.kit.price.lines if not line.is_core
    ]
    sets = sets_among(skus, work.catalogue, work.shelf_for(quote.token).free) if not where.is_settled else ()
    return CalledUpPage(
        quote=quote,
        title=title_of(quote.setup),
        lead=lead_of(quote.mass_kg, quote.setup, quote.water, quote.usual_wind_kn, units),
        version=version,
        address=f"{address}/quotes/{quote.token}",
        standing=where,
        made=f"{newest.when}, by {newest.by}",
        hold=hold,
        held_until=moment_words(hold.expires_at, policy.shop) if hold else "",
        contact=found.contact,
        seen=_seen_words(found, policy.shop),
        rows=tuple(rows),
        docket=docket_of_quote(quote),
        notes=(*quote.notes, *quote.kit.notes),
        margin=margin_shown(quote.margin, policy) if sees_margin(account, policy) else None,
        story=story,
        worksheets=found.worksheets,
        talk_first=quote.talk_first.message if quote.talk_first else "",
        announced=_announced(story, shown, version, found),
        call=call_form(
            work,
            code=quote.code,
            name=found.contact.name if found.contact else "",
            phone=found.contact.phone if found.contact else "",
        ),
        sets=tuple(f"{one.name} ({one.sku}), {money_words(one.price, policy.shop)} by itself" for one in sets),
    )


def _seen_words(found: CalledUp, terms: ShopTerms) -> str:
    if found.seen is None:
        return "The customer has not had it open yet"
    revision, at = found.seen
    if revision == found.quote.revision:
        return f"Seen by the customer {moment_words(at, terms)}"
    return f"The customer has seen revision {revision} ({moment_words(at, terms)}), not this one yet"


def _announced(story: tuple[ToldShown, ...], shown: str, version: str, found: CalledUp) -> str:
    """What is new since the version that was shown, in a sentence; empty where the page was opened anew."""
    if not shown or shown == version:
        return ""
    if re.split(r"[-~.]", shown, maxsplit=1)[0] != str(found.quote.revision):
        newest = next(told for told in story if told.revision == found.quote.revision)
        told = "; ".join(change.says for change in (newest.changes or ())[:3])
        return f"Revision {newest.revision}, by {newest.by}" + (f": {told}." if told else ".")
    if found.standing.is_settled:
        return f"{found.standing.words}."
    if found.hold is not None and "-" not in shown:
        return "The customer asks to hold the parts."
    return "Where this quote stands has changed."
