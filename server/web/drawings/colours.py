"""A small sample of a page in colours that nobody has yet: its ground, words, a link, a button and a price.

The colours are in the drawing itself, since they stand in no style sheet before they are saved.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

WIDTH, HEIGHT = 320, 168


@dataclass(frozen=True, slots=True)
class Ground:
    """A filled field at a place, in pixels."""

    x: int
    y: int
    width: int
    height: int
    colour: str
    round: int = 0


@dataclass(frozen=True, slots=True)
class Words:
    """Words at a place in a colour; `kind` gives them their letters."""

    kind: str
    x: int
    y: int
    words: str
    colour: str


@dataclass(frozen=True, slots=True)
class Sample:
    """A page in small: its fields, and the words on them."""

    title: str
    grounds: tuple[Ground, ...]
    words: tuple[Words, ...]
    width: int = WIDTH
    height: int = HEIGHT


def sample_of(colours: Mapping[str, str], title: str) -> Sample:
    """A page with the colours of a shop: `accent`, `on_accent`, `paper`, `ink` and `sand`, each as #rrggbb."""
    accent, ink = colours["accent"], colours["ink"]
    grounds = (
        Ground(0, 0, WIDTH, HEIGHT, colours["paper"]),
        Ground(16, 106, 136, 44, accent, 4),
        Ground(184, 22, 120, 128, colours["sand"]),
        Ground(16, 90, 74, 1, accent),
    )
    words = (
        Words("sample-head", 16, 40, "Your kit", ink),
        Words("sample-text", 16, 64, "Board and wing", ink),
        Words("sample-text", 16, 86, "Why these", accent),
        Words("sample-button", 84, 133, "Keep it", colours["on_accent"]),
        Words("sample-text", 198, 50, "To pay", ink),
        Words("sample-head", 198, 80, "€1,234", ink),
    )
    return Sample(title, grounds, words)
