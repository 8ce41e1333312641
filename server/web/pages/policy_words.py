"""Terms of the policy in words: what each is called, how its value reads, and what differs between two policies."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from server.domain.policy import ShopTerms
from server.domain.policy_book import Difference, differences
from server.domain.slots import SLOT_WORDS
from server.web.pages.policy_fields import TERMS, Term, page_of
from server.web.pages.policy_form import USUAL, plain
from server.web.render import money_words

TIER_WORDS = {
    "name": "name",
    "slots": "parts that count",
    "at_least": "how many are bought",
    "percent": "discount",
    "extras": "extras included",
    "lessons.kind": "kind of lesson included",
    "lessons.number": "lessons included",
}
NOTHING = "–"
MOST_NAMED, LONGEST_VALUES = 2, 40
_TIER_KEY = re.compile(r"tiers\[(\d+)\]\.(.+)")


@dataclass(frozen=True, slots=True)
class ChangeShown:
    """A term that differs: its key, its words, and both values as they read; `address` is of the page on which it stands."""

    key: str
    words: str
    before: str
    after: str
    address: str


def key_words(key: str, *terms: Mapping[str, Any]) -> str:
    """A term's key in words; a kit discount is called by its name in the first of the terms that has one there."""
    tier = _TIER_KEY.fullmatch(key)
    if tier:
        place = int(tier[1]) - 1
        rows = [one.get("tiers", ()) for one in terms]
        name = next((str(row[place].get("name", "")) for row in rows if place < len(row)), f"kit discount {tier[1]}")
        return f"{name}: {TIER_WORDS.get(tier[2], tier[2])}"
    if key not in TERMS:
        return key
    _, group, term = TERMS[key]
    if group.is_grid:
        return f"{group.title}: {term.words[:1].lower()}{term.words[1:]}"
    return f"{term.words} (dark pages)" if key.startswith("look.dark_") else term.words


def value_words(key: str, value: Any, shop: ShopTerms) -> str:
    """A value as its owner reads it."""
    if value is None or value in ("", []):
        return NOTHING
    term = TERMS[key][2] if key in TERMS else None
    if term is None:
        return _listed(value) + (" %" if key.endswith(".percent") else "")
    return _of_sort(term, value, shop)


def _of_sort(term: Term, value: Any, shop: ShopTerms) -> str:
    if term.sort == "money":
        return money_words(int(Decimal(str(value)) * 100), shop)
    if term.sort == "share":
        return f"{plain(100 * Decimal(str(value)))} %"
    if term.sort == "yes_no":
        return "yes" if value else "no"
    if term.sort == "knots":
        return ", ".join(f"{plain(mass)} kg {plain(area)} m²" for mass, area in value)
    if term.sort == "rates":
        return ", ".join(f"{day} {plain(rate)} %" for day, rate in value)
    if term.sort in ("whole", "decimal"):
        return f"{plain(value)} {term.unit}".strip()
    return _listed(value)


def _listed(value: Any) -> str:
    rows = value if isinstance(value, list) else [value]
    return ", ".join(SLOT_WORDS.get(str(one), str(one)) for one in rows)


def changes_shown(before: Mapping[str, Any], after: Mapping[str, Any], shop: ShopTerms) -> tuple[ChangeShown, ...]:
    """What differs between two policies' terms, page by page; a term that is left out reads as the ordinary one."""
    return shown(differences({**USUAL, **before}, {**USUAL, **after}), shop, after, before)


def shown(found: Iterable[Difference], shop: ShopTerms, *terms: Mapping[str, Any]) -> tuple[ChangeShown, ...]:
    """Differences in words, in the order of the pages; those that read the same are left out."""
    order = list(TERMS)
    rows = []
    for one in found:
        page = page_of(one.key)
        address = f"/console/policy/pages/{page.name}" if page else ""
        before, after = value_words(one.key, one.before, shop), value_words(one.key, one.after, shop)
        if before != after:
            rows.append(ChangeShown(one.key, key_words(one.key, *terms), before, after, address))
    return tuple(sorted(rows, key=lambda row: _place(row.key, order)))


def changes_line(changes: Sequence[ChangeShown]) -> str:
    """What differs in a line: the first two terms with their values, and how many more there are."""
    named = [_change_words(one) for one in changes[:MOST_NAMED]]
    more = len(changes) - len(named)
    return "; ".join(named) + (f"; and {more} more" if more else "")


def _change_words(one: ChangeShown) -> str:
    """A term with both values, the unit said once; long values are left to the comparison."""
    if len(one.before) + len(one.after) > LONGEST_VALUES:
        return one.words
    number, _, unit = one.after.partition(" ")
    same = bool(unit) and one.before.endswith(f" {unit}")
    before = one.before.removesuffix(f" {unit}") if same else one.before
    return f"{one.words} {before} → {number} {unit}" if same else f"{one.words} {before} → {one.after}"


def _place(key: str, order: list[str]) -> int:
    name = re.sub(r"\[.*", "", key)
    return order.index(name) if name in order else len(order)
