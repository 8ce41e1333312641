"""One-time codes against the vectors of their standards."""

from __future__ import annotations

import base64
from datetime import UTC, datetime
from urllib.parse import parse_qs, urlsplit

import pytest

from server.security.totp import accepted_step, new_seed, provisioning_uri

SEED = base64.b32encode(b"12345678901234567890").decode()


def at(seconds: int) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


@pytest.mark.parametrize(
    ("seconds", "code"),
    [
        (59, "94287082"),
        (1111111109, "07081804"),
        (1111111111, "14050471"),
        (1234567890, "89005924"),
        (2000000000, "69279037"),
        (20000000000, "65353130"),
    ],
)
def test_codes_of_rfc_6238_appendix_b(seconds: int, code: str) -> None:
    # The SHA-1 rows, eight digits; the last six are the code at six digits (RFC 4226, section 5.3).
    assert accepted_step(SEED, code, at(seconds), -1, digits=8) == seconds // 30
    assert accepted_step(SEED, code[2:], at(seconds), -1) == seconds // 30


@pytest.mark.parametrize(
    ("counter", "code"),
    list(
        enumerate(["755224", "287082", "359152", "969429", "338314", "254676", "287922", "162583", "399871", "520489"])
    ),
)
def test_codes_of_rfc_4226_appendix_d(counter: int, code: str) -> None:
    assert accepted_step(SEED, code, at(30 * counter), -1) == counter


def test_a_code_is_good_one_step_early_or_late_and_no_more() -> None:
    assert [step for step in range(10) if accepted_step(SEED, "338314", at(30 * step), -1)] == [3, 4, 5]


def test_a_step_counts_once_and_no_earlier_one_after_it() -> None:
    assert accepted_step(SEED, "338314", at(120), 3) == 4
    assert accepted_step(SEED, "338314", at(120), 4) is None
    assert accepted_step(SEED, "969429", at(120), 4) is None


@pytest.mark.parametrize("code", ["", "33831", "3383144", "33831a", "٣٣٨٣١٤", "-38314", "338315"])
def test_anything_else_is_wrong(code: str) -> None:
    assert accepted_step(SEED, code, at(120), -1) is None


def test_a_seed_is_long_and_new_and_its_address_says_whose_it_is() -> None:
    # RFC 4226, section 4, R6: 128 bits at least, 160 recommended.
    seed = new_seed()
    assert len(base64.b32decode(seed)) == 20
    assert seed != new_seed()
    parts = urlsplit(provisioning_uri(seed, "Orla", "Two Herons"))
    assert (parts.scheme, parts.netloc, parts.path) == ("otpauth", "totp", "/Two%20Herons:Orla")
    assert parse_qs(parts.query) == {"secret": [seed], "issuer": ["Two Herons"]}
