"""Finding a quote by what a caller says: a code, a name, a telephone number or an e-mail address, and reading a code back.

A code is spelled with the alphabet for radiotelephony (ITU Radio Regulations, Appendix 14; ICAO Annex 10, Volume II, 5.2.1.3); its
figures are said as they are, as on any telephone.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from server.domain.accounts import Throttle
from server.domain.codes import ALPHABET, LOOK_ALIKES, SYMBOLS, read_code
from server.domain.errors import InvalidInput
from server.domain.stock import PHONE, Contact

SPOKEN_WORDS = (
    "Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar Papa Quebec Romeo Sierra "
    "Tango Uniform Victor Whiskey X-ray Yankee Zulu"
)
SPOKEN = {word[0]: word for word in re.findall(r"\S+", SPOKEN_WORDS)}
CODE_GUESSES = Throttle(20, timedelta(minutes=5), forgotten_after=timedelta(hours=1))
"""How many codes that lead nowhere one account may try before it waits; our own choice: mishearing is free, trying out is not."""
FEWEST_DIGITS = 4
MOST_SOUGHT = 200
UNDECOMPOSED = str.maketrans(
    {"ø": "o", "ł": "l", "đ": "d", "ð": "d", "þ": "th", "æ": "ae", "œ": "oe", "ı": "i", "'": "", "’": "", "-": " "}
)

MetAs = Literal["hold", "worksheet", "call", "sale", "reservation"]


@dataclass(frozen=True, slots=True)
class Met:
    """Where somebody was met before: a hold they asked for, a worksheet made for them, a call promised to them, what they bought.

    `code` is the quote it belongs to, empty where there is none; `worksheet` the address of a worksheet, `sale` the number of a sale,
    `reservation` that of a request to hold a used piece or a part to come.
    """

    met_as: MetAs
    contact: Contact
    at: datetime
    code: str = ""
    worksheet: str = ""
    sale: int = 0
    reservation: int = 0


@dataclass(frozen=True, slots=True)
class Changed:
    """A quote whose newest revision is of late: its number, who made it, when, and the revision its customer has seen."""

    token: str
    code: str
    revision: int
    by: str
    at: datetime
    seen_revision: int | None
    name: str = ""

    @property
    def is_seen(self) -> bool:
        """Whether the customer has had this revision before them."""
        return self.seen_revision is not None and self.seen_revision >= self.revision


@dataclass(frozen=True, slots=True)
class Sought:
    """What was typed to find somebody by, in each way that it can be meant; a way that it cannot be meant is empty."""

    text: str
    said_code: str = ""
    """Eight symbols of a code, whether its check symbol is right or not."""
    is_right: bool = False
    digits: str = ""
    email: str = ""
    words: tuple[str, ...] = ()

    @property
    def is_nothing(self) -> bool:
        """Whether there is nothing to look for."""
        return not (self.said_code or self.digits or self.email or self.words)


def folded(name: str) -> str:
    """A name without what people leave out when they type: case, accents, apostrophes; hyphens are spaces."""
    pieces = unicodedata.normalize("NFKD", name).casefold().translate(UNDECOMPOSED)
    return " ".join("".join(sign for sign in pieces if not unicodedata.combining(sign)).split())


def said_code(text: str) -> str:
    """The eight symbols of a code as somebody said them, look-alikes put right; empty where it does not look like a code."""
    plain = "".join(symbol for symbol in text.upper() if symbol not in " -·.").translate(LOOK_ALIKES)
    return plain if len(plain) == SYMBOLS + 1 and all(symbol in ALPHABET for symbol in plain) else ""


def read_sought(text: str) -> Sought:
    """What was typed, read in every way that it can be meant; eight figures may be a code and a number."""
    plain = " ".join("".join(sign for sign in text[:MOST_SOUGHT] if sign.isprintable()).split())
    code = said_code(plain)
    if "@" in plain:
        return Sought(plain, email=plain.casefold())
    digits = Contact("", phone=plain).phone_key if PHONE.fullmatch(plain.rjust(6)) else ""
    digits = digits if len(digits) >= FEWEST_DIGITS else ""
    return Sought(plain, code, is_right=_is_right(code), digits=digits, words=tuple(folded(plain).split()))


def _is_right(code: str) -> bool:
    try:
        return bool(code) and read_code(code) == code
    except InvalidInput:
        return False


def is_meant(sought: Sought, name: str) -> bool:
    """Whether a name has every word that was typed in it, each as a part of it."""
    there = folded(name)
    return bool(sought.words) and all(word in there for word in sought.words)


def spelled(code: str) -> str:
    """A code to read back to a caller: 7KQ is "7, Kilo, Quebec"."""
    return ", ".join(SPOKEN.get(symbol, symbol) for symbol in code)
