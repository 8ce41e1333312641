"""Tokens that nobody can guess, and their digests."""

from __future__ import annotations

import base64

from server.security.tokens import digest_of, is_same, new_secret


def test_a_token_has_more_than_128_bits_and_none_comes_twice() -> None:
    # OWASP ASVS 5.0, V7.2.3: 128 bits of entropy or more.
    tokens = {new_secret() for _ in range(200)}
    assert len(tokens) == 200
    assert min(len(base64.urlsafe_b64decode(token + "==")) for token in tokens) * 8 >= 128


def test_the_digest_is_sha_256() -> None:
    # FIPS 180-4 example: the digest of "abc".
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert digest_of("abc") == known
    assert is_same("abc", known)
    assert not is_same("abd", known)
