"""Who works in the shop: roles, passwords, how long a session lives, how long a guesser waits. No clock, no secret, no randomness.

Passwords follow NIST SP 800-63B-4, section 3.1.1.2. Sessions: idle and absolute limits of our own choice, tighter than section 2.2.3.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Set
from dataclasses import dataclass
from datetime import datetime, timedelta
from ipaddress import IPv6Address, ip_address
from itertools import pairwise
from typing import Literal, get_args

from server.domain.clock import APART, is_ahead
from server.domain.common_passwords import COMMON_WORDS
from server.domain.errors import Fault, InvalidInput

Role = Literal["staff", "owner"]
ROLES: tuple[Role, ...] = get_args(Role)
Stage = Literal["password", "full"]

SHORTEST_ALONE, SHORTEST_WITH_FACTOR, LONGEST = 15, 8, 200
NAME_LONGEST = 60
NOBODYS_NAMES = ("customer", "command", "sweep", "seed", "load", "unknown")
CONTEXT_WORDS = ("slackwater", "owner", "staff", "admin", "console", "desk", "shop", "watersports", "wing", "foil")
SPELLED = str.maketrans("01345$@!", "oleassai")
RUNS = ("abcdefghijklmnopqrstuvwxyz", "01234567890", "qwertyuiop", "asdfghjkl", "zxcvbnm", "azertyuiop", "qwertzuiop")
LEAST_OF_ONES_OWN = 4

IDLE = timedelta(minutes=30)
ABSOLUTE = timedelta(hours=12)
HALF_WAY = timedelta(minutes=10)
REFRESH = timedelta(minutes=1)
MOST_SESSIONS = 10
OWNER_LINK_LIFE = timedelta(hours=1)
STAFF_LINK_LIFE = timedelta(hours=24)


def name_key(name: str) -> str:
    """What two spellings of one name have in common; names are compared by it."""
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def read_name(text: str) -> str:
    """An account's name, trimmed; raises `InvalidInput` where it is empty, too long, unprintable or what the program calls itself."""
    name = " ".join(unicodedata.normalize("NFC", text).split())
    if not name or len(name) > NAME_LONGEST or not name.isprintable():
        raise InvalidInput([Fault("name", "This cannot be a name.", f"1 to {NAME_LONGEST} printable characters")])
    if name_key(name) in NOBODYS_NAMES:
        raise InvalidInput([Fault("name", "The program goes by this name itself.", "the name of a person")])
    return name


def spelled_alike(password: str) -> str:
    """A password in composed form (NFC), so that one keyboard's accent equals another's; nothing is trimmed, cut or recased."""
    return unicodedata.normalize("NFC", password)


def shortest_password(*, has_factor: bool) -> int:
    """The fewest characters of a new password: fewer where a second factor stands beside it."""
    return SHORTEST_WITH_FACTOR if has_factor else SHORTEST_ALONE


def password_faults(
    password: str, context: Iterable[str], has_factor: bool, common: Set[str] = frozenset()
) -> tuple[Fault, ...]:
    """Every reason to refuse a new password; empty where it is accepted.

    `context` names the shop and the account, `common` are whole passwords in small letters that guessers try first. Length is
    counted in code points. There are no rules of composition.
    """
    text = spelled_alike(password)
    shortest = shortest_password(has_factor=has_factor)
    accepted = f"{shortest} to {LONGEST} characters; several words and spaces are welcome"
    if len(text) < shortest:
        return (Fault("password", f"The password has {len(text)} characters, fewer than {shortest}.", accepted),)
    if len(text) > LONGEST:
        return (Fault("password", f"The password has more than {LONGEST} characters.", accepted),)
    faults = []
    if not all(char.isprintable() or unicodedata.category(char) == "Zs" for char in text):
        faults.append(Fault("password", "The password has a character that cannot be printed.", accepted))
    if _is_pattern(text.casefold()):
        faults.append(Fault("password", "The password is a repetition or a run of neighbouring keys.", accepted))
    elif _core(text) in COMMON_WORDS or _without(text, COMMON_WORDS, 1) or _is_common(text, common):
        faults.append(Fault("password", "The password is one of the common ones that guessers try first.", accepted))
    elif _without(text, [*CONTEXT_WORDS, *_words(context)], LONGEST):
        faults.append(Fault("password", "The password is made of the name of the shop or of the account.", accepted))
    return tuple(faults)


def _is_common(text: str, common: Set[str]) -> bool:
    """Whether a text is one of the common passwords, or two of them in a row: bare, without its ends, or in plain letters."""
    small = text.casefold()
    bare = re.sub(r"[\W_]+", "", small)
    spellings = {small, bare, re.sub(r"^[\W\d_]+|[\W\d_]+$", "", small), _core(text)}
    return any(
        one in common or any(one[:at] in common and one[at:] in common for at in range(1, len(one)))
        for one in spellings
    )


def _letters(text: str) -> str:
    """Only letters, small, with the usual signs written back into letters."""
    plain = unicodedata.normalize("NFKC", text).casefold().translate(SPELLED)
    return "".join(char for char in plain if char.isalpha())


def _core(text: str) -> str:
    """The letters of a password without digits and signs at its ends."""
    return _letters(re.sub(r"^[\W\d_]+|[\W\d_]+$", "", text))


def _words(context: Iterable[str]) -> list[str]:
    found = []
    for name in context:
        found += [_letters(name), *(_letters(word) for word in name.split())]
    return [word for word in found if len(word) > 2]


def _without(text: str, words: Iterable[str], times: int) -> bool:
    """Whether hardly a letter is left once words are taken out, a number of them at most."""
    left = _core(text)
    if not left:
        return False
    taken = 0
    for word in sorted(set(words), key=lambda one: (-len(one), one)):
        while word in left and taken < times:
            left = left.replace(word, "", 1)
            taken += 1
    return taken > 0 and len(left) < LEAST_OF_ONES_OWN


def _is_pattern(text: str) -> bool:
    """Whether a text is one short unit over and over, or hardly more than runs along the alphabet, the digits or a keyboard."""
    for size in range(1, min(8, len(text) // 2) + 1):
        if (text[:size] * (len(text) // size + 1))[: len(text)] == text:
            return True
    neighbours = {pair for run in RUNS for way in (run, run[::-1]) for pair in pairwise(way)}
    steps = list(pairwise(text))
    along = sum(1 for pair in steps if pair in neighbours or pair[0] == pair[1])
    return along >= 0.75 * len(steps)


@dataclass(frozen=True, slots=True)
class SessionTimes:
    """When a session began and was last used, and how far its sign-in came."""

    stage: Stage
    started_at: datetime
    seen_at: datetime


def is_link_live(ends_at: datetime, now: datetime) -> bool:
    """Whether a one-time link still works; one that would for longer than any is given was made by a clock that was far ahead."""
    return now < ends_at <= now + max(OWNER_LINK_LIFE, STAFF_LINK_LIFE) + APART


def is_live(times: SessionTimes, now: datetime) -> bool:
    """Whether a session still holds: idle and absolute limits; half-way to a second factor it lives for ten minutes."""
    if is_ahead(times.started_at, now) or is_ahead(times.seen_at, now):
        return False  # A clock that was far ahead began it; it would else outlive everybody.
    if times.stage == "password":
        return now < times.started_at + HALF_WAY
    return now < times.seen_at + IDLE and now < times.started_at + ABSOLUTE


@dataclass(frozen=True, slots=True)
class Throttle:
    """How many failures in a row are free, and the longest wait after that.

    `forgotten_after` so long without any, failures are forgotten; None: only what goes well, or recovery, ends the row. After `most`
    nothing is tried any more until then.
    """

    free: int
    longest: timedelta
    forgotten_after: timedelta | None = None
    most: int | None = None
    first: timedelta = timedelta(seconds=30)


PER_ACCOUNT = Throttle(5, timedelta(minutes=15), most=100)
"""NIST SP 800-63B-4, section 3.2.2: no more than 100 failures in a row with one authenticator at one account."""
PER_ADDRESS = Throttle(20, timedelta(minutes=15), forgotten_after=timedelta(hours=24))
HOUSEHOLD_BITS = 64
"""So many bits of an IPv6 address are the household's own (RFC 4291, 2.5.4; RFC 6177)."""
KNOWN_FOR = timedelta(days=30)
"""How long an address from which somebody was signed in counts their failures apart from those made anywhere else, so that no
stranger who knows a name can keep its holder out (NIST SP 800-63B-4, section 3.2.2, names this measure)."""
UNKNOWN_KEPT = timedelta(days=30)
"""How long failures under a name that no account has are kept, unless they are as many as an account may have."""


def counted_as(address: str) -> str:
    """As whose an address of the network counts: of IPv6 its network of 64 bits, all of which one household has to itself.

    A device of theirs takes another address in it every day (RFC 8981), and a guesser a new one for each try.
    """
    try:
        found = ip_address(address)
    except ValueError:
        return address
    if found.version == 4:
        return address
    return str(found.ipv4_mapped or IPv6Address(int(found) >> HOUSEHOLD_BITS << HOUSEHOLD_BITS))


def failures_now(rule: Throttle, failures: int, last_at: datetime, now: datetime) -> int:
    """How many failures still count."""
    is_old = rule.forgotten_after is not None and now - last_at >= rule.forgotten_after
    return 0 if is_old else failures


def is_spent(rule: Throttle, failures: int) -> bool:
    """Whether there have been so many failures in a row that nothing is tried any more."""
    return rule.most is not None and failures >= rule.most


def wait_left(rule: Throttle, failures: int, last_at: datetime, now: datetime) -> timedelta:
    """How long to wait before the next try: 30 s after the last free failure, twice as long after each further one.

    Nothing after one that has not been yet: the clock was wrong then, and nobody is to wait until it is right again.
    """
    counted = failures_now(rule, failures, last_at, now)
    if counted < rule.free:
        return timedelta(0)
    wait = min(rule.first * (1 << min(counted - rule.free, 20)), rule.longest)
    return timedelta(0) if is_ahead(last_at, now) else max(timedelta(0), last_at + wait - now)
