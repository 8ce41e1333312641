"""Requests that nobody sends in earnest: never a 500 or a broken connection, errors in their shape, and a refusal changes nothing.

Every form that the pages show is its own schema: it is filled as it asks to be, and spoilt. `python -m tests.bench.fuzz
--requests 600 --seed 7 --on sqlite` is a short run.
"""

from __future__ import annotations

from tests.bench.fuzz.run import fuzz, fuzzes

__all__ = ["fuzz", "fuzzes"]
