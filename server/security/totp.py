"""One-time codes by the clock (RFC 6238: SHA-1, six digits, steps of 30 seconds). Whoever calls remembers the last step accepted."""

from __future__ import annotations

import hmac
from datetime import datetime

import pyotp

STEP_SECONDS, DIGITS, DRIFT_STEPS = 30, 6, 1


def new_seed() -> str:
    """A new seed of 160 bits in base 32."""
    return pyotp.random_base32(32)


def provisioning_uri(seed: str, name: str, shop: str) -> str:
    """The `otpauth:` address that an authenticator reads from a QR code."""
    return pyotp.TOTP(seed, digits=DIGITS, interval=STEP_SECONDS).provisioning_uri(name=name, issuer_name=shop)


def accepted_step(seed: str, code: str, now: datetime, last_step: int, digits: int = DIGITS) -> int | None:
    """The time step whose code this is, one step of drift either way allowed; None where it is wrong or not newer than the last."""
    plain = code.replace(" ", "")
    if len(plain) != digits or not (plain.isascii() and plain.isdigit()):
        return None
    codes = pyotp.HOTP(seed, digits=digits)
    current = int(now.timestamp()) // STEP_SECONDS
    for step in range(max(0, current - DRIFT_STEPS), current + DRIFT_STEPS + 1):
        if step > last_step and hmac.compare_digest(codes.at(step), plain):
            return step
    return None
