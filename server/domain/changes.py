"""What differs between two revisions of a quote, as a short list that is read aloud as easily as it is read."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from server.domain.catalogue import Gear
from server.domain.kits import size_words
from server.domain.learner import (
    MONEY,
    QUESTIONS,
    SEEN,
    SEEN_ANSWERS,
    TRADE_QUESTIONS,
    YesNoQuestion,
    read_sighting,
    usual_wing_handling,
)
from server.domain.money import Cents
from server.domain.pricing import LESSON, Line
from server.domain.quotes import Quote, QuotedKit
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, MEASURE_WORDS, SIZES, SLOT_WORDS

Said = str | Cents
"""Words, or an amount in whole cents that whoever shows it writes in the shop's money; empty words where there was nothing."""

DEFAULTS: Mapping[str, Any] = {"delivery": "deliver", "under_18": False, "swims_100m": True}
UNIT_OF = {"kg": "kg", "l": "l", "cm": "cm", "cm2": "cm²", "m2": "m²"}
TRADE_UNITS = {"months": " months"}
INCLUDED = "included"
FREE = "free"
TAKEN_OFF = {
    "agreed_off": "further discount, agreed",
    "trade_in": "gear traded in",
    "deposit_back": "lesson deposit given back",
    "voucher": "voucher",
}
PART_OF_ROUNDING: Cents = 1
"""A kit discount is spread over its lines by largest remainder, so a line may move by a cent when another part changes."""


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that differs: its field, its words, and what it was and is.

    `what` is empty for an answer: its `field` is named as the form names it (`usual_wind_kn`, `trades-0-months`), and the page has
    the words of its questions. Both sides are words or an amount in cents; where one side has nothing its words are empty.
    """

    field: str
    what: str
    before: Said
    after: Said

    @property
    def is_answer(self) -> bool:
        """Whether it is one of the learner's answers."""
        return not self.what


@dataclass(frozen=True, slots=True)
class Revised:
    """A quote's newest revision seen from an older one: which, when and by whom it was made, and what has changed since.

    `makers` holds each who made a revision in between once, in order: "customer", or the name of somebody at the shop.
    """

    revision: int
    since: int
    at: datetime
    makers: tuple[str, ...]
    changes: tuple[Change, ...]


def changes_between(before: Quote, after: Quote) -> tuple[Change, ...]:
    """All that differs for the customer: what was seen, set-up, parts, answers, lines, discounts, trade-in, deposit, delivery, the sum.

    Equal quotes give none. What follows from these, as winds and reasons do, is not listed, nor what only the owner may see. Taken
    the other way round the list is the same with both sides swapped.
    """
    parts = list(_parts(before.kit, after.kit))
    lines = list(_lines(before, after))
    return (
        *_differing(SEEN, "seen on the water", _sighted(before), _sighted(after)),
        *_differing("setup", "set-up", before.setup, after.setup),
        *parts,
        *_answers(before, after, {change.field for change in (*parts, *lines)}),
        *lines,
        *_sums(before, after),
    )


def _sighted(quote: Quote) -> str:
    """What an instructor saw, when and who, in words; empty where nothing was seen yet."""
    seen = quote.answers.get(SEEN)
    return read_sighting(seen).told if seen is not None else ""


def _differing(field: str, what: str, before: Said, after: Said) -> Iterator[Change]:
    if before != after:
        yield Change(field, what, before, after)


# Parts.


def _parts(before: QuotedKit, after: QuotedKit) -> Iterator[Change]:
    for slot in CORE_SLOTS:
        # Sizes alone where they tell the two apart, else the names too, else the SKU or every measure.
        for words in (_by_size, _by_name, _by_all):
            was, now = _flying(before, slot, words), _flying(after, slot, words)
            if was != now:
                yield Change(slot, SLOT_WORDS[slot], was, now)
                break


def _flying(kit: QuotedKit, slot: str, words: Callable[[QuotedKit, str, bool], str]) -> str:
    """What is in a slot: one's own piece, the part bought, or one's own with another bought beside it."""
    pieces = [words(kit, slot, True)] if slot in kit.kept else []
    if slot in kit.parts:
        pieces.append(words(kit, slot, False))
    return ", and beside it ".join(pieces)


def _by_size(kit: QuotedKit, slot: str, is_own: bool) -> str:
    gear = Gear(slot, kit.kept[slot]) if is_own else kit.parts[slot].gear
    size = size_words(gear) if SIZES[slot] in gear.measures else ""
    return ", ".join(filter(None, (size, "your own" if is_own else "")))


def _by_name(kit: QuotedKit, slot: str, is_own: bool) -> str:
    size = _by_size(kit, slot, is_own)
    return size if is_own else f"{size}, {kit.parts[slot].name}"


def _by_all(kit: QuotedKit, slot: str, is_own: bool) -> str:
    if not is_own:
        return f"{_by_name(kit, slot, is_own)} ({kit.parts[slot].sku})"
    measures = ", ".join(f"{MEASURE_WORDS.get(name, name)} {value}" for name, value in sorted(kit.kept[slot].items()))
    return f"{_by_size(kit, slot, is_own)} ({measures})"


# Answers.


def _answers(before: Quote, after: Quote, told: set[str]) -> Iterator[Change]:
    """The answers that differ, each under its form's name, but for what a part or a line has told already."""
    was, now = _answered(before), _answered(after)
    for name in sorted({**was, **now}, key=_order):
        kind, _, rest = name.partition("-")
        is_told = kind == "keeps" and rest.partition("-")[0] in told
        if name == "extras":
            is_told = bool(told.intersection(EXTRA_SLOTS))
        if not is_told and not _is_in_a_row_of_one(name, was, now):
            yield from _differing(name, "", was.get(name, ""), now.get(name, ""))


def _order(name: str) -> tuple[int, str]:
    names = (*QUESTIONS, "keeps", "trades")
    kind = name.partition("-")[0]
    return (names.index(kind) if kind in names else len(names), name)


def _is_in_a_row_of_one(name: str, was: Mapping[str, Said], now: Mapping[str, Said]) -> bool:
    """Whether a field is of a piece that only one side names: that piece is told once, by what it is."""
    kind, _, rest = name.partition("-")
    place, _, inner = rest.rpartition("-")
    if kind not in ("keeps", "trades"):
        return False
    row = f"{kind}-{place}-"
    is_there = [any(field.startswith(row) for field in side) for side in (was, now)]
    head = "slot" if kind == "trades" else SIZES.get(place.partition("-")[0], "")
    has_head = any(row + head in side for side in (was, now))
    return not all(is_there) and has_head and inner != head


def _answered(quote: Quote) -> dict[str, Said]:
    """The answers that hold, by the names of the form; what was left to its default is there as the default."""
    seen = quote.answers.get(SEEN) or {}
    given = {name: value for name, value in quote.answers.items() if name != SEEN}
    given |= {name: seen[name] for name in SEEN_ANSWERS if seen.get(name) is not None}
    handling = usual_wing_handling(str(given.get("foil_stage")))
    told = {
        **DEFAULTS,
        "wing_handling": handling,
        **{name: value for name, value in given.items() if value is not None},
    }
    told |= {"mass_kg": quote.mass_kg, "water": quote.water, "usual_wind_kn": quote.usual_wind_kn}
    said = {name: _said(name, value) for name, value in told.items() if name not in ("keeps", "trades")}
    for place, row in enumerate(_rows(told.get("trades"))):
        said |= {f"trades-{place}-{name}": _said_of_trade(name, value) for name, value in row.items()}
    pieces = [str(row.get("slot")) for row in _rows(told.get("keeps"))]
    for place, row in enumerate(_rows(told.get("keeps"))):
        slot = pieces[place]
        number = pieces[:place].count(slot)
        said |= {f"keeps-{slot}-{number}-{name}": _measured(name, row[name]) for name in row if name != "slot"}
    return {name: value for name, value in said.items() if value != ""}


def _rows(value: Any) -> Sequence[Mapping[str, Any]]:
    """Pieces of gear as they were given, without what was left open."""
    return [{name: item for name, item in row.items() if item is not None} for row in value or ()]


def _said(name: str, value: Any) -> Said:
    question = QUESTIONS.get(name)
    if question is MONEY:
        return int(value)
    if isinstance(question, YesNoQuestion):
        return "yes" if question.read(value) else "no"
    unit = {"mass_kg": " kg", "usual_wind_kn": " knots", "min_depth_m": " m"}.get(name, "")
    return _plain(value) + unit


def _said_of_trade(name: str, value: Any) -> Said:
    return int(value) if TRADE_QUESTIONS.get(name) is MONEY else _plain(value) + TRADE_UNITS.get(name, "")


def _measured(name: str, value: Any) -> str:
    unit = UNIT_OF.get(name.rpartition("_")[2], "")
    return f"{_plain(value)} {unit}".rstrip()


def _plain(value: Any) -> str:
    """A value of an answer in words: 80, short flights, helmet and wetsuit."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        return f"{value:g}"
    if isinstance(value, str):
        return SLOT_WORDS.get(value, value.replace("_", " "))
    return ", ".join(sorted(_plain(item) for item in value))


# The price.


def _lines(before: Quote, after: Quote) -> Iterator[Change]:
    yield from _part_prices(before, after)
    was, now = _by_key(before.kit.price.lines), _by_key(after.kit.price.lines)
    for key in sorted({**was, **now}, key=_line_order):
        old, new = was.get(key), now.get(key)
        slot = key[0]
        what = SLOT_WORDS.get(slot, "lessons" if slot == LESSON else key[1] or slot)
        if old is None or new is None:
            yield from _differing(slot, what, _worth(old), _worth(new))
            continue
        yield from _differing(slot, what, old.label, new.label)
        yield from _differing(f"{slot}-price", f"{what}, price", _charge(old), _charge(new))


def _by_key(lines: Iterable[Line]) -> dict[tuple[str, str, int], Line]:
    """The lines that are no part of the kit itself, by slot; where a slot may have several, by their labels, and counted."""
    found: dict[tuple[str, str, int], Line] = {}
    for line in lines:
        if not line.is_core:
            label = "" if line.slot in (*EXTRA_SLOTS, LESSON) else line.label
            number = sum(key[:2] == (line.slot, label) for key in found)
            found[line.slot, label, number] = line
    return found


def _line_order(key: tuple[str, str, int]) -> tuple[int, tuple[str, str, int]]:
    return (EXTRA_SLOTS.index(key[0]) if key[0] in EXTRA_SLOTS else len(EXTRA_SLOTS), key)


def _charge(line: Line) -> Said:
    return INCLUDED if line.worth else line.charged


def _worth(line: Line | None) -> Said:
    """A line that only one side has: what is charged for it, or what is included."""
    if line is None:
        return ""
    return f"{line.label}, {INCLUDED}" if line.worth else line.charged


def _part_prices(before: Quote, after: Quote) -> Iterator[Change]:
    """The parts that stayed and whose price moved of itself: with another discount on all only a new list price counts."""
    was, now = ({line.sku: line for line in quote.kit.price.lines if line.is_core} for quote in (before, after))
    for sku in (sku for sku in was if sku in now):
        old, new = was[sku], now[sku]
        has_same_discount = _discounts(before) == _discounts(after)
        has_moved = abs(old.charged - new.charged) > PART_OF_ROUNDING if has_same_discount else old.list != new.list
        if has_moved:
            yield Change(f"{old.slot}-price", f"{SLOT_WORDS[old.slot]}, price", old.charged, new.charged)


def _discounts(quote: Quote) -> tuple[int, Cents]:
    """The kit discount's per cent, and the cents agreed by hand: both are spread over all parts."""
    price = quote.kit.price
    return (price.tier.percent if price.tier else 0, price.agreed_off)


def _tier(quote: Quote) -> str:
    tier = quote.kit.price.tier
    return f"{tier.name}, {tier.percent} %" if tier else ""


def _sums(before: Quote, after: Quote) -> Iterator[Change]:
    was, now = before.kit.price, after.kit.price
    yield from _differing("tier", "kit discount", _tier(before), _tier(after))
    for field, what in TAKEN_OFF.items():
        yield from _differing(field, what, _off(getattr(was, field)), _off(getattr(now, field)))
    yield from _differing("delivery_fee", "delivery, price", was.delivery or FREE, now.delivery or FREE)
    yield from _differing("balance", "to pay", was.due, now.due)


def _off(amount: Cents) -> Said:
    return -amount if amount else ""
