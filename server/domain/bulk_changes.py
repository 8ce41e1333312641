"""One change for many parts: new prices by per cent or amount, markdowns, whether they are sold; each worked out or refused."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from server.domain.catalogue import Catalogue, Part
from server.domain.money import Cents, Exact, round_half_up
from server.domain.prices import Markdown
from server.domain.reductions import Verdict, judge_markdown

Ending = Literal["exact", "00", "50", "90"]
ENDING_WORDS: dict[Ending, str] = {
    "exact": "to the cent",
    "00": "to a whole euro, .00",
    "50": "to .00 or .50",
    "90": "to .90",
}
DEAREST = 100_000_00
BulkKind = Literal["price", "markdown", "markdown_off", "sold"]


@dataclass(frozen=True, slots=True)
class BulkChange:
    """What is to be done: prices changed by a percentage or an amount in cents; a percentage off the price from a day on; markdowns
    taken off; sold or not. Of `percent` and `amount` one is given for prices, `percent` alone for markdowns."""

    kind: BulkKind
    percent: Decimal | None = None
    amount: Cents | None = None
    ending: Ending = "exact"
    since: date | None = None
    sold: bool = True
    dearer_too: bool = False
    """Whether parts are marked down also where they cost less today."""


@dataclass(frozen=True, slots=True)
class Changed:
    """A part and what it becomes; or, with `refused`, why it stays as it is."""

    before: Part
    after: Part
    verdict: Verdict | None = None
    refused: Literal["", "same", "price", "markdown_above", "not_below", "none", "past", "smaller", "dearer"] = ""
    is_dearer: bool = False
    """Whether it is marked down further already, so that it would become dearer."""


def ended(price: Exact, ending: Ending) -> Cents:
    """The nearest price with an ending, of two equally near the dearer; 1,248.53 to .90 is 1,248.90, to .00 it is 1,249.00."""
    if ending == "exact":
        return round_half_up(price)
    step, end = (50, 0) if ending == "50" else (100, int(ending))
    return round_half_up(Fraction(Fraction(price) - end, step)) * step + end


def change_all(change: BulkChange, parts: Iterable[Part], catalogue: Catalogue, today: date) -> tuple[Changed, ...]:
    """What a change makes of each part."""
    return tuple(_change_one(change, part, catalogue, today) for part in parts)


def _change_one(change: BulkChange, part: Part, catalogue: Catalogue, today: date) -> Changed:
    if change.kind == "price":
        return _repriced(change, part, catalogue, today)
    if change.kind == "markdown":
        return _marked_down(change, part, catalogue, today)
    if change.kind == "markdown_off":
        after = replace(part, markdown=None)
        return Changed(part, after, refused="none" if part.markdown is None else "")
    after = replace(part, sold=change.sold)
    return Changed(part, after, refused="same" if after == part else "")


def _repriced(change: BulkChange, part: Part, catalogue: Catalogue, today: date) -> Changed:
    moved = Fraction(part.price) * (100 + Fraction(change.percent or 0)) / 100 + (change.amount or 0)
    price = ended(moved, change.ending)
    if not 1 <= price <= DEAREST:
        return Changed(part, part, refused="price")
    if price == part.price:
        return Changed(part, part, refused="same")
    after = replace(part, price=price)
    if part.markdown is not None and part.markdown.price >= price:
        return Changed(part, after, refused="markdown_above")
    return Changed(part, after, _verdict(part, after, catalogue, today))


def _marked_down(change: BulkChange, part: Part, catalogue: Catalogue, today: date) -> Changed:
    price = ended(Fraction(part.price) * (100 - Fraction(change.percent or 0)) / 100, change.ending)
    if not 1 <= price < part.price:
        return Changed(part, part, refused="not_below")
    after = replace(part, markdown=Markdown(price, change.since))
    verdict = _verdict(part, after, catalogue, today)
    if after == part:
        return Changed(part, part, refused="same")
    is_dearer = min(part.price_on(today), part.price_on(change.since or today)) < price
    moved = verdict.moved if verdict else ""
    return Changed(part, after, verdict, moved or ("dearer" if is_dearer and not change.dearer_too else ""), is_dearer)


def _verdict(before: Part, after: Part, catalogue: Catalogue, today: date) -> Verdict | None:
    return judge_markdown(before, after, catalogue.history.get(after.sku, ()), today)
