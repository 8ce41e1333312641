"""Numbers as they are when somebody asks for them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Level:
    """A number by itself, or one for each value of a label."""

    name: str
    meaning: str
    values: Mapping[str, float]
    label: str = ""
