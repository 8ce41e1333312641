"""The ledger of a part: it only grows. What is on hand is the fold of its entries, what is held the fold of holds still open."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from server.domain.errors import Fault, InvalidInput
from server.domain.policy import Policy

MovementKind = Literal[
    "delivery", "count", "counter_sale", "damage", "demo", "hold", "release", "handed_over", "returned"
]

ON_HAND_SIGN: dict[MovementKind, int] = {
    "delivery": 1,
    "count": 1,
    "counter_sale": -1,
    "damage": -1,
    "demo": -1,
    "hold": 0,
    "release": 0,
    "handed_over": -1,
    "returned": 1,
}
HELD_SIGN: dict[MovementKind, int] = {"hold": 1, "release": -1, "handed_over": -1}
BY_HAND: tuple[MovementKind, ...] = ("delivery", "count", "counter_sale", "damage", "demo", "returned")
MOST_OPEN_HOLDS = 2
SAME_DIGITS = 9


@dataclass(frozen=True, slots=True)
class Movement:
    """One entry for a part: what happened, to how many pieces, and why.

    Pieces are positive but for a count, which books a difference of either sign. `hold` is the hold that an entry sets aside,
    releases or hands over from; a piece handed over without one changes nothing that is held.
    """

    sku: str
    kind: MovementKind
    pieces: int
    why: str = ""
    hold: int | None = None

    @property
    def change(self) -> int:
        """Pieces on hand more or less."""
        return ON_HAND_SIGN[self.kind] * self.pieces

    @property
    def held(self) -> int:
        """Pieces held more or less."""
        return HELD_SIGN.get(self.kind, 0) * self.pieces if self.hold is not None else 0


@dataclass(frozen=True, slots=True)
class Hold:
    """Parts set aside for a quote's revision: on request first, confirmed by the shop later; open until it expires or ends."""

    id: int
    revision: int
    skus: tuple[str, ...]
    made_at: datetime
    expires_at: datetime
    is_confirmed: bool = False
    is_ended: bool = False
    deposit_back: int = 0
    """Lesson fees that would be given back as of the day of agreeing, in cents."""

    def is_open(self, now: datetime) -> bool:
        """Whether the parts are still set aside."""
        return not self.is_ended and self.expires_at > now


@dataclass(frozen=True, slots=True)
class Contact:
    """Who asks for a hold: a name, and an e-mail address or a telephone number."""

    name: str
    email: str = ""
    phone: str = ""

    @property
    def email_key(self) -> str:
        """The address as it is compared: case does not matter."""
        return self.email.casefold()

    @property
    def phone_key(self) -> str:
        """The number as it is compared: its last nine digits without zeros in front, so that +353 and 0 come to the same."""
        digits = "".join(sign for sign in self.phone if sign.isdigit())
        return digits.lstrip("0")[-SAME_DIGITS:]


@dataclass(frozen=True, slots=True)
class OpenHold:
    """A hold with who asked for it and the code of its quote, for the shop's eyes."""

    hold: Hold
    contact: Contact
    code: str


@dataclass(frozen=True, slots=True)
class PastHold:
    """A hold as a quote's story tells it: who asked, who confirmed it and when, how it ended, when and by whom."""

    hold: Hold
    confirmed_at: datetime | None
    confirmed_by: str
    ended_at: datetime | None
    ended_because: str
    ended_by: str
    asked_by: str


EMAIL = re.compile(r"[^@\s]{1,64}@[^@\s.]+(\.[^@\s.]+)+")
PHONE = re.compile(r"\+?[0-9 ()/.\-]{6,30}")
EMAIL_ACCEPTED = "an address such as name@example.org, of at most 200 characters"
PHONE_ACCEPTED = "6 to 15 digits, with a plus at the front for another country"


NOT_IN_NAMES = ("/", "@", "www.")
"""What a name may not hold: it goes out in messages to the address typed beside it, which may be somebody else's."""


def read_contact(name: object, email: object, phone: object) -> Contact:
    """A contact from plain values; a name and at least one of address and number. Raises `InvalidInput` with every fault."""
    faults = []
    plain_name, plain_email, plain_phone = (_plain(value) for value in (name, email, phone))
    if not 1 <= len(plain_name) <= 80 or not plain_name.isprintable():
        faults.append(Fault("name", "A name is needed.", "1 to 80 characters"))
    if any(sign in plain_name.lower() for sign in NOT_IN_NAMES):
        faults.append(Fault("name", "A name holds no address and no link.", "a name alone"))
    if plain_email and (len(plain_email) > 200 or not plain_email.isprintable() or not EMAIL.fullmatch(plain_email)):
        faults.append(Fault("email", "This is not an e-mail address.", EMAIL_ACCEPTED))
    digits = sum(sign.isdigit() for sign in plain_phone)
    if plain_phone and (not PHONE.fullmatch(plain_phone) or not 6 <= digits <= 15):
        faults.append(Fault("phone", "This is not a telephone number.", PHONE_ACCEPTED))
    if not plain_email and not plain_phone:
        faults.append(Fault("email", "An e-mail address or a telephone number is needed.", EMAIL_ACCEPTED))
    if faults:
        raise InvalidInput(faults)
    return Contact(plain_name, plain_email, plain_phone)


def _plain(value: object) -> str:
    """A text without spaces around it; what is neither text nor nothing becomes a text that no check accepts."""
    return value.strip() if isinstance(value, str) else "" if value is None else "\0"


def on_hand(movements: Iterable[Movement]) -> dict[str, int]:
    """Pieces on hand by SKU: the sum of the changes."""
    pieces: dict[str, int] = {}
    for movement in movements:
        pieces[movement.sku] = pieces.get(movement.sku, 0) + movement.change
    return pieces


def held(movements: Iterable[Movement], open_holds: Iterable[int]) -> dict[str, int]:
    """Pieces held by SKU: the sum of the entries of holds that are open."""
    still_open = set(open_holds)
    pieces: dict[str, int] = {}
    for movement in movements:
        if movement.hold in still_open:
            pieces[movement.sku] = pieces.get(movement.sku, 0) + movement.held
    return pieces


def free(pieces_on_hand: int, pieces_held: int) -> int:
    """What can be promised: on hand less held, never below zero."""
    return max(0, pieces_on_hand - pieces_held)


def counted(sku: str, before: int, found: int, why: str) -> Movement | None:
    """The entry that a count makes: the difference between what was found and what the ledger says; None if they agree."""
    return None if found == before else Movement(sku, "count", found - before, why)


def unconfirmed_until(now: datetime, policy: Policy) -> datetime:
    """When a hold on request expires."""
    return now + timedelta(hours=policy.hold_unconfirmed_hours)


def confirmed_until(now: datetime, policy: Policy) -> datetime:
    """When a confirmed hold expires."""
    return now + timedelta(days=policy.hold_confirmed_days)
