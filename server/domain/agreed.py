"""What was agreed by hand for one customer: parts fixed, a further discount, free lines, gear valued, and the shop's reasons.

It says what was agreed, not whether it may be: how far staff may go and when the owner's word is needed is asked of the policy.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any, Literal, get_args

from server.domain.errors import Fault
from server.domain.learner import SEEN, Answers, Trade
from server.domain.money import Cents
from server.domain.policy import Policy

LineKind = Literal["repair", "lesson", "other", "voucher", "delivery"]
LINE_KINDS: tuple[LineKind, ...] = get_args(LineKind)
CHARGED_KINDS: tuple[LineKind, ...] = ("repair", "lesson", "other")
KIND_WORDS: Mapping[str, str] = {
    "repair": "Repair",
    "lesson": "Lesson",
    "other": "Other",
    "voucher": "Voucher, paid before",
    "delivery": "Delivery agreed",
}
MOST_AMOUNT: Cents = 10_000_00
COLLECTED = "collect"
FITTING_FIELDS = (
    "mass_kg",
    "to_feet",
    "fitness",
    "board_background",
    "foil_stage",
    "wing_handling",
    "water",
    "usual_wind_kn",
    "spot",
    "min_depth_m",
    "under_18",
    "swims_100m",
    "keeps",
    SEEN,
)


@dataclass(frozen=True, slots=True)
class FreeLine:
    """A line that no catalogue has: what kind it is, what it says, its amount and what it costs the shop, in cents.

    A repair, a lesson or something else is charged. A voucher takes its amount off what is to pay, as money paid before does.
    Delivery stands in place of the table's fee. `cost` is net of VAT; None, not known, counts as a line that earns nothing.
    Delivery `goes_to` the zone that it was agreed for ("collect" where nothing was to be sent), and holds for that one alone; while
    that is blank, as at the desk before it is sent, it holds for any.
    """

    kind: LineKind
    label: str
    amount: Cents
    cost: Cents | None = None
    goes_to: str = ""


@dataclass(frozen=True, slots=True)
class Agreed:
    """All that was agreed by hand, by whom and why; nothing of it is the shop's secret but how it came about."""

    fixed: tuple[str, ...] = ()
    """SKUs of parts put in by hand; the other slots are left open."""
    discount: Cents = 0
    """Taken off the parts beyond markdown and kit discount."""
    lines: tuple[FreeLine, ...] = ()
    values: tuple[tuple[str, Cents], ...] = ()
    """What old gear was valued at by us, one entry a piece, under the key of the piece as it was described."""
    why: str = ""
    """Why parts are in that the model refuses or ranks low."""
    vouched_for: str = ""
    """The digest of the answers that `why` was given for; with other answers it vouches for nothing."""
    swim_talked: bool = False
    """Whether somebody who does not swim 100 m yet has agreed with the shop what comes first."""
    swim_talked_for: str = ""
    """The digest of the person who was talked with, as they were then; of somebody else it says nothing."""
    by: str = ""
    word_by: str = ""
    """Which owner gave their word for it."""
    word_margin_percent: Decimal | None = None
    """The margin that the owner agreed to, in per cent of the revenue."""

    @property
    def changes_price(self) -> bool:
        """Whether anything was agreed that changes a price or a cost: not parts put in at their prices, nor money paid before."""
        return bool(self.discount or self.values or any(line.kind != "voucher" for line in self.lines))

    @property
    def charged_lines(self) -> tuple[FreeLine, ...]:
        """The lines that are charged."""
        return tuple(line for line in self.lines if line.kind in CHARGED_KINDS)

    @property
    def voucher(self) -> Cents:
        """What vouchers pay."""
        return sum(line.amount for line in self.lines if line.kind == "voucher")

    def delivery_for(self, answers: Answers) -> Cents | None:
        """The fee of delivery agreed; None where the table's holds, as it does for another zone than the one agreed for."""
        here = (line for line in self.lines if line.kind == "delivery" and line.goes_to in ("", delivered_to(answers)))
        return next((line.amount for line in here), None)

    def values_of(self, trades: Sequence[Trade]) -> tuple[Cents | None, ...]:
        """What each piece was valued at by us; None where it was not, or is described otherwise now.

        A value holds for one piece, the first that is described so: a second one like it was never looked at.
        """
        if not self.values:
            return (None,) * len(trades)
        left = list(self.values)
        found: list[Cents | None] = []
        for trade in trades:
            entry = next((entry for entry in left if entry[0] == trade_key(trade)), None)
            if entry is not None:
                left.remove(entry)
            found.append(entry[1] if entry is not None else None)
        return tuple(found)

    def holds_for(self, answers: Answers) -> bool:
        """Whether delivery goes where it was agreed for, and old gear is what we valued; gear not traded in any more is no matter."""
        if not self.lines and not self.values:
            return True
        is_elsewhere = any(line.kind == "delivery" for line in self.lines) and self.delivery_for(answers) is None
        valued = self.values_of(answers.trades)
        has_other = None in valued and len(valued) - valued.count(None) < len(self.values)
        return not is_elsewhere and not has_other

    def bound_to(self, answers: Answers) -> Agreed:
        """The same with delivery bound to where it goes with these answers."""
        lines = tuple(
            replace(line, goes_to=delivered_to(answers)) if line.kind == "delivery" else line for line in self.lines
        )
        return replace(self, lines=lines)

    def has_talked_with(self, given: Mapping[str, Any]) -> bool:
        """Whether the shop has talked about swimming with this very person: of this mass, this side of 18, swimming as well."""
        return self.swim_talked and self.swim_talked_for == swim_digest(given)

    def vouches(self, given: Mapping[str, Any], skus: Iterable[str]) -> bool:
        """Whether the shop's reason covers this very kit for these answers."""
        return self.vouched_for == fitting_digest(given) and set(skus) == set(self.fixed)


NOTHING_AGREED = Agreed()


@dataclass(frozen=True, slots=True)
class Bounds:
    """How far terms may go: a discount's per cent of the parts (None: no such bound), and the margin that all must leave."""

    most_percent: Decimal | None
    least_margin_percent: Decimal


def bounds_of(agreed: Agreed, policy: Policy) -> Bounds:
    """The bounds that hold when the customer changes a kit: staff's limit and the floor, or what the owner gave their word for."""
    floor = policy.margin_floor_percent
    if agreed.word_margin_percent is None:
        return Bounds(policy.staff_discount_percent, floor)
    return Bounds(None, min(floor, agreed.word_margin_percent))


def delivered_to(answers: Answers) -> str:
    """Where a kit goes: a zone, or `COLLECTED`."""
    return COLLECTED if answers.delivery == "collect" else answers.zone


def swim_digest(given: Mapping[str, Any]) -> str:
    """A digest of what a talk about swimming depends on; an answer not given counts as the question takes it."""
    person = {
        "mass_kg": _plain(given.get("mass_kg")),
        "under_18": given.get("under_18") in (True, "yes"),
        "swims_100m": given.get("swims_100m") not in (False, "no"),
    }
    return _digest_of(person)


def trade_key(trade: Trade) -> str:
    """A piece as it was described: a value given to it holds only for this description."""
    faults = ",".join(sorted(trade.faults))
    return f"{trade.slot}|{trade.price_new}|{trade.months}|{trade.condition}|{faults}"


def fitting_digest(given: Mapping[str, Any]) -> str:
    """A digest of the answers that decide what suits a learner; prices, extras and delivery do not change it."""
    told = {name: _plain(given[name]) for name in FITTING_FIELDS if given.get(name) not in (None, [], ())}
    return _digest_of(told)


def _digest_of(told: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(told, sort_keys=True, default=str).encode()).hexdigest()[:32]


def _plain(value: Any) -> Any:
    """80 and 80.0 are one answer."""
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def line_faults(lines: Iterable[FreeLine]) -> list[Fault]:
    """What is wrong with free lines; `lines[n]` counts from 0."""
    rows = list(lines)
    faults = []
    for place, line in enumerate(rows):
        if not 0 <= line.amount <= MOST_AMOUNT:
            faults.append(Fault(f"lines[{place}].amount", "This amount is not accepted.", "0.00 to 10000.00"))
        if line.kind in CHARGED_KINDS and not line.label:
            faults.append(Fault(f"lines[{place}].label", "Words are needed for this line.", "1 to 80 characters"))
        if not line.label.isprintable():
            faults.append(
                Fault(
                    f"lines[{place}].label", "These words have signs that no page or paper shows.", "1 to 80 characters"
                )
            )
    if len([line for line in rows if line.kind == "delivery"]) > 1:
        faults.append(Fault("lines", "Delivery is agreed twice.", "one line of delivery at most"))
    return faults
