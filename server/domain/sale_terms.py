"""What the owner decides about sales: rounding of cash, rights to cancel, deductions, swaps, warranty, follow-ups.

The days and rights of its defaults follow Irish and EU law (Consumer Rights Act 2022; Directive 2011/83/EU); local law decides. The
percentages and fees are an invented shop's own choice.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from server.domain.money import Cents
from server.domain.policy_reader import (
    Reader,
    T,
    decimal_between,
    money_up_to,
    short_text,
    slots_among,
    whole_between,
    yes_no,
)
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS

BY_SLOT = (*CORE_SLOTS, "extras")


def _by_slot(**values: Any) -> Mapping[str, Any]:
    return MappingProxyType({slot: values[slot] for slot in BY_SLOT})


@dataclass(frozen=True, slots=True)
class SaleTerms:
    """Terms of sales. Mappings by slot have a key for each core slot and one for `extras`.

    `cancel_days` is the right to cancel a sale made at a distance or on the beach, 0 where there is none; `refund_days` run from the
    notice; `counter_days` is the shop's own policy for what was bought over its counter. `wear_percent` is the most that is kept
    of a part's price where it was used beyond trying it as in a shop, `swap_fee` what a swap for another size costs in cents.
    """

    rounds_cash: bool = False
    invoice_prefix: str = ""
    seller_lines: str = ""
    vat_number: str = ""
    bank_lines: str = ""
    """The shop's account for transfers as customers read it, a line each; empty where it takes none."""
    cancel_days: int = 14
    refund_days: int = 14
    counter_days: int = 14
    wear_percent: Mapping[str, Decimal] = field(
        default_factory=lambda: _by_slot(
            board=Decimal(20),
            mast=Decimal(10),
            fuselage=Decimal(10),
            front_foil=Decimal(15),
            tail=Decimal(15),
            hand_wing=Decimal(25),
            extras=Decimal(25),
        )
    )
    bulky_slots: tuple[str, ...] = ("board",)
    bulky_freight: Cents = 45_00
    swap_days: int = 30
    swap_lessons: int = 2
    swap_days_after_lesson: int = 7
    swap_fee: Mapping[str, Cents] = field(
        default_factory=lambda: _by_slot(
            board=60_00, mast=20_00, fuselage=15_00, front_foil=35_00, tail=20_00, hand_wing=55_00, extras=0
        )
    )
    warranty_months: Mapping[str, int] = field(
        default_factory=lambda: _by_slot(
            board=24, mast=24, fuselage=24, front_foil=24, tail=24, hand_wing=24, extras=24
        )
    )
    support_sessions: int = 2
    follow_up_weeks: tuple[int, ...] = (1, 4, 12)
    kept_years: int = 7

    def wear_of(self, slot: str) -> Decimal:
        """The most that is kept of a part's price for use, in per cent."""
        return self.wear_percent[_key(slot)]

    def swap_fee_of(self, slot: str) -> Cents:
        """What a swap of a part of this slot costs, in cents."""
        return self.swap_fee[_key(slot)]

    def warranty_of(self, slot: str) -> int:
        """The months of a part's warranty."""
        return self.warranty_months[_key(slot)]


def _key(slot: str) -> str:
    return slot if slot in CORE_SLOTS else "extras"


def _weeks(value: Any) -> tuple[int, ...]:
    if not isinstance(value, (list, tuple)) or len(value) > 12:
        raise ValueError
    weeks = tuple(whole_between(1, 104)(one) for one in value)
    if list(weeks) != sorted(set(weeks)):
        raise ValueError
    return weeks


def _table(
    reader: Reader, key: str, usual: Mapping[str, T], convert: Callable[[Any], T], accepted: str
) -> Mapping[str, T]:
    inner = reader.table(key)
    table = MappingProxyType({slot: inner.take(slot, usual[slot], convert, accepted) for slot in BY_SLOT})
    inner.refuse_the_rest()
    return table


def read_sale_terms(reader: Reader) -> SaleTerms:
    """The terms of the table [sales]; what is left out keeps its ordinary value."""
    usual = SaleTerms()
    days = "whole days from 0 to 365"
    money = "money from 0.00 to 1000.00"
    terms = SaleTerms(
        rounds_cash=reader.take("rounds_cash", usual.rounds_cash, yes_no, "true or false"),
        invoice_prefix=reader.take("invoice_prefix", "", _prefix, "at most 12 letters, digits and hyphens"),
        seller_lines=reader.take("seller_lines", "", short_text, "text of at most 200 characters"),
        vat_number=reader.take("vat_number", "", short_text, "text"),
        bank_lines=reader.take("bank_lines", "", short_text, "text of at most 200 characters"),
        cancel_days=reader.take("cancel_days", usual.cancel_days, whole_between(0, 365), days),
        refund_days=reader.take("refund_days", usual.refund_days, whole_between(1, 365), "whole days from 1 to 365"),
        counter_days=reader.take("counter_days", usual.counter_days, whole_between(0, 365), days),
        wear_percent=_table(
            reader, "wear_percent", usual.wear_percent, decimal_between("0", "100"), "per cent from 0 to 100"
        ),
        bulky_slots=reader.take(
            "bulky_slots",
            usual.bulky_slots,
            slots_among(CORE_SLOTS + EXTRA_SLOTS),
            "a list of slots: " + ", ".join(CORE_SLOTS + EXTRA_SLOTS),
        ),
        bulky_freight=reader.take("bulky_freight", usual.bulky_freight, money_up_to("1000"), money),
        swap_days=reader.take("swap_days", usual.swap_days, whole_between(0, 365), days),
        swap_lessons=reader.take(
            "swap_lessons", usual.swap_lessons, whole_between(0, 50), "a whole number from 0 to 50"
        ),
        swap_days_after_lesson=reader.take(
            "swap_days_after_lesson", usual.swap_days_after_lesson, whole_between(0, 365), days
        ),
        swap_fee=_table(reader, "swap_fee", usual.swap_fee, money_up_to("1000"), money),
        warranty_months=_table(
            reader, "warranty_months", usual.warranty_months, whole_between(0, 240), "whole months from 0 to 240"
        ),
        support_sessions=reader.take(
            "support_sessions", usual.support_sessions, whole_between(0, 99), "a whole number from 0 to 99"
        ),
        follow_up_weeks=reader.take(
            "follow_up_weeks",
            usual.follow_up_weeks,
            _weeks,
            "a rising list of whole weeks from 1 to 104, or an empty one",
        ),
        kept_years=reader.take("kept_years", usual.kept_years, whole_between(1, 30), "whole years from 1 to 30"),
    )
    reader.refuse_the_rest()
    return terms


def _prefix(value: Any) -> str:
    text = short_text(value)
    if len(text) > 12 or not all(sign.isascii() and (sign.isalnum() or sign == "-") for sign in text):
        raise ValueError
    return text
