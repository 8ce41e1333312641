"""What differs between two states of a catalogue's parts, field by field."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.domain.catalogue import Part
from server.domain.deposits import decimal_of
from server.domain.money import Cents, Exact, vat_inside

MONEY = frozenset({"price", "cost", "markdown_price"})


@dataclass(frozen=True, slots=True)
class FieldChange:
    """A field with what it said and what it says; None where it says nothing."""

    name: str
    before: object
    after: object

    def __str__(self) -> str:
        return f"{self.name} {_or_none(self.before)} -> {_or_none(self.after)}"


@dataclass(frozen=True, slots=True)
class PartChange:
    """A part as it was and as it is, with the fields that differ; one that comes back after it was retired may differ in none."""

    before: Part
    after: Part
    fields: tuple[FieldChange, ...]

    @property
    def price_ratio(self) -> float:
        """The list price in terms of what it was: 1.05 where it went up by a twentieth."""
        return self.after.price / self.before.price

    @property
    def is_far(self) -> bool:
        """Whether the list price falls or rises by more than half, as a slip of the keyboard makes it."""
        return not 0.5 <= self.price_ratio <= 1.5


@dataclass(frozen=True, slots=True)
class PartsChanged:
    """What becomes of the parts of a catalogue."""

    new: tuple[Part, ...] = ()
    back: tuple[PartChange, ...] = ()
    changed: tuple[PartChange, ...] = ()
    retired: tuple[Part, ...] = ()
    unchanged: int = 0

    @property
    def far(self) -> tuple[PartChange, ...]:
        """Parts whose list price goes so far that it may be a slip, the farthest first."""
        moved = [one for one in (*self.changed, *self.back) if one.is_far]
        return tuple(sorted(moved, key=lambda one: max(one.price_ratio, 1 / one.price_ratio), reverse=True))

    def under_cost(self, vat_percent: Exact) -> tuple[Part, ...]:
        """Parts that are new, back, or of another price or cost, and would be sold for less than they cost without VAT."""
        priced = [one.after for one in self.changed if any(field.name in MONEY for field in one.fields)]
        parts = (*self.new, *(one.after for one in self.back), *priced)
        return tuple(part for part in parts if is_under_cost(part, vat_percent))

    @property
    def is_nothing(self) -> bool:
        """Whether no part differs."""
        return not (self.new or self.back or self.changed or self.retired)


def lowest_price(part: Part) -> Cents:
    """The least that a part is sold for: its markdown, also one that is still to come, else its price."""
    return part.price if part.markdown is None else min(part.price, part.markdown.price)


def is_under_cost(part: Part, vat_percent: Exact) -> bool:
    """Whether the least that a part is sold for, VAT taken out, is less than its cost, which is without VAT."""
    price = lowest_price(part)
    return price - vat_inside(price, vat_percent) < part.cost


def _or_none(value: object) -> object:
    return "none" if value is None else value


def facts_of(part: Part) -> dict[str, object]:
    """What a part says, under the names of its columns."""
    facts: dict[str, object] = {"slot": part.slot, "name": part.name, "maker": part.maker, "gtin": part.gtin}
    facts |= {"price": decimal_of(part.price), "cost": decimal_of(part.cost), "sold": "yes" if part.sold else "no"}
    if part.markdown is not None:
        facts |= {"markdown_price": decimal_of(part.markdown.price), "markdown_from": part.markdown.since}
    return facts | dict(part.gear.measures)


def fields_changed(before: Mapping[str, object], after: Mapping[str, object]) -> tuple[FieldChange, ...]:
    """The fields that differ, in their order."""
    return tuple(
        FieldChange(name, before.get(name), after.get(name))
        for name in {**before, **after}
        if before.get(name) != after.get(name)
    )


def part_change(before: Part, after: Part) -> PartChange:
    """How a part differs from what it was."""
    return PartChange(before, after, fields_changed(facts_of(before), facts_of(after)))


def parts_changed(before: Mapping[str, Part], after: Iterable[Part]) -> PartsChanged:
    """What becomes of parts when others take their place; those that are absent afterwards are retired."""
    new, back, changed, unchanged = [], [], [], 0
    listed = set()
    for part in after:
        listed.add(part.sku)
        was = before.get(part.sku)
        if was is None:
            new.append(part)
        elif was.retired:
            back.append(part_change(was, part))
        elif fields := part_change(was, part).fields:
            changed.append(PartChange(was, part, fields))
        else:
            unchanged += 1
    retired = [part for sku, part in before.items() if not part.retired and sku not in listed]
    return PartsChanged(tuple(new), tuple(back), tuple(changed), tuple(retired), unchanged)
