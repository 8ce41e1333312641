"""Short codes to read out on the telephone: base 32 without look-alikes, with a check symbol (Crockford's base 32).

A code is a number in the alphabet below and a last symbol that is the number modulo 37. Reading is lenient: lower case, spaces and
hyphens do not matter, O is read as 0, I and L as 1; any single wrong letter is caught.
"""

from __future__ import annotations

from server.domain.errors import Fault, InvalidInput

ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
CHECKS = ALPHABET + "*~$=U"
LOOK_ALIKES = str.maketrans({"O": "0", "I": "1", "L": "1"})
SYMBOLS = 7
CODES = len(ALPHABET) ** SYMBOLS


def encode(number: int) -> str:
    """A number of zero or more in the alphabet, without check symbol; 1234 is 16J."""
    symbols = ""
    while number or not symbols:
        number, place = divmod(number, len(ALPHABET))
        symbols = ALPHABET[place] + symbols
    return symbols


def spaced_code(code: str) -> str:
    """A code in two groups, as it is read out."""
    return f"{code[:4]} {code[4:]}"


def check_symbol(number: int) -> str:
    """The check symbol of a number; of 1234 it is D."""
    return CHECKS[number % len(CHECKS)]


def code_of(number: int) -> str | None:
    """The code of a random number below `CODES`, eight symbols with the check; None where the check cannot be said aloud.

    Five of the 37 check symbols are signs or a U; whoever draws the number draws again.
    """
    check = check_symbol(number)
    return encode(number).rjust(SYMBOLS, "0") + check if check in ALPHABET else None


def read_code(text: str, field: str = "code") -> str:
    """A code as it was said or typed, in its one true spelling; raises `InvalidInput` where it cannot be one."""
    plain = "".join(symbol for symbol in text.upper() if symbol not in " -·.").translate(LOOK_ALIKES)
    accepted = "eight letters and digits, such as HKBN 04QA"
    if len(plain) != SYMBOLS + 1 or any(symbol not in ALPHABET for symbol in plain):
        raise InvalidInput([Fault(field, "This is not a code.", accepted)])
    number = 0
    for symbol in plain[:-1]:
        number = number * len(ALPHABET) + ALPHABET.index(symbol)
    if check_symbol(number) != plain[-1]:
        raise InvalidInput([Fault(field, "A letter of this code is wrong: read it again.", accepted)])
    return plain
