"""Parts and what becomes of them in words: how many of what, the fields of a part, and a change of one or of many in a sentence."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from decimal import Decimal

from server.domain.bulk_changes import BulkChange
from server.domain.catalogue import Part
from server.domain.catalogue_changes import FieldChange, part_change
from server.domain.money import Cents
from server.domain.slots import MEASURE_WORDS, SLOT_WORDS

MoneyWords = Callable[[Cents], str]
DayWords = Callable[[date], str]

FIELD_WORDS = {
    **MEASURE_WORDS,
    "slot": "slot",
    "name": "name",
    "maker": "maker",
    "gtin": "GTIN",
    "price": "price",
    "cost": "cost",
    "sold": "sold",
    "markdown_price": "marked down to",
    "markdown_from": "marked down from",
    "fee": "fee",
    "title": "title",
    "minutes": "minutes",
    "places": "places",
    "days": "working days",
    "water": "water",
    "min_depth_m": "depth at low tide",
    "gust_ratio": "gusts over the steady wind",
    "safe_share": "share of safe winds",
    "safe_from_deg": "safe winds from",
    "safe_to_deg": "safe winds to",
    "means_kn": "mean winds by month",
    "shape": "spread of the winds",
    "water_c": "water by month",
    "parts": "parts",
}
"""How the columns of parts, sets and places are called within a sentence."""
ROUNDED_WORDS = {
    "exact": "",
    "00": ", rounded to whole euros",
    "50": ", rounded to .00 or .50",
    "90": ", rounded to .90",
}
SAME_IN_PLURAL = ("covers",)
MOST_NAMED = 3


def many_words(slot: str) -> str:
    """Several parts of a slot: hand wings, board leashes."""
    word = SLOT_WORDS[slot]
    if slot in SAME_IN_PLURAL:
        return word
    return f"{word}es" if word.endswith("sh") else f"{word}s"


def counted_words(parts: Sequence[Part]) -> str:
    """Parts by how many there are of what: one by its name; 25 hand wings; 3 parts where they are of several slots."""
    if len(parts) == 1:
        return parts[0].name
    slots = {part.slot for part in parts}
    return f"{len(parts)} {many_words(slots.pop()) if len(slots) == 1 else 'parts'}"


def change_words(before: Part, after: Part, money: MoneyWords, day: DayWords) -> str:
    """What became of a part: Mudflat 92: marked down to €2,199.00 from 28 November 2026."""
    fields = [one for one in part_change(before, after).fields if not one.name.startswith("markdown_")]
    said = [_field_words(one, before, after, money) for one in fields]
    if before.markdown != after.markdown:
        said.append(_markdown_words(after, money, day))
    return f"{after.name}: {', '.join(said) or 'as it was'}"


def _field_words(field: FieldChange, before: Part, after: Part, money: MoneyWords) -> str:
    if field.name == "price":
        return f"price {money(before.price)} → {money(after.price)}"
    if field.name == "cost":
        return f"cost {money(before.cost)} → {money(after.cost)}"
    if field.name == "sold":
        return "sold again" if after.sold else "not sold any more"
    return f"{FIELD_WORDS.get(field.name, field.name)} {_said(field.before)} → {_said(field.after)}"


def _said(value: object) -> str:
    """A value of a field, numbers without zeros that say nothing."""
    if isinstance(value, float):
        return f"{value:g}"
    return "none" if value is None or value == "" else str(value)


def _markdown_words(after: Part, money: MoneyWords, day: DayWords) -> str:
    if after.markdown is None:
        return "not marked down any more"
    since = f" from {day(after.markdown.since)}" if after.markdown.since else ""
    return f"marked down to {money(after.markdown.price)}{since}"


def rows_words(changed: Sequence[tuple[Part, Part]], money: MoneyWords, day: DayWords) -> str:
    """What became of parts that were changed one by one at once: of one all of it, of several their names."""
    if len(changed) == 1:
        return change_words(*changed[0], money, day)
    parts = [after for _, after in changed]
    return f"{counted_words(parts)} changed in the list: {names_words(part.name for part in parts)}"


def names_words(names: Iterable[str], most: int = MOST_NAMED) -> str:
    """The first names, and how many more there are."""
    listed = list(names)
    more = len(listed) - most
    return ", ".join(listed[:most]) + (f" and {more} more" if more > 0 else "")


def bulk_words(change: BulkChange, parts: Sequence[Part], money: MoneyWords, day: DayWords) -> str:
    """One change of many parts: 25 hand wings up 4 %, rounded to whole euros."""
    what = counted_words(parts)
    if change.kind == "price":
        return f"{what} {_moved_words(change, money)}{ROUNDED_WORDS[change.ending]}"
    if change.kind == "markdown":
        percent = (change.percent or Decimal(0)).normalize()
        since = f" from {day(change.since)}" if change.since else ""
        return f"{what} marked down by {percent:f} %{since}{ROUNDED_WORDS[change.ending]}"
    if change.kind == "markdown_off":
        return f"{what} not marked down any more"
    return f"{what} {'sold again' if change.sold else 'not sold any more'}"


def _moved_words(change: BulkChange, money: MoneyWords) -> str:
    moved = change.percent if change.percent is not None else Decimal(change.amount or 0)
    way = "up" if moved > 0 else "down"
    if change.percent is None:
        return f"{way} by {money(abs(change.amount or 0))}"
    return f"{way} {abs(change.percent).normalize():f} %"
