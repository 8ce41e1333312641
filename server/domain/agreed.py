"""What was agreed by hand for one customer: parts fixed, a further discount, free lines, gear valued, and the shop's reasons.

It says what was agreed, not whether it may be: how far staff may go and when the owner's word is needed is asked of the policy.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Literal, get_args

from server.domain.errors import Fault
from server.domain.learner import SEEN, Trade
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
MOST_LINES = 8
MOST_AMOUNT: Cents = 10_000_00
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
    """

    kind: LineKind
    label: str
    amount: Cents
    cost: Cents | None = None


@dataclass(frozen=True, slots=True)
class Agreed:
    """All that was agreed by hand, by whom and why; nothing of it is the shop's secret but how it came about."""

    fixed: tuple[str, ...] = ()
    """SKUs of parts put in by hand; the other slots are left open."""
    discount: Cents = 0
    """Taken off the parts beyond markdown and kit discount."""
    lines: tuple[FreeLine, ...] = ()
    values: tuple[tuple[str, Cents], ...] = ()
    """What old gear was valued at by us, under the key of the piece as it was described."""
    why: str = ""
    """Why parts are in that the model refuses or ranks low."""
    vouched_for: str = ""
    """The digest of the answers that `why` was given for; with other answers it vouches for nothing."""
    swim_talked: bool = False
    """Whether somebody who does not swim 100 m yet has agreed with the shop what comes first."""
    by: str = ""
    word_by: str = ""
    """Which owner gave their word for it."""
    word_margin_percent: Decimal | None = None
    """The margin that the owner agreed to, in per cent of the revenue."""

    @property
    def is_nothing(self) -> bool:
        """Whether nothing was agreed that changes a kit or its price."""
        return self == Agreed(by=self.by, word_by=self.word_by, word_margin_percent=self.word_margin_percent)

    @property
    def charged_lines(self) -> tuple[FreeLine, ...]:
        """The lines that are charged."""
        return tuple(line for line in self.lines if line.kind in CHARGED_KINDS)

    @property
    def voucher(self) -> Cents:
        """What vouchers pay."""
        return sum(line.amount for line in self.lines if line.kind == "voucher")

    @property
    def delivery(self) -> Cents | None:
        """The fee of delivery agreed; None where the table's holds."""
        return next((line.amount for line in self.lines if line.kind == "delivery"), None)

    def value_of(self, trade: Trade) -> Cents | None:
        """What a piece was valued at by us; None where it was not, or is described otherwise now."""
        return dict(self.values).get(trade_key(trade))

    def vouches(self, given: Mapping[str, Any], skus: Iterable[str]) -> bool:
        """Whether the shop's reason covers this very kit for these answers."""
        return self.vouched_for == fitting_digest(given) and set(skus) == set(self.fixed)


NOTHING_AGREED = Agreed()


@dataclass(frozen=True, slots=True)
class Bounds:
    """How far a further discount may go: per cent of the parts (None: no such bound), and the margin that must be left."""

    most_percent: Decimal | None
    least_margin_percent: Decimal


def bounds_of(agreed: Agreed, policy: Policy) -> Bounds:
    """The bounds that hold when the customer changes a kit: staff's limit and the floor, or what the owner gave their word for."""
    floor = policy.margin_floor_percent
    if agreed.word_margin_percent is None:
        return Bounds(policy.staff_discount_percent, floor)
    return Bounds(None, min(floor, agreed.word_margin_percent))


def trade_key(trade: Trade) -> str:
    """A piece as it was described: a value given to it holds only for this description."""
    faults = ",".join(sorted(trade.faults))
    return f"{trade.slot}|{trade.price_new}|{trade.months}|{trade.condition}|{faults}"


def fitting_digest(given: Mapping[str, Any]) -> str:
    """A digest of the answers that decide what suits a learner; prices, extras and delivery do not change it."""
    told = {name: _plain(given[name]) for name in FITTING_FIELDS if given.get(name) not in (None, [], ())}
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
    if len([line for line in rows if line.kind == "delivery"]) > 1:
        faults.append(Fault("lines", "Delivery is agreed twice.", "one line of delivery at most"))
    return faults
