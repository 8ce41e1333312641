"""Password hashes (Argon2id by pwdlib), one at a time, since each takes 64 MiB; its four lanes keep four cores busy by themselves."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from threading import BoundedSemaphore

from pwdlib import PasswordHash
from pwdlib.hashers.argon2 import Argon2Hasher

from server.domain.accounts import LONGEST, spelled_alike
from server.security.tokens import new_secret

AT_ONCE = 1
_GATE = BoundedSemaphore(AT_ONCE)


@dataclass(frozen=True, slots=True)
class Cost:
    """What a hash costs. The default is the second choice of RFC 9106, section 4."""

    memory_kib: int = 65536
    passes: int = 3
    lanes: int = 4


class Passwords:
    """Makes and checks hashes at one cost."""

    def __init__(self, cost: Cost | None = None) -> None:
        cost = cost or Cost()
        hasher = Argon2Hasher(time_cost=cost.passes, memory_cost=cost.memory_kib, parallelism=cost.lanes)
        self._hash = PasswordHash((hasher,))

    @cached_property
    def _nobodys(self) -> str:
        return self.hashed(new_secret())

    def hashed(self, password: str) -> str:
        """The encoded hash of a password, with its parameters and a random salt."""
        with _GATE:
            return self._hash.hash(spelled_alike(password).encode("utf-8", "surrogatepass"))

    def check(self, password: str, encoded: str | None) -> tuple[bool, str | None]:
        """Whether the password is right, and a new hash where the stored one was made at another cost.

        Without a hash (nobody has that name) a dummy is checked, so that the answer takes as long. Longer than any
        password may be is checked as the empty one, which nobody has.
        """
        nobodys = self._nobodys  # Made at the first check of all, whether or not anybody has the name.
        plain = spelled_alike(password) if len(password) <= 2 * LONGEST else ""
        right, renewed = self._verified(plain.encode("utf-8", "surrogatepass"), encoded or nobodys)
        return (True, renewed) if right and encoded else (False, None)

    def _verified(self, plain: bytes, encoded: str) -> tuple[bool, str | None]:
        with _GATE:
            return self._hash.verify_and_update(plain, encoded)
