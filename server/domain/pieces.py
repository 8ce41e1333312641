"""Used and demonstration pieces: each one by itself, with its condition, its hours, its own price and its own way of VAT."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from typing import Any, Literal, get_args

from server.domain.catalogue import MeasureValue
from server.domain.deposits import decimal_of
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents, vat_inside
from server.domain.sales import Scheme, margin_vat
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, Measure, measures_of
from server.domain.trade_in import CONDITION_WORDS, FAULT_WORDS

Source = Literal["trade_in", "demo", "swap", "returned", "bought"]
SOURCE_WORDS: Mapping[str, str] = {
    "trade_in": "traded in",
    "demo": "used for demonstration",
    "swap": "swapped for another size",
    "returned": "given back",
    "bought": "bought used",
}
PieceState = Literal["expected", "to_inspect", "for_sale", "sold", "scrapped", "given_back"]
STATE_WORDS: Mapping[PieceState, str] = {
    "expected": "to come",
    "to_inspect": "to look at",
    "for_sale": "for sale",
    "sold": "sold",
    "scrapped": "thrown away",
    "given_back": "given back",
}
IN_THE_SHOP: tuple[PieceState, ...] = ("to_inspect", "for_sale")
PRIVATE_SOURCES: tuple[Source, ...] = ("trade_in", "bought")
PIECE_SLOTS = (*CORE_SLOTS, *EXTRA_SLOTS)
CONDITIONS = tuple(CONDITION_WORDS)
MOST_HOURS = 5_000
MOST_PRICE: Cents = 20_000_00
LONGEST_NAME = 60
LONGEST_PIECE_NOTE = 600
PRICE_ACCEPTED = f"an amount from 0.01 to {decimal_of(MOST_PRICE)}"
VALUE_ACCEPTED = f"an amount from 0.00 to {decimal_of(MOST_PRICE)}"
HOURS_ACCEPTED = f"whole hours from 0 to {MOST_HOURS}, or nothing where nobody knows"
CONDITION_ACCEPTED = "one of: " + ", ".join(CONDITION_WORDS.values())
Outcome = Literal["taken", "given_back"]
OUTCOMES: tuple[Outcome, ...] = get_args(Outcome)


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

    @property
    def is_offered(self) -> bool:
        """Whether it is for sale at a price."""
        return self.state == "for_sale" and self.price is not None

    @property
    def is_announced(self) -> bool:
        """Whether customers are told that it is to come about a day."""
        return self.state == "expected" and self.due_about is not None

    @property
    def can_be_reserved(self) -> bool:
        """Whether it can be set aside for somebody who asks."""
        return self.is_offered or self.is_announced


@dataclass(frozen=True, slots=True)
class Details:
    """What the desk says of a piece: what it is, how it is, and what it costs (None: not set yet), in cents."""

    slot: str
    name: str
    maker: str
    condition: str
    sku: str = ""
    serial: str = ""
    hours: int | None = None
    note: str = ""
    price: Cents | None = None
    measures: Mapping[str, MeasureValue] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Inspection:
    """What was found when a piece was looked at; `value`, in cents, is what a piece traded in counts for, firm from now on."""

    condition: str
    hours: int | None = None
    faults: tuple[str, ...] = ()
    value: Cents | None = None
    why: str = ""
    outcome: Outcome = "taken"

    @property
    def because(self) -> str:
        """Why it counts for what it does, as a sentence; empty where nobody has to be told."""
        if self.faults and self.outcome == "taken":
            return f"It has {faults_words(self.faults)}, which makes it unsafe to sell on."
        return self.why


def scheme_for(source: Source) -> Scheme:
    """The VAT of a piece by how it came: on the margin where a private person gave it, else on the whole price.

    Directive 2006/112/EC, Article 314: the margin scheme is for goods supplied to the dealer by one who could not deduct the tax.
    What comes back from a sale was credited with its tax, so that it is sold on as anything else is.
    """
    return "margin" if source in PRIVATE_SOURCES else "standard"


def faults_words(faults: tuple[str, ...]) -> str:
    """Faults in a sentence: a crack and seized bolts."""
    return " and ".join(FAULT_WORDS[fault] for fault in faults)


# Money.


def vat_at(piece: Piece, price: Cents) -> Cents:
    """The VAT that is due where a piece is sold at a price: inside the shop's margin, or inside the whole price.

    Bought from a private person for 300.00 and sold for 450.00 at 23 %: 28.05; a demonstration piece sold for 450.00: 84.15.
    """
    if piece.scheme == "margin":
        return margin_vat(price, piece.bought, piece.percent)
    return vat_inside(price, piece.percent)


def earned_at(piece: Piece, price: Cents) -> Cents:
    """What the shop keeps of a price after the VAT and what it gave for the piece; negative where it loses."""
    return price - vat_at(piece, price) - piece.bought


# What the desk says of a piece.


def read_details(raw: Mapping[str, Any], slot: str = "") -> Details:
    """Details from plain values, of a piece whose slot is known already or said; raises `InvalidInput` with every fault."""
    faults: list[Fault] = []
    slot = slot or str(raw.get("slot") or "")
    if slot not in PIECE_SLOTS:
        faults.append(Fault("slot", "This has to be said.", "a kind of the list"))
    texts = {name: _line(raw, name, faults) for name in ("name", "maker", "sku", "serial")}
    if not texts["name"]:
        faults.append(Fault("name", "A piece needs a name.", f"1 to {LONGEST_NAME} characters"))
    condition = _condition(raw.get("condition"), faults)
    hours = _hours(raw.get("hours"), faults)
    note = _note(raw.get("note"), faults)
    price = raw.get("price")
    if price is not None and not (isinstance(price, int) and 0 < price <= MOST_PRICE):
        faults.append(Fault("price", "This is not a price.", f"{PRICE_ACCEPTED}, or nothing while it is not set"))
        price = None
    measures = _measures(slot, raw.get("measures") or {}, faults)
    if faults:
        raise InvalidInput(faults)
    return Details(slot, condition=condition, hours=hours, note=note, price=price, measures=measures, **texts)


def _line(raw: Mapping[str, Any], name: str, faults: list[Fault]) -> str:
    text = str(raw.get(name) or "").strip()
    if len(text) > LONGEST_NAME or not text.isprintable():
        faults.append(Fault(name, "This cannot be kept.", f"one line of at most {LONGEST_NAME} characters"))
    return text


def _note(value: Any, faults: list[Fault]) -> str:
    text = str(value or "").replace("\r\n", "\n").strip()
    if len(text) > LONGEST_PIECE_NOTE or not text.replace("\n", "").isprintable():
        faults.append(Fault("note", "This note cannot be kept.", f"text of at most {LONGEST_PIECE_NOTE} characters"))
    return text


def _condition(value: Any, faults: list[Fault]) -> str:
    if value not in CONDITIONS:
        faults.append(Fault("condition", "This has to be said.", CONDITION_ACCEPTED))
        return ""
    return str(value)


def _hours(value: Any, faults: list[Fault]) -> int | None:
    if value is None:
        return None
    if not isinstance(value, int) or not 0 <= value <= MOST_HOURS:
        faults.append(Fault("hours", "This is not a number of hours.", HOURS_ACCEPTED))
        return None
    return value


def _measures(slot: str, given: Mapping[str, Any], faults: list[Fault]) -> dict[str, MeasureValue]:
    known = {measure.name: measure for measure in (measures_of(slot) if slot in PIECE_SLOTS else ())}
    measures: dict[str, MeasureValue] = {}
    for name, value in given.items():
        measure = known.get(name)
        if measure is not None and not _is_measure(measure, value):
            faults.append(Fault(f"measure-{name}", "This measure cannot be right.", measure.accepted))
        elif measure is not None:
            measures[name] = value
    return measures


def _is_measure(measure: Measure, value: Any) -> bool:
    if measure.low is not None and measure.high is not None:
        return isinstance(value, (int, float)) and measure.low <= value <= measure.high
    if measure.words:
        return value in measure.words
    return isinstance(value, str) and 1 <= len(value) <= LONGEST_NAME and value.isprintable()


# Looking at what has come.


def read_inspection(piece: Piece, raw: Mapping[str, Any], *, has_value: bool) -> Inspection:
    """What was found of a piece, from plain values; raises `InvalidInput` with every fault.

    `has_value` says that it was traded in and its value is to be made firm now. A fault of safety makes it worth nothing. Another value
    than the one agreed needs a reason, since the customer is told it; where they would rather keep the piece it goes back to them and
    counts nothing.
    """
    faults: list[Fault] = []
    condition = _condition(raw.get("condition"), faults)
    hours = _hours(raw.get("hours"), faults)
    found = tuple(dict.fromkeys(raw.get("faults") or ()))
    if any(fault not in FAULT_WORDS for fault in found):
        faults.append(Fault("faults", "There is no such fault in the list.", "one of: " + ", ".join(FAULT_WORDS)))
        found = ()
    outcome: Outcome = "given_back" if raw.get("outcome") == "given_back" else "taken"
    if (raw.get("outcome") or "taken") not in OUTCOMES:
        faults.append(Fault("outcome", "Take it, or give it back?", "one of: " + ", ".join(OUTCOMES)))
    why = str(raw.get("why") or "").strip()
    if len(why) > 200 or not why.isprintable():
        faults.append(Fault("why", "This reason cannot be kept.", "one line of at most 200 characters"))
    value = _value(piece.bought if has_value else None, raw.get("value"), found, outcome, why, faults)
    if faults:
        raise InvalidInput(faults)
    return Inspection(condition, hours, found, value, why, outcome)


def _value(
    agreed: Cents | None, value: Any, found: tuple[str, ...], outcome: str, why: str, faults: list[Fault]
) -> Cents | None:
    if agreed is None:
        if outcome == "given_back":
            words = "Only what was traded in can go back to its owner."
            faults.append(Fault("outcome", words, "taken"))
        return None
    if outcome == "given_back" or found:
        if outcome == "taken" and value:
            words = f"With {faults_words(found)} it is worth nothing: it is not sold on."
            faults.append(Fault("value", words, "0.00"))
        if outcome == "given_back" and not why:
            faults.append(Fault("why", "The customer is told why: say it in a sentence.", "1 to 200 characters"))
        return 0
    if not isinstance(value, int) or not 0 <= value <= MOST_PRICE:
        faults.append(Fault("value", "This is not an amount.", VALUE_ACCEPTED))
        return None
    if value != agreed and not why:
        words = f"{decimal_of(agreed)} was agreed, and the customer is told why it is another value."
        faults.append(Fault("why", words, "a sentence of 1 to 200 characters"))
    return value


def inspected(piece: Piece, found: Inspection) -> Piece:
    """A piece after it was looked at: for sale, given back, or thrown away because of a fault of safety."""
    state: PieceState = "given_back" if found.outcome == "given_back" else "scrapped" if found.faults else "for_sale"
    told = f"Found: {faults_words(found.faults)}." if found.faults else ""
    return replace(
        piece,
        state=state,
        condition=found.condition,
        hours=found.hours if found.hours is not None else piece.hours,
        bought=found.value if found.value is not None else piece.bought,
        note="\n".join(line for line in (piece.note, told) if line)[:LONGEST_PIECE_NOTE],
        due_about=None,
        price=piece.price if state == "for_sale" else None,
    )
