"""Two quotes side by side, with what is between them line by line.

Both are opened by their addresses. A short code opens neither: it is made to be read out, and so can be guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.codes import read_code, spaced_code
from server.domain.errors import Fault, InvalidInput, NotFound
from server.domain.kits import size_words
from server.domain.money import Cents
from server.domain.policy import ShopTerms
from server.domain.pricing import Breakdown
from server.domain.quotes import Quote
from server.domain.slots import CORE_SLOTS, SLOT_WORDS, UNITS
from server.domain.wind import Window
from server.usecases.quotes import read_quote
from server.usecases.work import Work
from server.web.pages.forms import Form, text_in
from server.web.pages.quotes import Named, quote_page
from server.web.pages.words import UNIT_WORDS, kept_words
from server.web.render import day_words, money_words, see_other
from server.web.state import PagesOf, SettingsOf, ShopOf
from server.web.units import units_of

router = APIRouter(include_in_schema=False)

SAME = "same"
TO_PAY = "to pay"
_ADDRESS = re.compile(r"(?:.*/quotes/)?([A-Za-z0-9_-]+)(?:[/?#].*)?", re.ASCII)


@dataclass(frozen=True, slots=True)
class Cell:
    """A figure, and a few quiet words under it."""

    words: str
    under: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """A figure of both quotes, and the second less the first."""

    label: str
    left: Cell
    right: Cell
    between: Cell


@dataclass(frozen=True, slots=True)
class Side:
    """One of the quotes: its code, revision and address."""

    code: str
    revision: int
    token: str


@dataclass(frozen=True)
class BesidePage:
    """Two quotes side by side."""

    left: Side
    right: Side
    says: str
    is_for_another: bool
    groups: tuple[tuple[Row, ...], ...]


@router.post("/quotes/{token}/beside")
def name_the_other(
    request: Request, token: str, form: Form, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """Go to the comparison with the quote whose address was given; what stands against it is said beside the field."""
    typed = text_in(form, "other")
    with shop.reading() as work:
        read_quote(work, token)
        try:
            return see_other(f"/quotes/{token}/beside/{_named(work, typed, token, settings.address)}")
        except InvalidInput as error:
            page = quote_page(work, token, settings.address, named=Named(typed, error.faults), units=units_of(request))
            return pages.show(request, "quotes/quote.html", page, work.catalogue.policy.shop, status=422)


@router.get("/quotes/{token}/beside/{other}")
def show_beside(request: Request, token: str, other: str, shop: ShopOf, pages: PagesOf) -> Response:
    """Both quotes as they were kept, lapsed or not."""
    with shop.reading() as work:
        terms = work.catalogue.policy.shop
        page = _page(read_quote(work, token), read_quote(work, other), work, terms)
        return pages.show(request, "quotes/beside.html", page, terms)


def _named(work: Work, typed: str, token: str, address: str) -> str:
    """The token of the quote that was named by its address; raises `InvalidInput`."""
    accepted = f"the address of its page, such as {address}/quotes/…, or what stands in it after /quotes/"
    if not typed:
        raise InvalidInput([Fault("other", "Which quote? Nothing was given.", accepted)])
    found = _ADDRESS.fullmatch(typed)
    if found is not None and found[1] == token:
        raise InvalidInput([Fault("other", "This is the quote you are looking at.", accepted)])
    if _is_code(typed):
        words = "A code alone opens no quote, so that nobody reads yours by guessing one."
        raise InvalidInput([Fault("other", words, accepted)])
    try:
        return read_quote(work, found[1] if found else "").token
    except NotFound as error:
        raise InvalidInput([Fault("other", "There is no quote at this address.", accepted)]) from error


def _is_code(text: str) -> bool:
    try:
        return bool(read_code(text))
    except InvalidInput:
        return False


def _page(left: Quote, right: Quote, work: Work, terms: ShopTerms) -> BesidePage:
    between = right.kit.price.due - left.kit.price.due
    code = spaced_code(right.code)
    if between:
        says = f"{code} costs {money_words(abs(between), terms)} {'more' if between > 0 else 'less'} than {spaced_code(left.code)}."
    else:
        says = "Both cost the same."
    return BesidePage(
        left=_side(left),
        right=_side(right),
        says=says,
        is_for_another=(left.mass_kg, left.setup, left.water) != (right.mass_kg, right.setup, right.water),
        groups=(
            _whom(left, right),
            *(_part(slot, left, right, terms) for slot in CORE_SLOTS),
            _flying(left, right),
            _paying(left, right, work, terms),
        ),
    )


def _side(quote: Quote) -> Side:
    return Side(spaced_code(quote.code), quote.revision, quote.token)


def _whom(left: Quote, right: Quote) -> tuple[Row, ...]:
    def words(quote: Quote) -> Cell:
        stage = "first flights" if quote.setup == "steady" else "flights that link up"
        return Cell(f"{quote.mass_kg:.3g} kg", f"{stage}, on {'the sea' if quote.water == 'sea' else 'a lake'}")

    ours, theirs = words(left), words(right)
    mass = _step(f"{left.mass_kg:.3g}", f"{right.mass_kg:.3g}", "kg")
    return (Row("sized for", ours, theirs, Cell(mass, "" if ours.under == theirs.under else "another aim")),)


def _part(slot: str, left: Quote, right: Quote, terms: ShopTerms) -> tuple[Row, ...]:
    word, unit = SLOT_WORDS[slot], UNIT_WORDS[UNITS[slot]]
    ours, theirs = left.kit.gear_in(slot), right.kit.gear_in(slot)
    names = _name(left, slot), _name(right, slot)
    other_part = "" if names[0] == names[1] else "another part"
    size = _step(f"{ours.size:g}", f"{theirs.size:g}", unit)
    was, now = _charged(left, slot), _charged(right, slot)
    return (
        Row(word, Cell(size_words(ours), names[0]), Cell(size_words(theirs), names[1]), Cell(size, other_part)),
        Row(f"{word}, price", _price(was, terms), _price(now, terms), Cell(_cost(was or 0, now or 0, terms))),
    )


def _name(quote: Quote, slot: str) -> str:
    """What flies in a slot: the part's name, or that it is the learner's own, with what is bought beside it."""
    part = quote.kit.parts.get(slot)
    if slot not in quote.kit.kept:
        return part.name if part else ""
    own = kept_words(quote.kit.gear_in(slot))
    return f"{own}, and {part.name} beside it" if part else own


def _charged(quote: Quote, slot: str) -> Cents | None:
    """What is charged in a slot, a hand wing beside one's own included; None where nothing is."""
    lines = [line.charged for line in quote.kit.price.lines if line.slot == slot]
    return sum(lines) if lines else None


def _price(cents: Cents | None, terms: ShopTerms) -> Cell:
    return Cell("nothing to pay" if cents is None else money_words(cents, terms))


def _flying(left: Quote, right: Quote) -> tuple[Row, ...]:
    ours, theirs = left.kit, right.kit
    return (
        _figure("float to spare", ours.float_margin_l, theirs.float_margin_l, "l"),
        _figure("take-off speed", ours.takeoff_kn, theirs.takeoff_kn, "kn"),
        _wind("winds, new hands", ours.winds.new, theirs.winds.new),
        _wind("winds, practised hands", ours.winds.practised, theirs.winds.practised),
    )


def _figure(label: str, left: float, right: float, unit: str) -> Row:
    ours, theirs = f"{left:.1f}", f"{right:.1f}"
    was, now = (Cell(f"{shown} {unit}".replace("-", "−")) for shown in (ours, theirs))
    return Row(label, was, now, Cell(_step(ours, theirs, unit)))


def _wind(label: str, left: Window, right: Window) -> Row:
    def words(window: Window) -> Cell:
        return Cell(f"{window.low:.0f} to {window.high:.0f} kn" if window.is_open else "none that suits")

    between = _wind_between(left, right)
    return Row(label, words(left), words(right), Cell(between, "low and high end" if "kn" in between else ""))


def _wind_between(left: Window, right: Window) -> str:
    """How far both ends of a window move, by the knots that are shown."""
    if not left.is_open or not right.is_open:
        return SAME if left.is_open == right.is_open else ""
    ends = [_step(f"{old:.0f}", f"{new:.0f}", "") for old, new in ((left.low, right.low), (left.high, right.high))]
    return SAME if ends == [SAME, SAME] else " and ".join("0" if end == SAME else end for end in ends) + " kn"


def _paying(left: Quote, right: Quote, work: Work, terms: ShopTerms) -> tuple[Row, ...]:
    ours, theirs = left.kit.price, right.kit.price

    def row(label: str, was: Cents, now: Cents) -> Row:
        return Row(label, _amount(label, was, terms), _amount(label, now, terms), Cell(_cost(was, now, terms)))

    return (
        row("extras and lessons", _extras(ours), _extras(theirs)),
        row("delivery", ours.delivery, theirs.delivery),
        row("gear traded in", -ours.trade_in, -theirs.trade_in),
        row("lesson deposit given back", -ours.deposit_back, -theirs.deposit_back),
        *((row("voucher", -ours.voucher, -theirs.voucher),) if ours.voucher or theirs.voucher else ()),
        row(TO_PAY, ours.due, theirs.due),
        _until(left, right, work, terms),
    )


def _extras(price: Breakdown) -> Cents:
    return sum(line.charged for line in price.lines if not line.is_core)


def _until(left: Quote, right: Quote, work: Work, terms: ShopTerms) -> Row:
    was, now = (
        Cell(day_words(quote.valid_until, terms), "lapsed" if quote.valid_until < work.today else "")
        for quote in (left, right)
    )
    days = (right.valid_until - left.valid_until).days
    return Row("price good until", was, now, Cell(_signed(Decimal(days), "day" if abs(days) == 1 else "days")))


def _amount(label: str, cents: Cents, terms: ShopTerms) -> Cell:
    """An amount; below zero on the last line it is the shop that owes."""
    if label == TO_PAY and cents < 0:
        return Cell(money_words(-cents, terms), "we owe you")
    return Cell(money_words(cents, terms))


def _cost(left: Cents, right: Cents, terms: ShopTerms) -> str:
    between = right - left
    return SAME if between == 0 else f"{'+' if between > 0 else ''}{money_words(between, terms)}"


def _step(left: str, right: str, unit: str) -> str:
    """Right less left, of both as they are shown, so that the table adds up."""
    return _signed(Decimal(right) - Decimal(left), unit)


def _signed(between: Decimal, unit: str) -> str:
    if between == 0:
        return SAME
    return f"{'+' if between > 0 else '−'}{abs(between):f} {unit}".rstrip()
