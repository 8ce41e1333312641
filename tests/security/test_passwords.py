"""Hashes of passwords: their cost, what they are checked against, and how many are made at once."""

from __future__ import annotations

import threading
from concurrent.futures import ThreadPoolExecutor

import argon2
import pytest

from server.security import passwords as room
from server.security.passwords import Cost, Passwords

CHEAP = Passwords(Cost(memory_kib=8, passes=1, lanes=1))
WORDS = "nine wet ropes on a quay"


def test_the_encoded_hash_is_argon2id_at_no_less_than_the_least_recommended_cost() -> None:
    # OWASP Password Storage Cheat Sheet (from memory): Argon2id, at least m = 19456 KiB, t = 2, p = 1.
    found = argon2.extract_parameters(Passwords().hashed(WORDS))
    assert found.type is argon2.Type.ID
    assert found.memory_cost >= 19456
    assert found.time_cost >= 2
    assert found.parallelism >= 1
    assert found.salt_len >= 16


def test_the_reference_library_agrees() -> None:
    assert argon2.PasswordHasher().verify(CHEAP.hashed(WORDS), WORDS)
    assert CHEAP.check(WORDS, argon2.PasswordHasher(1, 8, 1).hash(WORDS))[0]


def test_only_the_very_password_is_right() -> None:
    encoded = CHEAP.hashed(WORDS)
    assert CHEAP.check(WORDS, encoded) == (True, None)
    for wrong in ("", WORDS + " ", WORDS.upper(), WORDS[:-1], WORDS * 100):
        assert CHEAP.check(wrong, encoded) == (False, None)
    assert CHEAP.hashed(WORDS) != encoded, "each has its own salt"


def test_an_accent_is_the_same_from_any_keyboard_and_the_last_character_counts() -> None:
    assert CHEAP.check("re\u0301iteach", CHEAP.hashed("r\u00e9iteach"))[0]
    long = "x" * 199
    assert not CHEAP.check(long + "z", CHEAP.hashed(long + "y"))[0]


class Counted(Passwords):
    """Remembers at which costs hashes were worked through."""

    def __init__(self, cost: Cost) -> None:
        super().__init__(cost)
        self.verified: list[int] = []
        self.made = 0

    def hashed(self, password: str) -> str:
        self.made += 1
        return super().hashed(password)

    def _verified(self, plain: bytes, encoded: str) -> tuple[bool, str | None]:
        self.verified.append(argon2.extract_parameters(encoded).memory_cost)
        return super()._verified(plain, encoded)


@pytest.mark.parametrize("is_known", [False, True])
def test_nobodys_password_is_never_right_and_still_costs_a_hash(is_known: bool) -> None:
    passwords = Counted(Cost(memory_kib=8, passes=1, lanes=1))
    for word in ("", "not this one"):
        assert passwords.check(word, CHEAP.hashed(WORDS) if is_known else None) == (False, None)
    assert (passwords.verified, passwords.made) == ([8, 8], 1), "somebody's and nobody's alike, from the first on"


def test_a_hash_of_another_cost_is_renewed() -> None:
    right, renewed = CHEAP.check(WORDS, Passwords(Cost(memory_kib=16, passes=2, lanes=1)).hashed(WORDS))
    assert right
    assert renewed is not None
    assert argon2.extract_parameters(renewed).memory_cost == 8


def test_a_second_hash_waits_for_the_first() -> None:
    assert room.AT_ONCE == 1
    done = threading.Event()
    with ThreadPoolExecutor(1) as pool:
        with room._GATE:
            pool.submit(CHEAP.hashed, WORDS).add_done_callback(lambda _: done.set())
            assert not done.wait(0.3)
        assert done.wait(5)
