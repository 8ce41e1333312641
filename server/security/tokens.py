"""Opaque tokens of sessions and one-time links; only their SHA-256 digests are stored."""

from __future__ import annotations

import hashlib
import hmac
import secrets

_OF_THIS_PROCESS = secrets.token_bytes(32)
TOKEN_BYTES = 32  # 256 bits; at that strength a plain digest cannot be searched.


def new_secret() -> str:
    """A new token from the system's secure source, fit for an address or a cookie."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def digest_of(token: str) -> str:
    """The SHA-256 digest of a token, in hexadecimal: what is stored of it."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def pseudonym(text: str) -> str:
    """What stands in the log for a text that must not: alike for one text as long as this process lives, and nobody can search it."""
    return hmac.new(_OF_THIS_PROCESS, text.encode("utf-8", "surrogatepass"), hashlib.sha256).hexdigest()[:12]


def is_same(token: str, digest: str) -> bool:
    """Whether a token has this digest, compared in constant time."""
    return hmac.compare_digest(digest_of(token), digest)
