"""The common passwords of published leaks, and how many of them the rules refuse."""

from __future__ import annotations

import subprocess
import sys
from itertools import islice, product

from zxcvbn.frequency_lists import FREQUENCY_LISTS

from server.domain.accounts import SHORTEST_ALONE, SHORTEST_WITH_FACTOR, password_faults
from server.security.common import common_passwords

NAMES = ("Two Herons Watersports", "Orla")
RANKED: list[str] = FREQUENCY_LISTS["passwords"]
ENOUGH = 3000
"""OWASP ASVS 5.0, 6.2.4: at least the top 3000 passwords that match the rules of length."""


def is_refused(password: str, *, has_factor: bool) -> bool:
    return bool(password_faults(password, NAMES, has_factor, common_passwords()))


def test_of_the_commonest_long_enough_beside_a_factor_three_thousand_are_refused() -> None:
    long_enough = list(islice((word for word in RANKED if len(word) >= SHORTEST_WITH_FACTOR), ENOUGH))
    assert len(long_enough) == ENOUGH
    accepted = [word for word in long_enough if not password_faults(word, NAMES, True)]
    assert accepted, "the list adds something to the rules"
    assert [word for word in long_enough if not is_refused(word, has_factor=True)] == []


def test_of_those_long_enough_alone_all_are_refused_and_so_are_two_common_ones_in_a_row() -> None:
    alone = [word for word in RANKED if len(word) >= SHORTEST_ALONE]
    pairs = ("".join(pair) for pair in product(RANKED[:200], repeat=2))
    pairs_alone = list(islice((pair for pair in pairs if len(pair) >= SHORTEST_ALONE), ENOUGH))
    assert len(pairs_alone) == ENOUGH
    assert [word for word in (*alone, *pairs_alone) if not is_refused(word, has_factor=False)] == []


def test_digits_signs_and_capitals_do_not_make_a_common_one_good() -> None:
    for password in ("Bigdaddy 2026", "!!bigdaddy!!", "BIG-DADDY", "B!gd@ddy"):
        assert is_refused(password, has_factor=True), password
    for password in ("nine wet ropes on a quay", "big daddy ropes a heron"):
        assert not is_refused(password, has_factor=False), password


def test_the_list_is_not_read_before_a_password_is_set() -> None:
    asked = "import sys, server.app; sys.exit('zxcvbn' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", asked], check=False, timeout=60).returncode == 0
