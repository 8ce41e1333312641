"""The parts of a kit as they stand on its page: why each is its size, what could stand in its place, and one's own gear."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from server.domain.catalogue import Catalogue
from server.domain.errors import Fault
from server.domain.fit import Target
from server.domain.kits import Fitter, Kit, Neighbours, size_words
from server.domain.policy import ShopTerms
from server.domain.prices import Reduction
from server.domain.quotes import QuotedKit
from server.domain.slots import MEASURE_WORDS, MEASURES, SLOT_WORDS
from server.web.drawings.ruler import Ruler, ruler
from server.web.pages.forms import FaultyForm
from server.web.pages.words import SizeChange, more_reasons, sentence_of, size_change, target_words
from server.web.render import money_words
from server.web.units import Units, ends_in, measures_said_in, size_in

SHORTER_LONGER = ("mast", "fuselage")


@dataclass(frozen=True, slots=True)
class OwnField:
    """A measure to give of one's own piece: the input's name, its question, unit, and the words to choose from."""

    name: str
    question: str
    unit: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class OwnTyped(FaultyForm):
    """What was typed of one's own piece in a slot, and what stands against it."""

    slot: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def value(self, name: str) -> str:
        """A field as typed; empty where nothing was."""
        return self.typed.get(name, "")

    @property
    def at_large(self) -> tuple[Fault, ...]:
        """What is wrong with no field of its own."""
        return tuple(fault for fault in self.faults if fault.field not in self.typed)


@dataclass(frozen=True)
class PartRow:
    """A part on the kit page, with what could stand in its place; `own` asks for the measures of one's own piece."""

    slot: str
    word: str
    size: str
    sentence: str
    reasons: tuple[str, ...]
    target: str
    name: str
    maker: str
    sku: str
    is_kept: bool
    smaller: SizeChange | None
    larger: SizeChange | None
    other_maker: SizeChange | None
    own: tuple[OwnField, ...]
    price: str
    out_of_stock: str
    reduced: str
    ruler: Ruler

    @property
    def changes(self) -> tuple[tuple[str, SizeChange], ...]:
        """What could stand in its place, under the word of the way it is away from it."""
        ways = (("smaller", self.smaller), ("larger", self.larger), ("maker", self.other_maker))
        return tuple((way, change) for way, change in ways if change is not None)


def part_row(
    fitter: Fitter,
    kit: Kit,
    shown: QuotedKit,
    slot: str,
    targets: Mapping[str, Target],
    neighbours: Neighbours,
    units: Units,
) -> PartRow:
    """A part of a kit for its page: its reason and number, and one size down, one up, another maker's in its place."""
    gear, target = kit.gear_in(slot), targets[slot]
    terms = fitter.shelf.catalogue.policy.shop
    is_kept = slot in kit.kept
    part = None if is_kept else kit.bought[slot]

    def change(direction: str, which: str) -> SizeChange | None:
        neighbour = None if is_kept else getattr(neighbours, which)
        if neighbour is None:
            return None
        difference = fitter.price_change(neighbour)
        sign = "+" if difference > 0 else ""
        price = sign + money_words(difference, terms) if difference else "same price"
        return said_in(size_change(direction, neighbour, price), units)

    return PartRow(
        slot=slot,
        word=SLOT_WORDS[slot],
        size=size_in(gear, units),
        sentence=measures_said_in(sentence_of(slot, shown, targets, fitter.answers.setup), units),
        reasons=tuple(measures_said_in(reason, units) for reason in more_reasons(slot, targets)),
        target=target_words(target, units),
        name=part.name if part else f"your own {SLOT_WORDS[slot]}",
        maker=part.maker if part else "",
        sku=part.sku if part else "",
        is_kept=is_kept,
        smaller=change("shorter" if slot in SHORTER_LONGER else "smaller", "smaller"),
        larger=change("longer" if slot in SHORTER_LONGER else "larger", "larger"),
        other_maker=change("another maker", "other_maker"),
        own=() if is_kept else own_fields(slot, fitter.shelf.catalogue),
        price="" if part is None else money_words(_charged(kit, part.sku), terms),
        out_of_stock="" if is_kept else _out_of_stock(fitter, kit, slot),
        reduced="" if part is None else _reduced(fitter, kit, slot),
        ruler=ruler(target, size_in(gear, units), gear.size, ends_in(target, units)),
    )


def _out_of_stock(fitter: Fitter, kit: Kit, slot: str) -> str:
    best = fitter.best_ignoring_stock(slot)
    if best is None or fitter.shelf.is_free(best) or best.sku == kit.bought[slot].sku:
        return ""
    verdict_now, verdict_best = (
        fitter.fitting.sizing.judge(kit.bought[slot].gear),
        fitter.fitting.sizing.judge(best.gear),
    )
    if getattr(verdict_best, "misfit", 0.0) >= getattr(verdict_now, "misfit", 0.0):
        return ""
    nearer = f"{best.name} ({size_words(best.gear)}) would be nearer still, but is out of stock"
    return f"{nearer}; this is the nearest in stock that fits the rest."


def _reduced(fitter: Fitter, kit: Kit, slot: str) -> str:
    part = kit.bought[slot]
    line = next(line for line in kit.price.lines if line.sku == part.sku)
    reduction = fitter.shelf.catalogue.reduction_of(part, fitter.today)
    if reduction is None or line.charged != reduction.now:
        return ""
    return reduced_words(reduction, fitter.shelf.catalogue.policy.shop)


def reduced_words(reduction: Reduction, terms: ShopTerms) -> str:
    """That a part is reduced, against the price that the law wants beside it."""
    by = f"by {reduction.whole_percent} % " if reduction.whole_percent else ""
    return (
        f"Reduced {by}to {money_words(reduction.now, terms)}; the lowest price in the 30 days before "
        f"was {money_words(reduction.prior, terms)}."
    )


def said_in(change: SizeChange | None, units: Units) -> SizeChange | None:
    """What could stand in a part's place, its lengths said in units."""
    if change is None or (units.length == "cm" and units.mass == "kg"):
        return change
    refusal = None if change.refusal is None else measures_said_in(change.refusal, units)
    return replace(change, label=measures_said_in(change.label, units), refusal=refusal)


def _charged(kit: Kit, sku: str) -> int:
    return next(line.charged for line in kit.price.lines if line.sku == sku)


def own_fields(slot: str, catalogue: Catalogue) -> tuple[OwnField, ...]:
    """What must be known of a piece of one's own before a kit can be built on it."""
    return tuple(
        OwnField(
            name=f"{own_prefix(slot)}-{measure.name}",
            question=MEASURE_WORDS[measure.name].capitalize(),
            unit=_unit(measure.name) if measure.is_number else "",
            options=() if measure.is_number else measure.words or catalogue.words_of(slot, measure.name),
        )
        for measure in MEASURES[slot]
        if measure.to_fit
    )


def own_prefix(slot: str) -> str:
    """What the names of the fields of one's own piece in a slot begin with."""
    return f"keeps-{slot}-0"


def _unit(measure: str) -> str:
    if measure == "aspect_ratio":
        return ""
    return measure.rsplit("_", 1)[1].replace("cm2", "cm²").replace("m2", "m²")


def stronger_wing(fitter: Fitter, kit: Kit) -> tuple[str, str, str] | None:
    """The hand wing for stronger wind to offer beside a kept one: SKU, words, and whether it is in already."""
    wanted = fitter.fitting.stronger_wind_m2
    if wanted is None:
        return None
    if "hand_wing" in kit.bought:
        part = kit.bought["hand_wing"]
        return part.sku, f"{part.name}, {size_words(part.gear)}", "in"
    free = fitter.shelf.core["hand_wing"]
    if not free:
        return None
    part = min(free, key=lambda wing: (abs(wing.gear.size - wanted), wing.price_on(fitter.today), wing.sku))
    return part.sku, f"{part.name}, {size_words(part.gear)}", ""
