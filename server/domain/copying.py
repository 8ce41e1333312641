"""A shop's books on two databases, side by side, so that its owner sees that a copy is the same shop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

NOTHING = "–"


@dataclass(frozen=True, slots=True)
class Beside:
    """One figure of the books, here and there, in words."""

    what: str
    here: str
    there: str

    @property
    def agrees(self) -> bool:
        """Whether both sides say the same."""
        return self.here == self.there


def side_by_side(here: Mapping[str, str], there: Mapping[str, str]) -> tuple[Beside, ...]:
    """All figures of both sides; one that only one side has stands beside a dash."""
    names = [*here, *(name for name in there if name not in here)]
    return tuple(Beside(name, here.get(name, NOTHING), there.get(name, NOTHING)) for name in names)
