"""What to order for a season: for each size what is likely wanted, what is there, and so how many; the owner's own word over it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from fractions import Fraction

from server.domain.catalogue import Part
from server.domain.money import Cents, Exact, round_half_up
from server.domain.ordering import Demand, Share, Stakes, Suggestion, buyers_of, stakes_of, suggest
from server.domain.policy import Policy
from server.domain.size_classes import Asked, SizeClass, class_asked, class_of, classes_of
from server.domain.slots import CORE_SLOTS

MOST_PIECES = 9999

JOINED_BY: Mapping[str, tuple[str, ...]] = {
    "mast": ("track", "mount"),
    "fuselage": ("mount",),
    "front_foil": ("mount",),
    "tail": ("mount",),
}
"""What a part has to share with the rest of its kit. A board is chosen first and brings the rest, so it is ordered by size alone."""


def joins_of(part: Part) -> tuple[str, ...]:
    """What a part joins, so that a part of the same size with other joins does not do instead: ("twin-track", "cone")."""
    return tuple(part.gear.text(name) for name in JOINED_BY.get(part.slot, ()))


@dataclass(frozen=True, slots=True)
class Wanted:
    """A size or part that can be ordered: its key, its slot, how often it was asked for and not there, and the parts that are of it.

    `counter` pieces were sold over the counter in the same days, never less than none. Without a size it is one part by itself;
    without parts it is a size that nothing stocked fits, of which `ideals` are those asked for.
    """

    key: str
    slot: str
    asked: int
    unmet: int
    counter: int
    parts: tuple[Part, ...]
    size: SizeClass | None = None
    joins: tuple[str, ...] = ()
    ideals: tuple[float, ...] = ()


def wanted_sizes(
    slot: str, parts: Sequence[Part], asked: Iterable[Asked], known: Mapping[str, Part], counter: Mapping[str, int]
) -> tuple[Wanted, ...]:
    """All sizes of a core slot that can be ordered or were asked for, by what they join and then by size.

    `parts` are those on sale, `known` all that ever were. A size is asked for with the joins of the part that was offered for it,
    since the rest of that kit has them; where they are not known any more, with those of most parts on sale. Classes of sizes are
    made of the parts with the same joins, each size asked for belonging to the nearest that could be put in its place, if any could.
    """
    groups: dict[tuple[str, ...], list[Part]] = {}
    for part in parts:
        groups.setdefault(joins_of(part), []).append(part)
    usual = max(groups, key=lambda joins: len(groups[joins]), default=())
    told: dict[tuple[str, ...], list[Asked]] = {joins: [] for joins in groups}
    for one in asked:
        joins = joins_of(known[one.sku]) if one.sku in known else usual
        told.setdefault(joins, []).append(one)
    return tuple(
        wanted
        for joins in sorted(told)
        for wanted in _of_joins(slot, joins, groups.get(joins, []), told[joins], counter)
    )


def _of_joins(
    slot: str, joins: tuple[str, ...], parts: Sequence[Part], asked: Sequence[Asked], counter: Mapping[str, int]
) -> Iterable[Wanted]:
    classes = classes_of(slot, (part.gear.size for part in parts))
    told: dict[str, list[Asked]] = {size.key: [] for size in classes}
    for one in asked:
        told[class_asked(classes, one).key].append(one)
    for size in classes:
        some = tuple(part for part in parts if class_of(classes, part.gear.size) is size)
        yield Wanted(
            key="/".join((size.key, *joins)),
            slot=slot,
            asked=len(told[size.key]),
            unmet=sum(one.is_unmet for one in told[size.key]),
            counter=counter_sales(some, counter),
            parts=some,
            size=size,
            joins=joins,
            ideals=tuple(sorted(one.ideal for one in told[size.key])),
        )


def counter_sales(parts: Iterable[Part], counter: Mapping[str, int]) -> int:
    """Pieces of parts sold over the counter less those that came back; never less than none, since no season wants fewer."""
    return max(0, _of(parts, counter))


@dataclass(frozen=True, slots=True)
class There:
    """What is there of each part by SKU: on hand, held, and due until the end of the season."""

    on_hand: Mapping[str, int]
    held: Mapping[str, int]
    due: Mapping[str, int]


@dataclass(frozen=True, slots=True)
class OwnChoice:
    """What the owner wants in place of what is suggested: how many pieces, of which part ("" for the one that is meant)."""

    pieces: int
    sku: str = ""


@dataclass(frozen=True, slots=True)
class OrderLine:
    """A line of the list: what is wanted, what is there, what is suggested and of which part, and what the owner chose if anything."""

    wanted: Wanted
    demand: Demand
    stakes: Stakes
    price: Cents
    on_hand: int
    held: int
    due: int
    suggestion: Suggestion
    meant: Part
    choice: OwnChoice | None = None

    @property
    def part(self) -> Part:
        """The part to order."""
        own = self.choice.sku if self.choice else ""
        return next((part for part in self.wanted.parts if part.sku == own), self.meant)

    @property
    def pieces(self) -> int:
        """How many of it."""
        return self.suggestion.order if self.choice is None else self.choice.pieces

    @property
    def cost(self) -> Cents:
        """What they cost, without VAT."""
        return self.pieces * self.part.cost


@dataclass(frozen=True, slots=True)
class Terms:
    """What a list is worked out with: the share that buys, how much longer the season is, the discount usually given in per cent."""

    share: Share
    scale: float
    discount_percent: Exact
    policy: Policy
    today: date


def usual_price(part: Part, terms: Terms) -> Cents:
    """What a part usually brings: its list price less the discount usually given, or its markdown where that is less; rounded once."""
    percent = Fraction(terms.discount_percent) if part.slot in CORE_SLOTS else Fraction(0)
    return min(part.price_on(terms.today), round_half_up(part.price * (100 - percent) / 100))


def meant_of(parts: Sequence[Part], sold: Mapping[str, int], today: date) -> Part:
    """Of parts that do the same: at its plain price before being cleared, then sold or quoted most, then cheapest to buy."""

    def place(part: Part) -> tuple[bool, int, Cents, str]:
        return part.markdown_on(today) is not None, -sold.get(part.sku, 0), part.cost, part.sku

    return min(parts, key=place)


@dataclass(frozen=True, slots=True)
class UnlistedLine:
    """A size that nothing in the catalogue fits: what is likely wanted of it, and how many pieces the owner chose if any.

    Without a part there is neither price nor cost, so nothing is suggested; and no piece that is there is free for those who asked.
    """

    wanted: Wanted
    demand: Demand
    choice: OwnChoice | None = None

    @property
    def pieces(self) -> int:
        """How many are ordered."""
        return 0 if self.choice is None else self.choice.pieces

    @property
    def size(self) -> float:
        """The size to ask makers for: the middle one of those asked for; 0 where none was."""
        ideals = self.wanted.ideals
        return ideals[len(ideals) // 2] if ideals else 0.0


def order_line(
    wanted: Wanted, terms: Terms, there: There, sold: Mapping[str, int], choice: OwnChoice | None
) -> OrderLine | None:
    """A line worked out; None for a size of which nothing is in the catalogue to be ordered.

    What is held is spoken for and not counted as there. The stakes are those of the part to order.
    """
    if not wanted.parts:
        return None
    meant = meant_of(wanted.parts, sold, terms.today)
    own = choice.sku if choice else ""
    part = next((one for one in wanted.parts if one.sku == own), meant)
    price = usual_price(part, terms)
    worth = terms.policy.end_of_season_value
    afterwards: Decimal = worth[part.slot if part.slot in worth else "extras"]
    stakes = stakes_of(price, part.cost, terms.policy.shop.vat_percent, afterwards)
    demand = buyers_of(wanted.asked, terms.scale, terms.share, wanted.counter)
    on_hand, held, due = (_of(wanted.parts, some) for some in (there.on_hand, there.held, there.due))
    suggestion = suggest(demand, stakes, max(0, on_hand - held), due)
    return OrderLine(wanted, demand, stakes, price, on_hand, held, due, suggestion, meant, choice)


def unlisted_line(wanted: Wanted, terms: Terms, choice: OwnChoice | None) -> UnlistedLine | None:
    """A line for a size that nothing in the catalogue fits; None where nobody asked for one."""
    if wanted.parts or not wanted.asked:
        return None
    return UnlistedLine(wanted, buyers_of(wanted.asked, terms.scale, terms.share), choice)


def _of(parts: Iterable[Part], pieces: Mapping[str, int]) -> int:
    return sum(pieces.get(part.sku, 0) for part in parts)


@dataclass(frozen=True, slots=True)
class MakersOrder:
    """What is ordered of a maker: parts with their pieces, by SKU."""

    maker: str
    parts: tuple[tuple[Part, int], ...]

    @property
    def pieces(self) -> int:
        """All pieces."""
        return sum(pieces for _, pieces in self.parts)

    @property
    def cost(self) -> Cents:
        """What they cost, without VAT."""
        return sum(part.cost * pieces for part, pieces in self.parts)


def by_maker(lines: Iterable[OrderLine]) -> tuple[MakersOrder, ...]:
    """The order of each maker by name, a part once with all its pieces; what is not ordered is left out."""
    parts: dict[str, Part] = {}
    pieces: dict[str, int] = {}
    for line in lines:
        if line.pieces:
            parts[line.part.sku] = line.part
            pieces[line.part.sku] = pieces.get(line.part.sku, 0) + line.pieces
    makers: dict[str, list[tuple[Part, int]]] = {}
    for sku in sorted(parts):
        makers.setdefault(parts[sku].maker, []).append((parts[sku], pieces[sku]))
    return tuple(MakersOrder(maker, tuple(makers[maker])) for maker in sorted(makers))
