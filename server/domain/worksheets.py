"""A worksheet: what the desk works on for a caller, the link that comes of it, and when the owner's word is needed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from server.domain.agreed import Agreed, FreeLine
from server.domain.catalogue import Catalogue
from server.domain.errors import Fault, InvalidInput
from server.domain.policy import Policy
from server.domain.pricing import Breakdown, Margin, dearest_lesson
from server.domain.stock import read_contact

WorksheetState = Literal["open", "waiting", "sent", "kept", "lapsed", "withdrawn"]
MOST_NOTE = 600
MOST_NAME = 80
FEWEST_OF_NUMBER = 4
_RUN = re.compile(r"[A-Za-z0-9-]+")
_SEVERAL = re.compile(r"lessons|\d", re.IGNORECASE)


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


def needs_word(agreed: Agreed, price: Breakdown, margin: Margin, catalogue: Catalogue) -> tuple[str, ...]:
    """Why the owner's word is needed before this goes to a customer, as sentences; empty where staff may send it.

    A kit at the policy's own prices never needs it, however small its margin, and whoever put its parts in. The margin cannot
    speak for what nobody can look up, so these need it by themselves: a line given away whose cost is not known, but for one
    lesson, which costs what the dearest kind does; lessons in the plural, or with a number, for less than that one; and a voucher
    without its number, a run of 4 or more letters and digits with a digit in it.
    """
    policy = catalogue.policy
    reasons = []
    before = price.core_charged + price.agreed_off
    most = int(Fraction(policy.staff_discount_percent) * before // 100)
    if price.agreed_off > most:
        percent = Decimal(policy.staff_discount_percent).normalize()
        reasons.append(f"The further discount is more than the {percent:f} % of the parts that staff may give.")
    if agreed.changes_price and margin.is_under(policy.margin_floor_percent):
        reasons.append("With what was agreed by hand the margin is under the floor.")
    reasons += [
        f"{line.label}: it is given away, and what it costs is not known."
        for line in agreed.charged_lines
        if _is_gift_of_unknown_cost(line, catalogue)
    ]
    if any(line.kind == "voucher" and line.amount > 0 and not _has_number(line.label) for line in agreed.lines):
        reasons.append("A voucher without its number in the words of its line cannot be looked up.")
    return tuple(reasons)


def _is_gift_of_unknown_cost(line: FreeLine, catalogue: Catalogue) -> bool:
    if line.cost is not None:
        return False
    one_lesson = dearest_lesson(catalogue)
    if line.kind != "lesson" or one_lesson == 0:
        return line.amount <= 0
    return bool(_SEVERAL.search(line.label)) and line.amount < one_lesson


def _has_number(words: str) -> bool:
    """Whether a voucher's number is among words: GV-2041, 77K3."""
    runs = (run.replace("-", "") for run in _RUN.findall(words))
    return any(len(run) >= FEWEST_OF_NUMBER and any(sign.isdigit() for sign in run) for run in runs)


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
