"""Colours as #rrggbb and how far they stand apart, by the Web Content Accessibility Guidelines (WCAG) 2.2 of the W3C."""

from __future__ import annotations

import re

LEAST_FOR_TEXT = 4.5
"""Success criterion 1.4.3, contrast (minimum), for text of ordinary size."""
_HEX = re.compile(r"#[0-9a-f]{6}", re.ASCII)


def read_colour(value: object) -> str:
    """A colour in small letters; raises `ValueError` for anything but # and six hexadecimal digits."""
    colour = value.lower() if isinstance(value, str) else ""
    if not _HEX.fullmatch(colour):
        raise ValueError(value)
    return colour


def _linear(channel: int) -> float:
    """An sRGB channel of 8 bits as light, 0 to 1."""
    share = channel / 255
    return share / 12.92 if share <= 0.04045 else float(((share + 0.055) / 1.055) ** 2.4)


def relative_luminance(colour: str) -> float:
    """The light of a colour from 0 (black) to 1 (white): 0.2126 R + 0.7152 G + 0.0722 B of its linear channels.

    Source: WCAG 2.2, "relative luminance". #767676 has 0.1812.
    """
    red, green, blue = (_linear(int(colour[at : at + 2], 16)) for at in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast_ratio(one: str, other: str) -> float:
    """How far two colours stand apart, from 1 (the same) to 21 (black on white): (lighter + 0.05) / (darker + 0.05).

    Source: WCAG 2.2, "contrast ratio". #767676 on white has 4.54.
    """
    darker, lighter = sorted((relative_luminance(one), relative_luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)
