"""The quote page: what was kept, under an address of its own and a code for the telephone."""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date
from zoneinfo import ZoneInfo

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput, Lapsed, NotFound, TooMany
from server.domain.kits import TALK_TO_US
from server.domain.quotes import Quote
from server.domain.returns import Told
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.domain.standing import Standing
from server.domain.stock import Hold, read_contact
from server.outside.qr import qr_of
from server.usecases.learner import draft_from_quote
from server.usecases.quotes import read_quote, read_quote_with_course, revised_since, version_of
from server.usecases.returns import told_of_quote
from server.usecases.standing import standing, version_with
from server.usecases.stock import agree_to_quote, release_hold
from server.usecases.work import Work
from server.web.drawings.ruler import Ruler, ruler
from server.web.drawings.svg import squares_file
from server.web.pages.docket import Docket, docket_of_quote
from server.web.pages.drawn import KitDrawn, drawn_in, kit_drawn
from server.web.pages.forms import Form, text_in
from server.web.pages.revised import RevisedShown, revised_shown
from server.web.pages.water import WaterShown, water_shown
from server.web.pages.winds import WindsShown, winds_shown
from server.web.pages.words import lead_of, sentence_of, title_of
from server.web.render import moment_words, see_other
from server.web.state import PagesOf, SettingsOf, ShopOf
from server.web.units import SHOP_UNITS, Units, ends_in, measures_said_in, size_in, units_of

router = APIRouter(include_in_schema=False)

STAYS = {"Cache-Control": "private, max-age=31536000, immutable"}


@dataclass(frozen=True)
class QuotedRow:
    """A part of a quote."""

    word: str
    size: str
    sentence: str
    name: str
    maker: str
    sku: str
    ruler: Ruler


@dataclass(frozen=True)
class Asked:
    """What was typed to ask for a hold, and what stands against it."""

    name: str = ""
    email: str = ""
    phone: str = ""
    faults: tuple[Fault, ...] = ()

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.faults if fault.field == name), None)

    def value(self, name: str) -> str:
        """A field as it was typed."""
        return {"name": self.name, "email": self.email, "phone": self.phone}[name]


@dataclass(frozen=True)
class Named:
    """The other quote that was named to compare with, as it was typed, and what stands against it."""

    other: str = ""
    faults: tuple[Fault, ...] = ()

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.faults if fault.field == name), None)

    def value(self, name: str) -> str:
        """A field as it was typed."""
        return {"other": self.other}[name]


@dataclass(frozen=True)
class QuotePage:
    """A kept quote."""

    quote: Quote
    title: str
    lead: str
    address: str
    issued_on: date
    state: str
    standing: Standing
    can_agree: bool
    needs_the_shop: bool
    hold: Hold | None
    held_until: str
    hold_hours: int
    asked: Asked
    named: Named
    rows: tuple[QuotedRow, ...]
    docket: Docket
    drawn: KitDrawn
    winds: WindsShown
    water: WaterShown | None
    notes: tuple[str, ...]
    version: str
    revised: RevisedShown | None
    told: Told
    announced: str = ""
    """What somebody is told who looks at an older version, or asked for one."""
    is_asking_new: bool = False
    """Whether what stands around the form to agree with is new to that page too; a form that it has already is left as it is."""

    @property
    def asks(self) -> bool:
        """Whether the form to agree with is shown."""
        held_older = self.hold is not None and self.hold.revision != self.quote.revision
        return not self.standing.is_settled and (self.can_agree or held_older)


@router.get("/quotes/{token}")
def show_quote(request: Request, token: str, shop: ShopOf, settings: SettingsOf, pages: PagesOf) -> Response:
    """A quote as it was kept, lapsed or not."""
    with shop.reading() as work:
        page = quote_page(work, token, settings.address, units=units_of(request))
        return pages.show(request, "quotes/quote.html", page, work.catalogue.policy.shop)


@router.get("/quotes/{token}/address.svg")
def address_as_picture(token: str, shop: ShopOf, settings: SettingsOf) -> Response:
    """The QR code of a quote's address: a picture by itself, since it takes as long as the rest of the page and stays."""
    with shop.reading() as work:
        read_quote(work, token)
    code = qr_of(f"{settings.address}/quotes/{token}")
    return Response(squares_file(code.side, code.path), media_type="image/svg+xml; charset=utf-8", headers=STAYS)


def quote_page(
    work: Work,
    token: str,
    address: str,
    asked: Asked | None = None,
    named: Named | None = None,
    units: Units = SHOP_UNITS,
    since: int | None = None,
) -> QuotePage:
    """A quote as it is shown; `address` is the shop's, and what was typed into its forms comes back in them.

    Sizes and winds are said in `units`; without them in the shop's own, as on paper. What has changed is said since the revision
    `since`, or since the one before the newest.
    """
    quote, course = read_quote_with_course(work, token)
    held = course.hold
    terms = work.catalogue.policy
    kit = quote.kit
    notes = [*quote.notes, *kit.notes]
    if not kit.is_sound:
        notes.append(TALK_TO_US)
    state, where = quote.state_on(work.today, held), standing(work, quote, course)
    hold = None if where.is_settled else held
    alone = quote.talk_first is None
    own = f"{address}/quotes/{quote.token}"
    revised = revised_since(work, quote, since) or revised_since(work, quote)
    return QuotePage(
        quote=quote,
        title=title_of(quote.setup),
        lead=lead_of(quote.mass_kg, quote.setup, quote.water, quote.usual_wind_kn, units),
        address=own,
        issued_on=quote.issued_at.astimezone(ZoneInfo(terms.shop.time_zone)).date(),
        state=state,
        standing=where,
        can_agree=state == "sent" and alone and not where.is_settled,
        needs_the_shop=not alone,
        hold=hold,
        held_until=moment_words(hold.expires_at, terms.shop) if hold else "",
        hold_hours=terms.hold_unconfirmed_hours,
        asked=asked or Asked(),
        named=named or Named(),
        rows=tuple(_row(quote, slot, units) for slot in CORE_SLOTS),
        docket=docket_of_quote(quote),
        drawn=drawn_in(kit_drawn(kit), units),
        winds=winds_shown(quote.wings, quote.hands, quote.spot, quote.usual_wind_kn, units),
        water=water_shown(work.catalogue.spots.get(quote.spot), work.today),
        notes=tuple(measures_said_in(note, units) for note in notes),
        version=version_with(version_of(quote.revision, held), where.sale, where.withdrawn),
        revised=revised_shown(revised, terms.shop, units) if revised else None,
        told=told_of_quote(work, quote),
    )


@router.post("/quotes/{token}/agree")
def agree(request: Request, token: str, form: Form, shop: ShopOf, settings: SettingsOf, pages: PagesOf) -> Response:
    """Ask to hold the parts; what stands against it is said on the page, with what was typed."""
    name, email, phone = (text_in(form, field) for field in ("name", "email", "phone"))
    revision = revision_in(text_in(form, "revision"))
    with shop.writing() as work:
        try:
            contact = read_contact(name, email, phone)
            agree_to_quote(work, token, contact, revision)
            return see_other(f"/quotes/{token}")
        except (InvalidInput, Conflict) as error:
            faults, status = error.faults, 409 if isinstance(error, Conflict) else 422
        except (Lapsed, TooMany) as error:
            faults, status = (Fault("agree", str(error)),), 410 if isinstance(error, Lapsed) else 429
        asked = Asked(name, email, phone, faults)
        page = quote_page(work, token, settings.address, asked, units=units_of(request), since=revision)
        if page.revised is not None and 0 < revision < page.quote.revision:
            page = replace(page, announced=f"Nothing was set aside for revision {revision}. {page.revised.says}")
        return pages.show(request, "quotes/quote.html", page, work.catalogue.policy.shop, status=status)


def revision_in(text: str) -> int:
    """The number of a revision as a form sends it; 0, which none has, where it is no such number."""
    return int(text) if re.fullmatch(r"[1-9]\d{0,6}", text, re.ASCII) else 0


@router.post("/quotes/{token}/release")
def take_back(token: str, shop: ShopOf) -> Response:
    """Take a request to hold back."""
    with shop.writing() as work, suppress(NotFound):
        release_hold(work, token, "taken back by the customer")
    return see_other(f"/quotes/{token}")


def _row(quote: Quote, slot: str, units: Units) -> QuotedRow:
    part = None if slot in quote.kit.kept else quote.kit.parts[slot]
    gear, target = quote.kit.gear_in(slot), quote.targets[slot]
    size = size_in(gear, units)
    return QuotedRow(
        word=SLOT_WORDS[slot],
        size=size,
        sentence=measures_said_in(sentence_of(slot, quote.kit, quote.targets, quote.setup), units),
        name=part.name if part else f"your own {SLOT_WORDS[slot]}",
        maker=part.maker if part else "",
        sku=part.sku if part else "",
        ruler=ruler(target, size, gear.size, ends_in(target, units)),
    )


@router.post("/quotes/{token}/answers")
def change_answers(token: str, shop: ShopOf) -> Response:
    """Go through the answers of a quote again; kept, they become its next revision."""
    with shop.writing() as work:
        draft = draft_from_quote(work, token)
    return see_other(f"/drafts/{draft.token}/you")
