"""Used and demonstration pieces: each one by itself, with its condition, its hours, its own price and its own way of VAT."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Literal

from server.domain.catalogue import MeasureValue
from server.domain.money import Cents
from server.domain.sales import Scheme

Source = Literal["trade_in", "demo", "swap", "returned", "bought"]
SOURCE_WORDS: Mapping[str, str] = {
    "trade_in": "traded in",
    "demo": "used for demonstration",
    "swap": "swapped for another size",
    "returned": "given back",
    "bought": "bought used",
}
PieceState = Literal["expected", "to_inspect", "for_sale", "sold", "scrapped", "given_back"]
PRIVATE_SOURCES: tuple[Source, ...] = ("trade_in", "bought")


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece: what it is, how it came, its condition, hours on the water (None: nobody knows), price (None: not set yet).

    `bought` is what the shop gave for it, in cents; `scheme` says whether its VAT is on the margin (bought from a private person) or
    on the whole price. `due_about` is when it is expected; `from_sale` and `from_item` say which sale it came with, and as what.
    """

    id: int
    token: str
    source: Source
    state: PieceState
    slot: str
    name: str
    maker: str
    condition: str
    bought: Cents
    scheme: Scheme
    percent: Decimal
    sku: str = ""
    serial: str = ""
    measures: Mapping[str, MeasureValue] | None = None
    hours: int | None = None
    note: str = ""
    price: Cents | None = None
    due_about: date | None = None
    from_sale: int | None = None
    from_item: int | None = None


def scheme_for(source: Source) -> Scheme:
    """The VAT of a piece by how it came: on the margin where a private person gave it, else on the whole price.

    Directive 2006/112/EC, Article 314: the margin scheme is for goods supplied to the dealer by one who could not deduct the tax.
    What comes back from a sale was credited with its tax, so that it is sold on as anything else is.
    """
    return "margin" if source in PRIVATE_SOURCES else "standard"
