"""Parts, spots, lessons and zones as the shop lists them; the shelf that a kit is chosen from; price reductions."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cached_property
from types import MappingProxyType

from server.domain import physics
from server.domain.money import Cents
from server.domain.policy import Policy
from server.domain.prices import Markdown, PricePoint, Reduction, reduction_from
from server.domain.slots import CORE_SLOTS, SIZES

MeasureValue = float | str


@dataclass(frozen=True, slots=True)
class Gear:
    """A piece of gear as its measures tell it: a part of the catalogue, or what a learner owns."""

    slot: str
    measures: Mapping[str, MeasureValue]

    def number(self, name: str) -> float:
        """A measure that must be there, as a number; raises `KeyError` where it is unknown."""
        return float(self.measures[name])

    def number_or(self, name: str, default: float) -> float:
        """A measure as a number, or the default where it is unknown."""
        return float(self.measures.get(name, default))

    def text(self, name: str) -> str:
        """A measure as text; empty where it is unknown."""
        return str(self.measures.get(name, ""))

    @property
    def size(self) -> float:
        """The measure that its slot is sized by: litres, cm, cm² or m²."""
        return self.number(SIZES[self.slot])


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the catalogue; prices include VAT, `cost` is net of it, both in cents."""

    sku: str
    name: str
    maker: str
    gtin: str
    price: Cents
    cost: Cents
    gear: Gear
    sold: bool = True
    markdown: Markdown | None = None
    retired: bool = False

    @property
    def on_sale(self) -> bool:
        """Whether the shop sells it, in stock or not."""
        return self.sold and not self.retired

    @property
    def asked(self) -> Cents | None:
        """Its list price while it is on sale; None while nobody is asked for it."""
        return self.price if self.on_sale else None

    @property
    def slot(self) -> str:
        """The slot it fills."""
        return self.gear.slot

    def markdown_on(self, today: date) -> Cents | None:
        """Its marked-down price on a day, or None."""
        return self.markdown.price if self.markdown is not None and self.markdown.holds_on(today) else None

    def price_on(self, today: date) -> Cents:
        """What it costs by itself on a day."""
        marked_down = self.markdown_on(today)
        return self.price if marked_down is None else marked_down


@dataclass(frozen=True, slots=True)
class Spot:
    """A place to ride: least depth at low tide, gustiness, wind climate (twelve daylight means in knots, Weibull k)."""

    name: str
    water: str
    min_depth_m: float | None
    gust_ratio: float
    safe_share: float
    safe_from_deg: float | None
    safe_to_deg: float | None
    means_kn: tuple[float, ...]
    shape: float = 2.0
    water_c: tuple[float | None, ...] = (None,) * 12

    @property
    def riding_wind_kn(self) -> float:
        """The wind of the days people ride there."""
        return physics.riding_wind_kn(self.means_kn, self.shape)


@dataclass(frozen=True, slots=True)
class LessonKind:
    """A kind of lesson: fee with VAT and cost without, in cents."""

    kind: str
    title: str
    fee: Cents
    cost: Cents
    minutes: int
    places: int


@dataclass(frozen=True, slots=True)
class Zone:
    """Where the shop delivers to: fee with VAT and cost without, in cents."""

    zone: str
    fee: Cents
    cost: Cents
    days: str


@dataclass(frozen=True, slots=True)
class PartSet:
    """Several parts sold as one item at a price of its own, in cents with VAT; `parts` names a SKU as often as it is in it.

    It has no stock and no cost of its own: both are its parts'.
    """

    sku: str
    name: str
    maker: str
    gtin: str
    price: Cents
    parts: tuple[str, ...]
    sold: bool = True
    retired: bool = False


@dataclass(frozen=True)
class Catalogue:
    """Everything a shop lists, under one version number; what is on hand is not part of it."""

    parts: Mapping[str, Part]
    spots: Mapping[str, Spot] = field(default_factory=lambda: MappingProxyType({}))
    lessons: Mapping[str, LessonKind] = field(default_factory=lambda: MappingProxyType({}))
    zones: Mapping[str, Zone] = field(default_factory=lambda: MappingProxyType({}))
    history: Mapping[str, Sequence[PricePoint]] = field(default_factory=lambda: MappingProxyType({}))
    policy: Policy = field(default_factory=Policy)
    version: int = 0
    sets: Mapping[str, PartSet] = field(default_factory=lambda: MappingProxyType({}))

    @cached_property
    def by_slot(self) -> Mapping[str, tuple[Part, ...]]:
        """The parts on sale of each slot, by SKU."""
        slots: dict[str, list[Part]] = {}
        for part in sorted(self.parts.values(), key=lambda part: part.sku):
            if part.on_sale:
                slots.setdefault(part.slot, []).append(part)
        return MappingProxyType({slot: tuple(parts) for slot, parts in slots.items()})

    def sold_in(self, slot: str) -> tuple[Part, ...]:
        """The parts on sale in a slot, in stock or not."""
        return self.by_slot.get(slot, ())

    def outward(self, slot: str, size: float) -> tuple[Iterator[Part], Iterator[Part]]:
        """The parts on sale in a core slot from a size on: those below it going down, the others going up."""
        sizes, parts = self._by_size[slot]
        place = bisect_left(sizes, size)
        return map(parts.__getitem__, range(place - 1, -1, -1)), map(parts.__getitem__, range(place, len(parts)))

    @cached_property
    def _by_size(self) -> Mapping[str, tuple[Sequence[float], Sequence[Part]]]:
        by_size = {slot: sorted(self.sold_in(slot), key=lambda part: (part.gear.size, part.sku)) for slot in CORE_SLOTS}
        return MappingProxyType({slot: ([part.gear.size for part in parts], parts) for slot, parts in by_size.items()})

    def words_of(self, slot: str, measure: str) -> tuple[str, ...]:
        """The words that a measure of the parts on sale in a slot has, in order."""
        known = self._words.get((slot, measure))
        if known is None:
            known = tuple(sorted({part.gear.text(measure) for part in self.sold_in(slot)}))
            self._words[slot, measure] = known
        return known

    @cached_property
    def _words(self) -> dict[tuple[str, str], tuple[str, ...]]:
        return {}

    def dearest_list_price(self, slot: str) -> Cents | None:
        """The dearest list price of a slot among parts on sale, before markdown; None where none is sold."""
        return self._dearest.get(slot)

    @cached_property
    def _dearest(self) -> Mapping[str, Cents]:
        return MappingProxyType({slot: max(part.price for part in parts) for slot, parts in self.by_slot.items()})

    @cached_property
    def workings(self) -> dict[object, object]:
        """Room for what is worked out from this version once and kept with it, as its racks are."""
        return {}

    def reduction_of(self, part: Part, today: date) -> Reduction | None:
        """How a part may be called reduced today, or None where it is not marked down or the law lets no one say so."""
        if part.markdown is None or not part.markdown.holds_on(today):
            return None
        known = self._reductions.get(part.sku)
        if known is None or known[0] is not part or known[1] != today:
            points = (point for point in self.history.get(part.sku, ()) if point.since <= today)
            known = self._reductions[part.sku] = part, today, reduction_from(points, part.markdown)
        return known[2]

    @cached_property
    def _reductions(self) -> dict[str, tuple[Part, date, Reduction | None]]:
        """What was last found of each part, with the day it was asked for."""
        return {}


def _mass_range(gear: Gear) -> tuple[float, float]:
    return gear.number_or("mass_from_kg", 0), gear.number_or("mass_to_kg", 1e9)


@dataclass(frozen=True)
class Shelf:
    """A catalogue with what is free of each part today: on hand less held, never below zero."""

    catalogue: Catalogue
    free: Mapping[str, int]

    def is_free(self, part: Part) -> bool:
        """Whether a part can be sold today."""
        return part.on_sale and self.free.get(part.sku, 0) > 0

    @cached_property
    def core(self) -> Mapping[str, tuple[Part, ...]]:
        """The parts of each core slot that can be sold today, by SKU."""
        return MappingProxyType(
            {slot: tuple(part for part in self.catalogue.sold_in(slot) if self.is_free(part)) for slot in CORE_SLOTS}
        )

    def outward(self, slot: str, size: float) -> tuple[Iterator[Part], Iterator[Part]]:
        """As the catalogue's, of the parts that can be sold today."""
        below, above = self.catalogue.outward(slot, size)
        return filter(self.is_free, below), filter(self.is_free, above)

    def ranges_in(self, slot: str, today: date) -> tuple[tuple[float, float, Part], ...]:
        """The parts on sale in a slot, each with the mass of the learners it is for, from and to kg: in stock first, then
        cheapest on a day, then by SKU. They are put in order once for each slot and day."""
        known = self._ranges.get((slot, today))
        if known is None:
            parts = self.catalogue.sold_in(slot)
            ordered = sorted(parts, key=lambda part: (not self.is_free(part), part.price_on(today), part.sku))
            known = self._ranges[slot, today] = tuple((*_mass_range(part.gear), part) for part in ordered)
        return known

    @cached_property
    def _ranges(self) -> dict[tuple[str, date], tuple[tuple[float, float, Part], ...]]:
        return {}

    def free_in(self, slot: str) -> tuple[Part, ...]:
        """The parts of a slot that can be sold today."""
        return tuple(part for part in self.catalogue.sold_in(slot) if self.is_free(part))
