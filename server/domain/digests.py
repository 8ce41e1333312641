"""A short text that stands for what was shown, so that a form says what its sender saw."""

from __future__ import annotations

import hashlib


def shown_digest(shown: object) -> str:
    """A text of 16 signs that is another one as soon as anything of a value is; the value has to say all of itself by `repr`."""
    return hashlib.sha256(repr(shown).encode()).hexdigest()[:16]
