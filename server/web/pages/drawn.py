"""The drawings of a kit, each for a wide and for a narrow sheet."""

from __future__ import annotations

from dataclasses import dataclass

from server.domain.kits import Kit, Neighbours
from server.domain.quotes import QuotedKit
from server.web.drawings import floats, person, plan, side
from server.web.drawings.floats import FloatRow
from server.web.drawings.sheet import Drawing
from server.web.units import Units, drawing_in

WIDE, NARROW = 640.0, 330.0  # Widths in pixels of the sheets that charts are drawn for.


@dataclass(frozen=True, slots=True)
class Pair:
    """A drawing for a wide sheet, and the same drawn anew for a narrow one."""

    wide: Drawing
    narrow: Drawing


@dataclass(frozen=True, slots=True)
class KitDrawn:
    """The kit from the side and from above, and its hand wing beside a person."""

    side: Pair
    plan: Pair
    wing: Pair


def kit_drawn(kit: QuotedKit) -> KitDrawn:
    """All drawings of a kit."""
    wing = kit.gear_in("hand_wing")
    return KitDrawn(
        side=Pair(side.side_view(kit, side.WIDE), side.side_view(kit, side.NARROW)),
        plan=Pair(plan.plan_view(kit, plan.WIDE), plan.plan_view(kit, plan.NARROW)),
        wing=Pair(person.hand_wing_view(wing, person.WIDE), person.hand_wing_view(wing, person.NARROW)),
    )


def pair_in(pair: Pair, units: Units) -> Pair:
    """A drawing with its lengths said in units; it stays to scale as it is."""
    return Pair(drawing_in(pair.wide, units), drawing_in(pair.narrow, units))


def drawn_in(drawn: KitDrawn, units: Units) -> KitDrawn:
    """All drawings of a kit with their lengths said in units."""
    return KitDrawn(*(pair_in(pair, units) for pair in (drawn.side, drawn.plan, drawn.wing)))


def floats_drawn(kit: Kit, beside: Neighbours) -> Pair:
    """The board of a kit floating beside one a size down and one a size up, where they exist."""
    kits = [("one smaller", beside.smaller), ("this board", None), ("one larger", beside.larger)]
    rows = [
        _float(role, other.kit if other else kit, refused=other is not None and other.refusal is not None)
        for role, other in kits
        if other is not None or role == "this board"
    ]
    return Pair(floats.floats_view(rows, floats.WIDE), floats.floats_view(rows, floats.NARROW))


def _float(role: str, kit: Kit, *, refused: bool) -> FloatRow:
    board = kit.gear_in("board")
    thickness = board.number_or("thickness_cm", side.USUAL_THICKNESS_CM)
    return FloatRow(role, board.size, thickness, kit.float_margin_l, refused)
