"""Sets: several parts sold as one item. What is on hand and what it cost are its parts'; its price is its own, split over them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.domain.catalogue import Catalogue, Part, PartSet
from server.domain.errors import Fault
from server.domain.money import Cents, spread

FEWEST_PARTS, MOST_PARTS = 2, 20
JOINED_SLOTS = ("mast", "fuselage", "front_foil", "tail")
"""What holds together under water by its mount."""
PARTS_ACCEPTED = f"{FEWEST_PARTS} to {MOST_PARTS} SKUs of parts with semicolons between them"


@dataclass(frozen=True, slots=True)
class SetLine:
    """One part of a set that is sold, with its share of the set's price, in cents."""

    sku: str
    price: Cents


def skus_in(text: str) -> tuple[str, ...]:
    """The SKUs that a cell names, in its order; what is empty between two semicolons is passed over."""
    return tuple(sku for sku in (one.strip() for one in text.split(";")) if sku)


def said_parts(skus: Iterable[str]) -> str:
    """SKUs as one cell: TUR-M72T; TUR-F62."""
    return "; ".join(skus)


def parts_faults(skus: Sequence[str], parts: Mapping[str, Part]) -> list[Fault]:
    """What is wrong with the parts of a set, if anything: too few or many, one that is not listed, mounts that do not agree."""
    if not FEWEST_PARTS <= len(skus) <= MOST_PARTS:
        return [Fault("parts", f"A set has at least {FEWEST_PARTS} parts; these are {len(skus)}.", PARTS_ACCEPTED)]
    unknown = [sku for sku in dict.fromkeys(skus) if sku not in parts or parts[sku].retired]
    faults = [Fault("parts", f"The catalogue has no part {sku}.", PARTS_ACCEPTED) for sku in unknown]
    listed = {sku: parts[sku] for sku in dict.fromkeys(skus) if sku not in unknown}
    mounts: dict[str, str] = {}
    for sku, part in listed.items():
        if part.slot in JOINED_SLOTS:
            mounts.setdefault(part.gear.text("mount"), sku)
    if len(mounts) > 1:
        words = ", ".join(f"{sku} has the mount {mount}" for mount, sku in mounts.items())
        faults.append(Fault("parts", f"They do not hold together: {words}.", "parts of one mount"))
    return faults


def identity_faults(made: PartSet, parts: Iterable[Part], sets: Iterable[PartSet]) -> list[Fault]:
    """Whether a SKU or GTIN stands for something else already: a part, or another set that is listed."""
    faults = []
    others: list[Part | PartSet] = [*parts, *(one for one in sets if one.sku != made.sku and not one.retired)]
    if any(other.sku.casefold() == made.sku.casefold() for other in others):
        faults.append(Fault("sku", f"{made.sku} is used already.", "a SKU of its own"))
    same = next((other.sku for other in others if other.gtin == made.gtin and not other.retired), None)
    if same is not None:
        faults.append(Fault("gtin", f"{made.gtin} is used already, by {same}.", "a GTIN of its own"))
    return faults


def faults_beside_sets(changed: Sequence[Part], catalogue: Catalogue) -> list[Fault]:
    """What changing parts would break in the sets that are listed: a SKU or GTIN of a set, or mounts that agreed."""
    listed = [one for one in catalogue.sets.values() if not one.retired]
    new = [part for part in changed if not part.retired]
    faults = []
    for one in listed:
        faults += [
            Fault(fault.field, f"The set {one.name} has {getattr(one, fault.field)} already.", fault.accepted)
            for fault in identity_faults(one, new, ())
        ]
    after = {**catalogue.parts, **{part.sku: part for part in changed}}
    named = {part.sku for part in new}
    for one in listed:
        before, then = parts_faults(one.parts, catalogue.parts), parts_faults(one.parts, after)
        if named & set(one.parts) and not before and then:
            faults.append(
                Fault("mount", f"The set {one.name} would not hold together.", "the mount of its other parts")
            )
    return faults


def can_be_sold(one: PartSet, parts: Mapping[str, Part]) -> bool:
    """Whether a set is sold at all: it and each of its parts."""
    return one.sold and not one.retired and all(sku in parts and parts[sku].on_sale for sku in one.parts)


def sets_in(one: PartSet, pieces: Mapping[str, int]) -> int:
    """How many whole sets so many pieces of each part make: the least over its parts, each as often as it is in the set."""
    return max(0, min(pieces.get(sku, 0) // times for sku, times in Counter(one.parts).items()))


def lines_of(one: PartSet, price: Cents, parts: Mapping[str, Part]) -> tuple[SetLine, ...]:
    """A set's parts with the price split over them by their list prices, so that it adds up to the cent again."""
    shares = spread(price, [parts[sku].price for sku in one.parts])
    return tuple(SetLine(sku, share) for sku, share in zip(one.parts, shares, strict=True))


def price_apart(one: PartSet, parts: Mapping[str, Part]) -> Cents:
    """What its parts cost one by one, before any reduction."""
    return sum(parts[sku].price for sku in one.parts if sku in parts)


def sets_among(skus: Iterable[str], catalogue: Catalogue, free: Mapping[str, int]) -> tuple[PartSet, ...]:
    """The sets whose parts are all among those chosen, and which are free today; the one of most parts first."""
    chosen = Counter(skus)
    found = [
        one
        for one in catalogue.sets.values()
        if not Counter(one.parts) - chosen and can_be_sold(one, catalogue.parts) and sets_in(one, free) > 0
    ]
    return tuple(sorted(found, key=lambda one: (-len(one.parts), one.sku)))
