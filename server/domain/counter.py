"""A sale over the counter: which part was scanned or typed, how many pieces, and what stands against it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from server.domain.catalogue import Catalogue, Part
from server.domain.codes import spaced_code
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.money import Cents

GTIN_LENGTHS = (8, 12, 13, 14)
ITEM_ACCEPTED = "a SKU, or a GTIN of 8, 12, 13 or 14 digits with its check digit"
MOST_PIECES = 999
PIECES_ACCEPTED = f"a whole number from 1 to {MOST_PIECES}"


@dataclass(frozen=True, slots=True)
class Sale:
    """Pieces of a part sold over the counter; `price` is a piece's, in cents."""

    id: int
    sku: str
    pieces: int
    price: Cents
    at: datetime
    by: str
    taken_back_at: datetime | None = None

    @property
    def amount(self) -> Cents:
        """What was paid for all of it; nothing once it was taken back."""
        return 0 if self.taken_back_at is not None else self.pieces * self.price


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


def find_part(catalogue: Catalogue, text: str) -> Part:
    """The part with a SKU (case does not matter) or a GTIN; raises `InvalidInput` that says which of the two it was not."""
    plain = "".join(text.split())
    exact = catalogue.parts.get(plain)
    key = gtin_key(plain)
    for part in (exact,) if exact is not None else catalogue.parts.values():
        if part.sku.casefold() == plain.casefold() or (key is not None and gtin_key(part.gtin) == key):
            return part
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
