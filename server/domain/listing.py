"""The owner's list of parts: what is on the shelf, what each costs and earns, what is wrong with it; and finding among them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from server.domain.catalogue import Catalogue, Part
from server.domain.counter import gtin_key
from server.domain.finding import folded
from server.domain.money import Cents, share_of, vat_inside
from server.domain.pricing import Margin
from server.domain.reductions import Verdict, judge_markdown
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, SPARE

ALL_SLOTS = (*CORE_SLOTS, *EXTRA_SLOTS, SPARE)
Flag = Literal["loss", "gone", "no_day", "not_reduced", "thin", "reduced"]
FLAGS: tuple[Flag, ...] = ("loss", "gone", "no_day", "not_reduced", "thin", "reduced")
FLAG_WORDS: dict[Flag, str] = {
    "loss": "sold for less than cost",
    "gone": "none in stock",
    "no_day": "marked down without a day",
    "not_reduced": "marked down, not called reduced",
    "thin": "margin under the floor",
    "reduced": "called reduced",
}
STOCK_WORDS = {"in": "in stock", "none": "none in stock", "held": "held for somebody"}
_NUMBERED = re.compile(r"([^0-9]*)([0-9]*)", re.ASCII)
SOLD_WORDS = {"": "not retired", "sold": "sold", "unsold": "not sold now", "retired": "retired"}


@dataclass(frozen=True, slots=True)
class Listed:
    """A part as the owner sees it today: pieces on hand and held, what it earns by itself, what may be said of its markdown."""

    part: Part
    on_hand: int
    held: int
    price: Cents
    margin: Margin
    verdict: Verdict | None
    flags: tuple[Flag, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """What is looked for: words of name, maker, SKU or GTIN; a slot, a maker, how it stands in stock and on sale, a flag."""

    words: str = ""
    slot: str = ""
    maker: str = ""
    stock: str = ""
    sold: str = ""
    flag: str = ""


def margin_at(price: Cents, part: Part, catalogue: Catalogue) -> Margin:
    """What a part earns at a price with VAT: net of VAT, less its cost; a price of 123.00 at 23 % and a cost of 60.00 earn 40.00."""
    return Margin(price - vat_inside(price, catalogue.policy.shop.vat_percent), part.cost, 0)


def price_in_kit(part: Part, catalogue: Catalogue, today: date) -> Cents | None:
    """What a core part costs in a whole kit, to a cent of rounding: the better of its markdown and the kit discount."""
    tier = catalogue.policy.full_tier
    if tier is None or part.slot not in tier.slots:
        return None
    return min(part.price_on(today), part.price - share_of(part.price, tier.percent))


def listed_as(part: Part, catalogue: Catalogue, on_hand: int, held: int, today: date) -> Listed:
    """A part with what is to be known of it today."""
    price = part.price_on(today)
    margin = margin_at(price, part, catalogue)
    verdict = judge_markdown(part, part, catalogue.history.get(part.sku, ()), today)
    return Listed(part, on_hand, held, price, margin, verdict, _flags(part, catalogue, on_hand, margin, verdict, today))


def _flags(
    part: Part, catalogue: Catalogue, on_hand: int, margin: Margin, verdict: Verdict | None, today: date
) -> tuple[Flag, ...]:
    """What is wrong, or worth knowing; of a part that is not on sale nothing is."""
    if not part.on_sale:
        return ()
    holds = {
        "loss": margin.amount < 0,
        "gone": on_hand <= 0,
        "no_day": verdict is not None and verdict.markdown.since is None,
        "not_reduced": verdict is not None and verdict.markdown.since is not None and verdict.reduction is None,
        "thin": margin.is_under(catalogue.policy.margin_floor_percent),
        "reduced": catalogue.reduction_of(part, today) is not None,
    }
    return tuple(flag for flag in FLAGS if holds[flag])


def list_parts(
    catalogue: Catalogue, on_hand: Mapping[str, int], held: Mapping[str, int], today: date
) -> tuple[Listed, ...]:
    """All parts, retired ones too, slot by slot and then by maker and name, numbers in names by their size."""
    places = {slot: place for place, slot in enumerate(ALL_SLOTS)}
    parts = sorted(
        catalogue.parts.values(), key=lambda part: (places[part.slot], part.maker, in_order(part.name), part.sku)
    )
    return tuple(listed_as(part, catalogue, on_hand.get(part.sku, 0), held.get(part.sku, 0), today) for part in parts)


def in_order(name: str) -> tuple[tuple[str, int], ...]:
    """What names are sorted by so that a size stands before a larger one: Mudflat 72 before Mudflat 102."""
    return tuple((text.casefold(), int(digits or 0)) for text, digits in _NUMBERED.findall(name))


def found_among(rows: Iterable[Listed], asked: Asked) -> tuple[Listed, ...]:
    """Those of a list that are looked for, in its order."""
    words, gtin = folded(asked.words).split(), gtin_key(asked.words.strip())
    return tuple(row for row in rows if _is_meant(row, asked, words, gtin))


def _is_meant(row: Listed, asked: Asked, words: list[str], gtin: str | None) -> bool:
    part = row.part
    if (asked.slot and part.slot != asked.slot) or (asked.maker and part.maker != asked.maker):
        return False
    if (asked.flag and asked.flag not in row.flags) or not _stands(row, asked):
        return False
    if gtin is not None and gtin_key(part.gtin) == gtin:
        return True
    text = folded(f"{part.name} {part.maker} {part.sku} {part.gtin}") if words else ""
    return all(word in text for word in words)


def _stands(row: Listed, asked: Asked) -> bool:
    part = row.part
    on_shelf = {"": True, "in": row.on_hand > 0, "none": row.on_hand <= 0, "held": row.held > 0}
    on_sale = {
        "": not part.retired,
        "sold": part.on_sale,
        "unsold": not part.sold and not part.retired,
        "retired": part.retired,
    }
    return on_shelf.get(asked.stock, True) and on_sale.get(asked.sold, True)
