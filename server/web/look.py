"""The shop's own colours as a small style sheet, under an address that holds a digest of its content."""

from __future__ import annotations

import hashlib
from functools import lru_cache

from server.domain.policy import LookTerms

TOKENS = {"accent": "--kelp", "on_accent": "--on-kelp", "paper": "--paper", "ink": "--ink", "sand": "--sand"}


def look_css(look: LookTerms) -> str:
    """The colours as custom properties, light and dark.

    They stand in the layer of the tokens, so that they replace those of the main style sheet and yield to what is printed, and
    they leave a reader who has forced colours of their own alone.
    """
    light, dark = (
        " ".join(f"{token}: {getattr(look, prefix + name)};" for name, token in TOKENS.items())
        for prefix in ("", "dark_")
    )
    return (
        f"@layer tokens {{\n@media (forced-colors: none) {{\n  :root {{ {light} }}\n"
        f"  @media (prefers-color-scheme: dark) {{\n    :root {{ {dark} }}\n  }}\n}}\n}}\n"
    )


@lru_cache(maxsize=8)
def look_digest(look: LookTerms) -> str:
    """What stands for this look in its address."""
    return hashlib.sha256(look_css(look).encode("ascii")).hexdigest()[:12]


def look_address(look: LookTerms) -> str:
    """Where the style sheet of a look is found; empty for the ordinary one, which the main style sheet holds already."""
    return "" if look == LookTerms() else f"/look-{look_digest(look)}.css"
