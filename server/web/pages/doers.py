"""Who did something, in words: somebody by name, or what did it where nobody was there."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

NOBODYS_WORDS: Mapping[str, str] = MappingProxyType({"seed": "as delivered", "load": "by loading a folder"})


def by_words(name: str) -> str:
    """By whom something was made: by Orla, or as delivered where it came with the program."""
    return NOBODYS_WORDS.get(name, f"by {name}")
