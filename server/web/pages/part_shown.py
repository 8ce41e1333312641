"""A part as its page shows it to the owner: its fields, what it earns, its prices with their days, its ledger in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.domain.errors import Fault
from server.domain.listing import ALL_SLOTS, FLAG_WORDS, Listed, margin_at, price_in_kit
from server.domain.money import Cents
from server.domain.prices import NOT_SOLD, spells_of
from server.domain.reductions import called_words
from server.domain.slots import MEASURE_WORDS, SLOT_WORDS, measures_of
from server.domain.stock import BY_HAND, MovementKind
from server.usecases.catalogue_edits import (
    MOST_BOOKED,
    MOST_PHOTOS,
    Stands,
    about_part,
    columns_of,
    digest_of,
    typed_of,
    where_it_stands,
    words_in,
)
from server.usecases.photos import photos_of
from server.usecases.sets import list_sets_of
from server.usecases.work import Work
from server.web.pages.catalogue_rows import percent_words
from server.web.pages.desk import when_words
from server.web.pages.forms import TypedForm
from server.web.pages.parts import reduced_words
from server.web.pages.piece_words import UNITS_SAID, PhotoShown, photos_shown
from server.web.render import day_words

WORDS = {
    "sku": "SKU",
    "name": "Name",
    "maker": "Maker",
    "gtin": "GTIN",
    "price": "Price",
    "cost": "Cost",
    "markdown_price": "Marked down to",
    "markdown_from": "Marked down from",
    "sold": "Sold",
    "kind": "What happened",
    "pieces": "Pieces",
    "why": "Why",
    "photos": "Photographs",
}
MONEY = ("price", "cost", "markdown_price")
PRICES = ("price", "cost", "markdown_price", "markdown_from", "sold")
WHY = {
    "price": "VAT included.",
    "cost": "Without VAT.",
    "markdown_price": "Blank: none.",
    "markdown_from": "Blank: from today.",
    "fits": "SKUs and makers, with semicolons between them.",
}
KIND_WORDS: dict[MovementKind, str] = {
    "delivery": "delivered",
    "count": "counted",
    "counter_sale": "sold over the counter",
    "damage": "damaged or lost",
    "demo": "taken for demonstration",
    "hold": "set aside",
    "release": "let go of",
    "handed_over": "handed over",
    "returned": "came back",
}
KIND_CHOICES = tuple((kind, KIND_WORDS[kind]) for kind in BY_HAND)
PIECES_ACCEPTED = "a whole number, 1 or more (a count: how many are on the shelf, 0 or more)"


@dataclass(frozen=True, slots=True)
class FieldShown:
    """A field of a part: its name as a column, what it asks for, what is said beside it, its unit, the words to choose from."""

    name: str
    word: str
    why: str
    unit: str
    mode: str
    options: tuple[tuple[str, str], ...]
    is_day: bool = False


@dataclass(frozen=True, slots=True)
class SpellShown:
    """A price with its days, in words; the price in cents."""

    price: Cents
    days: str
    note: str


@dataclass(frozen=True, slots=True)
class EntryShown:
    """An entry of the ledger in words: pieces on hand more or less, and what is on hand after it."""

    when: str
    what: str
    change: str
    after: int
    by: str
    why: str


@dataclass(frozen=True, slots=True)
class EarnsShown:
    """What a price earns: the price and what is left of it, in cents, and per cent of the price without VAT."""

    label: str
    price: Cents
    earned: Cents
    percent: str
    is_thin: bool


@dataclass(frozen=True)
class PartPage(TypedForm):
    """A part, or the form for a new one of a slot."""

    is_new: bool
    sku: str
    title: str
    slot: str
    word: str
    slots: tuple[tuple[str, str], ...]
    about: tuple[FieldShown, ...]
    prices: tuple[FieldShown, ...]
    measures: tuple[FieldShown, ...]
    shown: str = ""
    is_retired: bool = False
    is_sold: bool = True
    on_hand: int = 0
    held: int = 0
    newest: int = 0
    codes: tuple[str, ...] = ()
    to_come: tuple[tuple[int, str], ...] = ()
    earns: tuple[EarnsShown, ...] = ()
    flags: tuple[str, ...] = ()
    called: str = ""
    customers: str = ""
    sets: tuple[tuple[str, str], ...] = ()
    """SKU and name of each set that it is in."""
    choice: Cents = 0
    under: Cents = 0
    spells: tuple[SpellShown, ...] = ()
    entries: tuple[EntryShown, ...] = ()
    is_cut: bool = False
    kinds: tuple[tuple[str, str], ...] = KIND_CHOICES
    photos: tuple[PhotoShown, ...] = ()
    photos_left: int = MOST_PHOTOS
    most_photos: int = MOST_PHOTOS
    kept: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return WORDS.get(name) or MEASURE_WORDS.get(name, "").capitalize()

    @property
    def at_large(self) -> tuple[Fault, ...]:
        """What is wrong that stands at no field."""
        return tuple(fault for fault in self.faults if fault.field == "sku" and not self.is_new)


def fields_shown(slot: str) -> tuple[FieldShown, ...]:
    """The fields of a part of a slot, as its file has them."""
    known = {measure.name: measure for measure in measures_of(slot)}
    shown = []
    for name, _, may_be_blank in columns_of(slot):
        measure = known.get(name)
        is_number = name in MONEY or (measure is not None and measure.is_number)
        word = WORDS.get(name) or MEASURE_WORDS.get(name, name).capitalize()
        shown.append(
            FieldShown(
                name=name,
                word=word,
                why=WHY.get(name, "May stay blank." if measure is not None and may_be_blank else ""),
                unit=UNITS_SAID.get(name.rsplit("_", 1)[-1], "") if measure is not None and is_number else "",
                mode="decimal" if is_number else "numeric" if name == "gtin" else "text",
                options=tuple((value, value) for value in measure.words) if measure is not None else (),
                is_day=name == "markdown_from",
            )
        )
    return tuple(shown)


def new_page(slot: str, typed: Mapping[str, str], faults: tuple[Fault, ...]) -> PartPage:
    fields = fields_shown(slot) if slot else ()
    return PartPage(
        is_new=True,
        sku="",
        title="A new part",
        slot=slot,
        word=SLOT_WORDS.get(slot, ""),
        slots=tuple((one, SLOT_WORDS[one]) for one in ALL_SLOTS),
        about=tuple(one for one in fields if one.name in ("sku", "name", "maker", "gtin")),
        prices=tuple(one for one in fields if one.name in PRICES),
        measures=tuple(one for one in fields if one.name in MEASURE_WORDS),
        typed=typed,
        faults=faults,
    )


def part_page(work: Work, row: Listed, typed: Mapping[str, str], faults: tuple[Fault, ...], kept: str) -> PartPage:
    part, terms = row.part, work.catalogue.policy.shop
    fields = fields_shown(part.slot)
    stands = where_it_stands(work, part.sku)
    photos = photos_shown(photos_of(work, about_part(part.sku)), part.name)
    verdict = row.verdict
    is_plain = verdict is not None and verdict.reduction is None
    decides = verdict.decides if verdict is not None and is_plain else None
    return PartPage(
        is_new=False,
        sku=part.sku,
        title=part.name,
        slot=part.slot,
        word=SLOT_WORDS[part.slot],
        slots=(),
        about=tuple(one for one in fields if one.name in ("name", "maker", "gtin")),
        prices=tuple(one for one in fields if one.name in PRICES),
        measures=tuple(one for one in fields if one.name in MEASURE_WORDS),
        shown=digest_of(part),
        is_retired=part.retired,
        is_sold=part.sold,
        on_hand=row.on_hand,
        held=row.held,
        newest=stands.newest,
        codes=stands.codes,
        to_come=tuple(
            (number, f"{pieces} about {day_words(due, terms)}") for number, due, pieces in stands.to_come if pieces
        ),
        earns=_earns(work, row),
        flags=tuple(FLAG_WORDS[flag] for flag in row.flags if flag in ("gone", "thin")),
        called=called_words(verdict, *words_in(work)) if verdict is not None else "",
        customers=_as_customers_see(work, row),
        sets=tuple((one.sku, one.name) for one in list_sets_of(work, part.sku)),
        choice=verdict.markdown.price if verdict is not None and is_plain else 0,
        under=decides.price if decides is not None else 0,
        spells=_spells(work, row),
        entries=_entries(work, row, stands),
        is_cut=len(stands.booked) == MOST_BOOKED,
        photos=photos,
        photos_left=max(0, MOST_PHOTOS - len(photos)),
        kept=kept,
        typed={**typed_of(part), **_ticked(typed)},
        faults=faults,
    )


def _ticked(typed: Mapping[str, str]) -> dict[str, str]:
    """What was typed; a tick that was taken off says no."""
    return {**typed, "sold": "yes" if typed.get("sold") else "no"} if "price" in typed else dict(typed)


def _earns(work: Work, row: Listed) -> tuple[EarnsShown, ...]:
    """What the part earns by itself, and in a whole kit where it can be part of one."""
    catalogue, floor = work.catalogue, work.catalogue.policy.margin_floor_percent
    in_kit = price_in_kit(row.part, catalogue, work.today)
    shown = []
    for label, price in (("By itself", row.price), ("In a whole kit", in_kit)):
        if price is not None:
            margin = margin_at(price, row.part, catalogue)
            percent = percent_words(margin)
            shown.append(EarnsShown(label, price, margin.amount, percent, margin.is_under(floor)))
    return tuple(shown)


def _as_customers_see(work: Work, row: Listed) -> str:
    """What customers read of its price where it stands by itself."""
    terms = work.catalogue.policy.shop
    reduction = work.catalogue.reduction_of(row.part, work.today)
    if not row.part.on_sale:
        return "Customers do not see it."
    if reduction is not None:
        return reduced_words(reduction, terms)
    price = words_in(work)[0](row.price)
    return f"{price}, with no word of a reduction and no former price."


def _spells(work: Work, row: Listed) -> tuple[SpellShown, ...]:
    """Its prices with their days, newest first; the one that decides is named, and those still to come."""
    terms, verdict = work.catalogue.policy.shop, row.verdict
    decides = verdict.decides if verdict is not None else None
    shown = []
    for spell in reversed(spells_of(work.catalogue.history.get(row.part.sku, ()))):
        until = f" to {day_words(spell.until, terms)}" if spell.until else ""
        note = (
            "to come" if spell.since > work.today else "today" if not spell.until or spell.until >= work.today else ""
        )
        is_deciding = decides is not None and spell.since <= decides.since <= (spell.until or decides.since)
        notes = [
            "not on sale" if spell.price == NOT_SOLD else "",
            note,
            "decides what it may be called" if is_deciding else "",
        ]
        days = f"{day_words(spell.since, terms)}{until}" if until else f"from {day_words(spell.since, terms)}"
        shown.append(SpellShown(spell.price, days, ", ".join(one for one in notes if one)))
    return tuple(shown)


def _entries(work: Work, row: Listed, stands: Stands) -> tuple[EntryShown, ...]:
    """The ledger in words, newest first, with what is on hand after each entry."""
    terms, after = work.catalogue.policy.shop, row.on_hand
    shown = []
    for one in stands.booked:
        movement = one.movement
        change = f"{movement.change:+d}".replace("-", "−") if movement.change else ""
        what = KIND_WORDS[movement.kind]
        if not movement.change:
            what += f", {movement.pieces} piece{'' if movement.pieces == 1 else 's'}"
        when = when_words(one.at, work.now, terms)
        shown.append(EntryShown(when, what, change, after, one.by, movement.why))
        after -= movement.change
    return tuple(shown)
