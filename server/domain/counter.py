"""A sale over the counter: which part or set was scanned or typed, how many pieces, and what stands against it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby

from server.domain.catalogue import Catalogue, Part, PartSet
from server.domain.codes import spaced_code
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.money import Cents
from server.domain.sets import can_be_sold, sets_in
from server.domain.stock import Movement

GTIN_LENGTHS = (8, 12, 13, 14)
ITEM_ACCEPTED = "a SKU, or a GTIN of 8, 12, 13 or 14 digits with its check digit"
MOST_PIECES = 999
PIECES_ACCEPTED = f"a whole number from 1 to {MOST_PIECES}"


@dataclass(frozen=True, slots=True)
class Sale:
    """Pieces of a part sold over the counter, or taken back there where there are fewer than none; `price` is a piece's, in cents.

    `form` is what sold it, once; `of_set` the set that it was sold in as one of its parts.
    """

    id: int
    sku: str
    pieces: int
    price: Cents
    at: datetime
    by: str
    taken_back_at: datetime | None = None
    form: str = ""
    of_set: str = ""

    @property
    def paid(self) -> Cents:
        """What was paid for all of it then."""
        return self.pieces * self.price

    @property
    def amount(self) -> Cents:
        """What was paid for all of it; nothing once it was taken back."""
        return 0 if self.taken_back_at is not None else self.paid


@dataclass(frozen=True, slots=True)
class Sold:
    """What one act at the counter sold: pieces of a part, or of a set with the sale of each of its parts."""

    sku: str
    sales: tuple[Sale, ...]

    @property
    def id(self) -> int:
        """The number of its first sale, by which it is taken back."""
        return self.sales[0].id

    @property
    def pieces(self) -> int:
        """Pieces of the part, or sets."""
        return self.sales[0].pieces

    @property
    def paid(self) -> Cents:
        """What was paid then."""
        return sum(sale.paid for sale in self.sales)

    @property
    def amount(self) -> Cents:
        """What was paid; nothing once it was taken back."""
        return sum(sale.amount for sale in self.sales)

    @property
    def is_back(self) -> bool:
        """Whether it was taken back."""
        return self.sales[0].taken_back_at is not None


def acts_of(sales: Iterable[Sale]) -> tuple[Sold, ...]:
    """Sales in their order as what was sold at once: the parts of a set together."""
    together = groupby(sales, key=lambda sale: (sale.form, sale.of_set) if sale.of_set else (str(sale.id), ""))
    acts = [tuple(sorted(group, key=lambda sale: sale.id)) for _, group in together]
    return tuple(Sold(act[0].of_set or act[0].sku, act) for act in acts)


def movement_of(sale: Sale, why: str) -> Movement:
    """What a sale does to the shelf."""
    return Movement(sale.sku, "counter_sale" if sale.pieces > 0 else "returned", abs(sale.pieces), why)


def movement_back(sale: Sale, why: str) -> Movement:
    """What taking a sale back does to the shelf."""
    return Movement(sale.sku, "returned" if sale.pieces > 0 else "counter_sale", abs(sale.pieces), why)


@dataclass(frozen=True, slots=True)
class Stand:
    """How a part stands: pieces on hand, pieces set aside, and the codes of the quotes that they are set aside for."""

    on_hand: int
    held: int
    codes: tuple[str, ...]

    @property
    def free(self) -> int:
        """Pieces that can be sold."""
        return max(0, self.on_hand - self.held)


def gtin_key(text: str) -> str | None:
    """A GTIN as it is compared: 14 digits with zeros in front, so that a GTIN-12 and its GTIN-13 are one; None where it is none.

    The check digit makes the sum of all digits, every second one from the right threefold, a multiple of ten (GS1 General
    Specifications, 7.9; kept in 14 digits, 3.3.2). 6291041500213 sums to 60.
    """
    if not (text.isascii() and text.isdigit()) or len(text) not in GTIN_LENGTHS:
        return None
    padded = text.zfill(GTIN_LENGTHS[-1])
    total = sum(int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(padded))
    return padded if total % 10 == 0 else None


def find_item(catalogue: Catalogue, text: str) -> Part | PartSet:
    """The part or set with a SKU (case does not matter) or a GTIN; raises `InvalidInput` that says which of the two it was not."""
    plain = "".join(text.split())
    exact = catalogue.parts.get(plain)
    key = gtin_key(plain)
    sets = [one for one in catalogue.sets.values() if not one.retired]
    items: tuple[Part | PartSet, ...] = (exact,) if exact is not None else (*catalogue.parts.values(), *sets)
    for item in items:
        if item.sku.casefold() == plain.casefold() or (key is not None and gtin_key(item.gtin) == key):
            return item
    if plain.isdigit() and key is None:
        words = f"{plain} is no GTIN: a digit is missing or wrong. Scan it again."
    else:
        words = f"The catalogue has no {plain}." if plain else "Nothing was scanned or typed."
    raise InvalidInput([Fault("item", words, ITEM_ACCEPTED)])


def read_pieces(text: str) -> int:
    """A number of pieces as it was typed; raises `InvalidInput`, so for a barcode scanned into the wrong field."""
    pieces = int(text) if re.fullmatch(r"\d{1,3}", text, re.ASCII) else 0
    if pieces < 1:
        raise InvalidInput([Fault("pieces", "This is not a number of pieces.", PIECES_ACCEPTED)])
    return pieces


def check_sale(part: Part, pieces: int, stand: Stand) -> None:
    """Whether so many may be sold now; raises `Conflict` with the reason, naming the quotes where pieces are set aside."""
    if not part.on_sale:
        raise Conflict([Fault("pieces", "This part is not for sale (any more).", "a part on sale")])
    if pieces > stand.on_hand:
        raise Conflict([Fault("pieces", f"Only {stand.on_hand} on hand.", _at_most(stand.free))])
    if pieces > stand.free:
        words = (
            f"{stand.on_hand} on hand, {stand.held} of them set aside for {said_codes(stand.codes)}. "
            "To sell it all the same, let go of the hold first."
        )
        raise Conflict([Fault("pieces", words, _at_most(stand.free))])


def stand_of_set(one: PartSet, stands: Mapping[str, Stand]) -> Stand:
    """How a set stands: what its parts make, on hand and free."""
    on_hand = sets_in(one, {sku: stand.on_hand for sku, stand in stands.items()})
    free = sets_in(one, {sku: stand.free for sku, stand in stands.items()})
    codes = dict.fromkeys(code for sku in one.parts for code in stands[sku].codes)
    return Stand(on_hand, on_hand - free, tuple(codes))


def check_set_sale(one: PartSet, pieces: int, parts: Mapping[str, Part], stands: Mapping[str, Stand]) -> None:
    """Whether so many of a set may be sold now; raises `Conflict` with the reason for each part that is not there."""
    if not can_be_sold(one, parts):
        raise Conflict(
            [Fault("pieces", "This set is not for sale (any more), or one of its parts is not.", "a set on sale")]
        )
    reasons = []
    for sku, times in Counter(one.parts).items():
        try:
            check_sale(parts[sku], pieces * times, stands[sku])
        except Conflict as error:
            reasons += [f"{parts[sku].name}, {sku}: {fault.message}" for fault in error.faults]
    if reasons:
        raise Conflict([Fault("pieces", " ".join(reasons), _at_most(stand_of_set(one, stands).free))])


def _at_most(free: int) -> str:
    return f"at most {free}" if free else ""


def said_codes(codes: Iterable[str]) -> str:
    """Codes of quotes in a sentence: quote HKBN 04QA, or quotes HKBN 04QA and 16JD 00AB; without any, a part that came for somebody."""
    spaced = [spaced_code(code) for code in codes]
    if not spaced:
        return "somebody who waited for it"
    if len(spaced) < 2:
        return f"quote {''.join(spaced)}"
    return f"quotes {', '.join(spaced[:-1])} and {spaced[-1]}"
