"""What to order for a season: for each size what is likely wanted, what is there, and so how many; the owner's own word over it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from server.domain.catalogue import Part
from server.domain.money import Cents, Exact, round_half_up
from server.domain.ordering import Demand, Share, Stakes, Suggestion, buyers_of, stakes_of, suggest
from server.domain.periods import months_after
from server.domain.policy import Policy
from server.domain.size_classes import SizeClass, class_of, classes_of
from server.domain.slots import CORE_SLOTS

SEASON_BEGINS = 4
SEASON_MONTHS = 6
"""April to September: when learners come in the north of Europe; common practice of the trade, without a source."""
MOST_PIECES = 9999


@dataclass(frozen=True, slots=True)
class Days:
    """Days from a first to a last, both included."""

    first: date
    last: date

    @property
    def number(self) -> int:
        """How many they are."""
        return (self.last - self.first).days + 1

    @property
    def key(self) -> str:
        """What they are known by: 2027-04-01/2027-09-30."""
        return f"{self.first.isoformat()}/{self.last.isoformat()}"


def coming_season(today: date) -> Days:
    """The next April to September that has not begun."""
    first = date(today.year + ((today.month, today.day) > (SEASON_BEGINS, 1)), SEASON_BEGINS, 1)
    return Days(first, months_after(first, SEASON_MONTHS) - timedelta(days=1))


def days_to_count(season: Days, today: date, oldest: date | None) -> Days:
    """The days past that tell about a season: the same days a year before, or where nothing was kept by then as many up to today.

    `oldest` is the day of the oldest quote; neither days end after today.
    """
    last_time = Days(months_after(season.first, -12), min(months_after(season.last, -12), today))
    if last_time.first <= last_time.last and oldest is not None and oldest <= last_time.last:
        return last_time
    return Days(today - timedelta(days=season.number - 1), today)


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

    `counter` pieces were sold over the counter in the same days. Without a size it is one part by itself.
    """

    key: str
    slot: str
    asked: int
    unmet: int
    counter: int
    parts: tuple[Part, ...]
    size: SizeClass | None = None
    joins: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Asked:
    """That somebody asked for a size of a slot: their ideal, the SKU they were offered ("": not known any more), if it was there."""

    slot: str
    ideal: float
    sku: str = ""
    is_unmet: bool = False


def wanted_sizes(
    slot: str, parts: Sequence[Part], asked: Iterable[Asked], known: Mapping[str, Part], counter: Mapping[str, int]
) -> tuple[Wanted, ...]:
    """All sizes of a core slot that can be ordered or were asked for, by what they join and then by size.

    `parts` are those on sale, `known` all that ever were. A size is asked for with the joins of the part that was offered for it,
    since the rest of that kit has them; where they are not known any more, with those of most parts on sale. Classes of sizes are
    made of the parts with the same joins, each size asked for belonging to the nearest that could be put in its place.
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
    asked_by = Counter(class_of(classes, one.ideal).key for one in asked)
    missed_by = Counter(class_of(classes, one.ideal).key for one in asked if one.is_unmet)
    for size in classes:
        some = tuple(part for part in parts if class_of(classes, part.gear.size) is size)
        yield Wanted(
            key="/".join((size.key, *joins)),
            slot=slot,
            asked=asked_by[size.key],
            unmet=missed_by[size.key],
            counter=sum(counter.get(part.sku, 0) for part in some),
            parts=some,
            size=size,
            joins=joins,
        )


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


def meant_of(parts: Sequence[Part], sold: Mapping[str, int]) -> Part:
    """Of parts that do the same: the one sold or quoted most, of equals the cheapest to buy."""
    return min(parts, key=lambda part: (-sold.get(part.sku, 0), part.cost, part.sku))


def order_line(
    wanted: Wanted, terms: Terms, there: There, sold: Mapping[str, int], choice: OwnChoice | None
) -> OrderLine | None:
    """A line worked out; None for a size of which nothing is in the catalogue to be ordered.

    What is held is spoken for and not counted as there. The stakes are those of the part to order.
    """
    if not wanted.parts:
        return None
    meant = meant_of(wanted.parts, sold)
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
