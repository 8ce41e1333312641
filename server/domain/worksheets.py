"""A worksheet: what the desk works on for a caller, the link that comes of it, and when the owner's word is needed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from server.domain.agreed import Agreed
from server.domain.errors import Fault, InvalidInput
from server.domain.policy import Policy
from server.domain.pricing import Breakdown, Margin
from server.domain.stock import read_contact

WorksheetState = Literal["open", "waiting", "sent", "kept", "lapsed", "withdrawn"]
MOST_NOTE = 600
MOST_NAME = 80


@dataclass(frozen=True, slots=True)
class Worksheet:
    """Who it is for, two notes (one of them for the shop alone), and what became of it; the answers are its draft's.

    `quote_token` is the quote that it revises, or that came of its link; `revision` the one it started from.
    """

    token: str
    made_by: str
    made_at: datetime
    name: str = ""
    email: str = ""
    phone: str = ""
    note: str = ""
    staff_note: str = ""
    sent_at: datetime | None = None
    sent_by: str = ""
    lapses_at: datetime | None = None
    withdrawn_at: datetime | None = None
    opened_at: datetime | None = None
    asked_at: datetime | None = None
    asked_by: str = ""
    refused_at: datetime | None = None
    refused_because: str = ""
    quote_token: str = ""
    revision: int | None = None

    def state_at(self, now: datetime) -> WorksheetState:
        """Where it stands at a moment."""
        if self.withdrawn_at is not None:
            return "withdrawn"
        if self.sent_at is not None:
            if self.quote_token:
                return "kept"
            return "lapsed" if self.lapses_at is not None and now >= self.lapses_at else "sent"
        return "waiting" if self.asked_at is not None else "open"


def lapses_at(now: datetime, policy: Policy) -> datetime:
    """When a link made now lapses: when its price would be good no more, and never after its draft is deleted."""
    return now + timedelta(days=min(policy.price_good_days, policy.draft_days))


def needs_word(agreed: Agreed, price: Breakdown, margin: Margin, policy: Policy) -> tuple[str, ...]:
    """Why the owner's word is needed before this goes to a customer, as sentences; empty where staff may send it.

    A kit at the policy's own prices never needs it, however small its margin.
    """
    reasons = []
    before = price.core_charged + price.agreed_off
    most = int(Fraction(policy.staff_discount_percent) * before // 100)
    if price.agreed_off > most:
        percent = Decimal(policy.staff_discount_percent).normalize()
        reasons.append(f"The further discount is more than the {percent:f} % of the parts that staff may give.")
    if not agreed.is_nothing and margin.is_under(policy.margin_floor_percent):
        reasons.append("With what was agreed by hand the margin is under the floor.")
    return tuple(reasons)


def written_faults(name: str, email: str, phone: str, notes: Mapping[str, str]) -> list[Fault]:
    """What is wrong with who a worksheet is for and its notes; all of it may be left blank."""
    faults: list[Fault] = []
    if email or phone:
        try:
            read_contact(name or "somebody", email, phone)
        except InvalidInput as error:
            faults += error.faults
    if len(name) > MOST_NAME or not name.isprintable():
        faults.append(Fault("name", "This cannot be a name.", f"up to {MOST_NAME} characters"))
    for field, text in notes.items():
        if len(text) > MOST_NOTE or not all(sign.isprintable() or sign in "\r\n" for sign in text):
            faults.append(Fault(field, "This cannot be kept.", f"up to {MOST_NOTE} characters"))
    return faults
