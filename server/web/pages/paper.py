"""A quote on paper: what its PDF says, as plain data for the template, and the PDF itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass

from fastapi import APIRouter
from starlette.responses import Response

from server.domain.codes import spaced_code
from server.domain.kits import size_words
from server.domain.money import Cents
from server.domain.policy import ShopTerms
from server.domain.quotes import Quote
from server.domain.slots import SLOT_WORDS
from server.outside.pdf import pdf_of
from server.outside.qr import qr_of
from server.web.cautions import CAUTIONS
from server.web.drawings.svg import squares_file, svg_of
from server.web.pages.docket import Docket
from server.web.pages.quotes import QuotedRow, QuotePage, quote_page
from server.web.pages.winds import WindsShown
from server.web.render import TEMPLATES, day_words, money_words
from server.web.state import SettingsOf, ShopOf

router = APIRouter(include_in_schema=False)

TEMPLATE = TEMPLATES / "quotes" / "quote.typ"
LETTERS = "Libertinus Serif"


@dataclass(frozen=True)
class PaperPart:
    """A part: its place, size and reason, and what is charged for it."""

    word: str
    size: str
    why: str
    name: str
    maker: str
    sku: str
    price: str


@dataclass(frozen=True)
class PaperLine:
    """A line of the docket."""

    label: str
    note: str
    amount: str


@dataclass(frozen=True)
class PaperDocket:
    """The docket in words."""

    lines: tuple[PaperLine, ...]
    sum: PaperLine
    vat: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class PaperWinds:
    """The winds in words: a sentence, and the hand wings one by one."""

    says: str
    usual: str
    rows: tuple[tuple[str, str, str, str], ...]
    year: str


@dataclass(frozen=True)
class Picture:
    """An SVG file, and the same in words."""

    svg: str
    words: str


@dataclass(frozen=True)
class Paper:
    """All that stands on the paper."""

    shop: str
    place: str
    contact: tuple[str, ...]
    code: str
    revision: int
    issued: str
    title: str
    lead: str
    state: tuple[str, str]
    notes: tuple[str, ...]
    parts: tuple[PaperPart, ...]
    docket: PaperDocket
    winds: PaperWinds
    cautions: tuple[str, ...]
    side: Picture
    qr: Picture
    address: str


@router.get("/quotes/{token}/pdf")
def quote_as_pdf(token: str, shop: ShopOf, settings: SettingsOf) -> Response:
    """A quote as a PDF to print or to keep, lapsed or not."""
    with shop.reading() as work:
        page, terms = quote_page(work, token, settings.address), work.catalogue.policy.shop
    quote = page.quote
    revision = f"-revision-{quote.revision}" if quote.revision > 1 else ""
    headers = {"Content-Disposition": f'inline; filename="quote-{quote.code}{revision}.pdf"'}
    return Response(pdf_of(TEMPLATE, asdict(paper_of(page, terms))), media_type="application/pdf", headers=headers)


def paper_of(page: QuotePage, terms: ShopTerms) -> Paper:
    """A quote page as a paper."""
    quote, drawing, code = page.quote, page.drawn.side.wide, qr_of(page.address)
    return Paper(
        shop=terms.name,
        place=terms.place,
        contact=tuple(words for words in (terms.telephone, terms.email, terms.opening_hours) if words),
        code=spaced_code(quote.code),
        revision=quote.revision,
        issued=day_words(page.issued_on, terms),
        title=page.title,
        lead=page.lead,
        state=_state(page, terms),
        notes=page.notes,
        parts=(*(_part(row, quote, terms) for row in page.rows), *_beside_kept(quote, terms)),
        docket=_docket(page.docket, terms),
        winds=_winds(page.winds),
        cautions=CAUTIONS,
        side=Picture(svg_of(drawing, LETTERS), f"{drawing.title}. {drawing.words}"),
        qr=Picture(
            squares_file(code.side, code.path),
            f"QR code of the address of this quote, {page.address}",
        ),
        address=page.address,
    )


def _state(page: QuotePage, terms: ShopTerms) -> tuple[str, str]:
    """How things stand with the quote: a few words, and the rest of the sentence."""
    until = day_words(page.quote.valid_until, terms)
    sale, withdrawn = page.standing.sale, page.standing.withdrawn
    if sale is not None:
        return f"Bought on {day_words(sale.made_on, terms)}", "; the invoice is the paper that counts."
    if withdrawn is not None:
        return "We have withdrawn this quote.", f" {withdrawn.because}"
    hold = page.hold
    if hold is not None and hold.revision == page.quote.revision:
        kept = "we keep these parts for you" if hold.is_confirmed else "they are set aside, not yet confirmed,"
        return f"Price good until {until}", f"; you agreed, and {kept} until {page.held_until}. Not yet a contract."
    if page.state == "lapsed":
        return f"The price was good until {until}.", " Go through your answers again for today's price."
    talk = " This kit cannot be agreed to without the shop: talk to us first." if page.needs_the_shop else ""
    older = f" Until {page.held_until} the parts of revision {hold.revision} are set aside." if hold else ""
    return f"Price good until {until}", f"; nothing is set aside until you agree.{older}{talk}"


def _part(row: QuotedRow, quote: Quote, terms: ShopTerms) -> PaperPart:
    price = _charged(row.sku, quote, terms)
    return PaperPart(row.word, row.size, row.sentence, row.name, row.maker, row.sku, price)


def _beside_kept(quote: Quote, terms: ShopTerms) -> Iterator[PaperPart]:
    """What is bought beside a piece of the learner's own: a hand wing for stronger wind."""
    for slot in quote.kit.kept:
        part = quote.kit.parts.get(slot)
        if part is not None:
            price = _charged(part.sku, quote, terms)
            why = "Beside your own, for stronger wind."
            yield PaperPart(SLOT_WORDS[slot], size_words(part.gear), why, part.name, part.maker, part.sku, price)


def _charged(sku: str, quote: Quote, terms: ShopTerms) -> str:
    """What is charged for a part of the kit, or that it is the learner's own."""
    charged = [line.charged for line in quote.kit.price.lines if line.is_core and line.sku == sku]
    return money_words(sum(charged), terms) if charged else "yours"


def _docket(docket: Docket, terms: ShopTerms) -> PaperDocket:
    def money(cents: Cents) -> str:
        return money_words(cents, terms)

    return PaperDocket(
        lines=tuple(
            PaperLine(
                line.label,
                _joined([line.note, f"worth {money(line.worth)}" if line.worth else ""]),
                line.word or money(line.amount),
            )
            for line in docket.lines
        ),
        sum=PaperLine("We owe you" if docket.owed else "To pay", "", money(docket.owed or docket.balance)),
        vat=tuple(f"VAT inside, {rate}: {money(amount)}." for rate, amount in docket.vat),
        notes=docket.notes,
    )


def _winds(winds: WindsShown) -> PaperWinds:
    first = winds.first_words[:1].upper() + winds.first_words[1:]
    chosen = winds.rows[0]
    days = f"At {winds.spot}, about {chosen.year} days' worth of such wind a year, in {winds.first} hands."
    return PaperWinds(
        says=f"{first} as forecast, in {winds.first} hands; {winds.then_words} in {winds.then} hands.",
        usual=f"Your usual wind: {winds.usual} knots.",
        rows=tuple((row.size, row.role, row.new, row.practised) for row in winds.rows),
        year=days if chosen.year else "",
    )


def _joined(words: Iterable[str]) -> str:
    return ", ".join(word for word in words if word)
