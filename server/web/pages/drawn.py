"""The drawings of a kit, each for a wide and for a narrow sheet."""

from __future__ import annotations

from dataclasses import dataclass

from server.domain.quotes import QuotedKit
from server.web.drawings import plan, side
from server.web.drawings.sheet import Drawing

WIDE, NARROW = 640.0, 330.0  # Widths in pixels of the sheets that charts are drawn for.


@dataclass(frozen=True, slots=True)
class Pair:
    """A drawing for a wide sheet, and the same drawn anew for a narrow one."""

    wide: Drawing
    narrow: Drawing


@dataclass(frozen=True, slots=True)
class KitDrawn:
    """The kit from the side and from above."""

    side: Pair
    plan: Pair


def kit_drawn(kit: QuotedKit) -> KitDrawn:
    """All drawings of a kit."""
    return KitDrawn(
        side=Pair(side.side_view(kit, side.WIDE), side.side_view(kit, side.NARROW)),
        plan=Pair(plan.plan_view(kit, plan.WIDE), plan.plan_view(kit, plan.NARROW)),
    )
