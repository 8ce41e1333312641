"""Handing a kit over: what is gone through on the beach, a signature drawn on the screen, and the day on which a parcel is expected."""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from itertools import pairwise
from typing import Any, Literal, get_args

from server.domain.catalogue import Gear
from server.domain.errors import Fault
from server.domain.periods import is_working_day
from server.domain.sales import Item, Mark, Sale
from server.domain.slots import CORE_SLOTS

CheckState = Literal["done", "not_needed", "not_done"]
CHECK_STATES: tuple[CheckState, ...] = get_args(CheckState)
CHECK_WORDS: Mapping[str, str] = {"done": "Done", "not_needed": "Not needed", "not_done": "Not done"}
FOIL_SLOTS = ("mast", "fuselage", "front_foil", "tail")
LONGEST_SERIAL, LONGEST_NOTE, LONGEST_NAME, LONGEST_CARRIER = 40, 200, 80, 60
SERIAL = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ./_-]{0,39}", re.ASCII)
SERIAL_ACCEPTED = f"letters, digits, spaces and - . / _, at most {LONGEST_SERIAL}"
PAD_WIDTH, PAD_HEIGHT = 600, 200
"""The grid of whole numbers on which a signature is drawn."""
MOST_STROKES, MOST_POINTS, LONGEST_SIGNATURE = 60, 1500, 16_000
LEAST_LENGTH = 60
"""Of a signature, in units of the grid: a dot or a slip of the finger signs nothing."""
SIGNATURE_ACCEPTED = "a name drawn in the box, or the name typed and the tick beside it"
MOST_PARCELS = 20


@dataclass(frozen=True, slots=True)
class Point:
    """One point of the check list: what is asked, what to mind, and for parts of which slots (none named: always).

    Where a point matters for safety, what it asks has to be done before the things leave.
    """

    name: str
    title: str
    words: str
    mind: str
    is_safety: bool = False
    slots: tuple[str, ...] = ()


POINTS = (
    Point(
        "bolts",
        "Bolts",
        "Bolts greased, and tightened to the torque on the maker's own paper",
        "The maker's paper decides, not the arm. Check again after the first session.",
        is_safety=True,
        slots=FOIL_SLOTS,
    ),
    Point(
        "inflation",
        "Pressure",
        "Hand wing inflated to the pressure marked on it, valves shut, no leak heard",
        "The marking on the wing decides; less on a hot day in the sun.",
        is_safety=True,
        slots=("hand_wing",),
    ),
    Point(
        "leash",
        "Leashes",
        "Board leash and wing leash looked at, and how they are worn shown",
        "Cord, swivel and cuff without a nick.",
        is_safety=True,
        slots=("board", "hand_wing", "board_leash", "wing_leash"),
    ),
    Point(
        "vest",
        "Vest and helmet",
        "Told to wear a buoyancy vest and a helmet, each time",
        "The vest's label says for which weight.",
        is_safety=True,
        slots=(*CORE_SLOTS, "buoyancy_vest", "helmet"),
    ),
    Point(
        "bag",
        "Bag and covers",
        "Board bag and covers",
        "Edges of a foil cut: covers go on before it is carried.",
        slots=CORE_SLOTS,
    ),
    Point(
        "care",
        "Care",
        "How to rinse, undo, grease and dry it shown",
        "It stands on their own page too.",
        slots=(*CORE_SLOTS, "pump", "wetsuit"),
    ),
    Point(
        "papers", "Papers", "The makers' papers and the spare bolts handed over", "Instructions, warranty cards, keys."
    ),
)
"""Common practice of the trade; the makers' papers and the instructor on the beach decide."""


@dataclass(frozen=True, slots=True)
class Check:
    """How a point was answered; empty where it was not."""

    state: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Taken:
    """An item that is handed over or sent: its number, its serial number or that it has none, and the SKU really given, if another."""

    number: int
    serial: str = ""
    has_none: bool = False
    sku: str = ""


@dataclass(frozen=True, slots=True)
class Signature:
    """Strokes drawn on a grid of 600 by 200, each a row of points; without any where a name was typed instead."""

    strokes: tuple[tuple[tuple[int, int], ...], ...] = ()

    @property
    def path(self) -> str:
        """The strokes as the path of an SVG drawing; empty where nothing was drawn."""
        return "".join(
            "M" + "L".join(f"{across} {down}" for across, down in (*stroke, *(stroke if len(stroke) == 1 else ())))
            for stroke in self.strokes
        )

    @property
    def length(self) -> int:
        """How long the strokes are together, each step counted by its longer side."""
        return sum(
            max(abs(after[0] - before[0]), abs(after[1] - before[1]))
            for stroke in self.strokes
            for before, after in pairwise(stroke)
        )


def read_signature(text: str) -> Signature | None:
    """Strokes from their text, `12,30 14,33;80,20 82,24`; None where it is no signature: too short, too long or outside of the grid."""
    if not text:
        return Signature()
    if len(text) > LONGEST_SIGNATURE or not re.fullmatch(r"[0-9,; ]+", text, re.ASCII):
        return None
    strokes = []
    for one in text.split(";"):
        points = [re.fullmatch(r"(\d{1,3}),(\d{1,3})", pair, re.ASCII) for pair in one.split(" ")]
        stroke = tuple((int(found[1]), int(found[2])) for found in points if found is not None)
        if len(stroke) != len(points) or any(x > PAD_WIDTH or y > PAD_HEIGHT for x, y in stroke):
            return None
        strokes.append(stroke)
    signature = Signature(tuple(strokes))
    is_bounded = len(strokes) <= MOST_STROKES and sum(map(len, strokes)) <= MOST_POINTS
    return signature if is_bounded and signature.length >= LEAST_LENGTH else None


@dataclass(frozen=True, slots=True)
class Handover:
    """What the desk writes down when things are handed over; `drawn` is the signature's text, `has_ticked` that of a typed name."""

    taken: tuple[Taken, ...]
    checks: Mapping[str, Check] = field(default_factory=dict)
    is_set_up: bool = False
    explained_by: str = ""
    signed_by: str = ""
    drawn: str = ""
    has_ticked: bool = False
    may_write: bool = False


def needs_serial(item: Item) -> bool:
    """Whether its serial number has to be written down, or that it has none: parts of the kit and used pieces."""
    return item.is_core or item.piece is not None


def points_for(slots: Iterable[str]) -> tuple[Point, ...]:
    """The points that are gone through for parts of some slots, in the order of the list."""
    given = set(slots)
    return tuple(point for point in POINTS if not point.slots or given.intersection(point.slots))


def faults_of_taken(taken: Sequence[Taken], items: Sequence[Item]) -> list[Fault]:
    """What is wrong with the items that are to leave: none, or not to come any more, or without their serial numbers."""
    by_number = {item.number: item for item in items}
    if not taken:
        return [Fault("items", "Nothing is ticked.", "at least one of the things that are still to come")]
    faults = []
    for one in taken:
        item = by_number.get(one.number)
        if item is None or not item.is_to_come:
            faults.append(Fault(f"item-{one.number}", "This is not to be handed over (any more)."))
            continue
        if one.serial and not SERIAL.fullmatch(one.serial):
            faults.append(Fault(f"serial-{one.number}", "This cannot be a serial number.", SERIAL_ACCEPTED))
        if needs_serial(item) and not one.serial and not one.has_none:
            words = "Its serial number is needed."
            faults.append(Fault(f"serial-{one.number}", words, "the number on it, or the tick that there is none"))
        if one.serial and one.has_none:
            words = "There is a serial number here, and the tick says that there is none."
            faults.append(Fault(f"serial-{one.number}", words, "one of the two"))
    given = [
        (by_number[one.number].sku, folded_serial(one.serial))
        for one in taken
        if one.number in by_number and one.serial
    ]
    doubles = {pair for pair in given if given.count(pair) > 1}
    faults += [
        Fault(f"serial-{one.number}", "Two things cannot have the same serial number.", "each its own")
        for one in taken
        if one.number in by_number and (by_number[one.number].sku, folded_serial(one.serial)) in doubles
    ]
    return faults


def folded_serial(serial: str) -> str:
    """A serial number as it is compared: case, spaces and hyphens do not matter."""
    return re.sub(r"[\s._/-]", "", serial).casefold()


def faults_of_handover(handover: Handover, items: Sequence[Item]) -> list[Fault]:
    """Everything that is wrong with a handover, in the order of the form.

    A point that matters for safety and is not done refuses the handover and is named; that it is not needed wants a word why.
    """
    faults = faults_of_taken(handover.taken, items)
    numbers = {one.number for one in handover.taken}
    for point in points_for(item.slot for item in items if item.number in numbers):
        faults += _faults_of_check(point, handover.checks.get(point.name, Check()))
    if not 1 <= len(handover.explained_by) <= LONGEST_NAME or not handover.explained_by.isprintable():
        words = "A name is needed."
        faults.append(Fault("explained_by", words, f"a name of at most {LONGEST_NAME} characters"))
    return faults + _faults_of_signature(handover)


def _faults_of_check(point: Point, check: Check) -> list[Fault]:
    name = f"check-{point.name}"
    if check.state not in CHECK_STATES:
        return [Fault(name, "Not answered yet.", "done, not needed, or not done")]
    faults = []
    if len(check.note) > LONGEST_NOTE or not check.note.isprintable():
        faults.append(Fault(f"note-{point.name}", "This note cannot be kept.", f"one line of at most {LONGEST_NOTE}"))
    if check.state == "not_done" and point.is_safety:
        words = "This matters for safety: it has to be done before anything leaves."
        faults.append(Fault(name, words, "done, or why it is not needed"))
    elif not check.note and (check.state == "not_done" or (point.is_safety and check.state == "not_needed")):
        faults.append(Fault(f"note-{point.name}", "Say why.", "a few words"))
    return faults


def _faults_of_signature(handover: Handover) -> list[Fault]:
    faults = []
    if not 1 <= len(handover.signed_by) <= LONGEST_NAME or not handover.signed_by.isprintable():
        words = "A name is needed: whose signature is it?"
        faults.append(Fault("signed_by", words, f"a name of at most {LONGEST_NAME} characters"))
    signature = read_signature(handover.drawn)
    if signature is None:
        words = "This is too short or too long for a signature: clear the box and sign again."
        faults.append(Fault("drawn", words, SIGNATURE_ACCEPTED))
    elif not signature.strokes and not handover.has_ticked:
        faults.append(Fault("drawn", "It is not signed for yet.", SIGNATURE_ACCEPTED))
    return faults


def record_of(handover: Handover, items: Sequence[Item]) -> dict[str, Any]:
    """A handover as it is kept for good: plain words and numbers that stay readable whatever the catalogue says later."""
    by_number = {item.number: item for item in items}
    numbers = [one.number for one in handover.taken]
    return {
        "items": [
            {
                "number": one.number,
                "label": by_number[one.number].label,
                "sku": one.sku,
                "serial": one.serial,
                "has_none": one.has_none,
            }
            for one in handover.taken
        ],
        "checks": [
            {
                "words": point.words,
                "state": handover.checks[point.name].state,
                "note": handover.checks[point.name].note,
            }
            for point in points_for(by_number[number].slot for number in numbers)
        ],
        "set_up": handover.is_set_up,
        "explained_by": handover.explained_by,
        "signed_by": handover.signed_by,
        "drawn": handover.drawn,
    }


# Sending.


def expected_on(sent_on: date, days: str, holidays: Container[date]) -> date | None:
    """The day by which a parcel is expected: the most working days that its zone names, after the day it was sent.

    Sent on Friday 27 November 2026 to a zone of `3` days: Wednesday 2 December. With `2-4` the 4 counts. None where the zone's
    text names no number of days.
    """
    numbers = [int(number) for number in re.findall(r"\d{1,2}", days, re.ASCII)]
    if not numbers:
        return None
    left, day = max(numbers), sent_on
    while left > 0:
        day += timedelta(days=1)
        left -= is_working_day(day, holidays)
    return day


@dataclass(frozen=True, slots=True)
class Parcel:
    """What was sent together: its place among all that was sent of a sale, from 1 on, when, and what of it has not arrived yet."""

    place: int
    sent: Mark
    on_the_way: tuple[Item, ...]


def parcels_of(sale: Sale) -> tuple[Parcel, ...]:
    """What was sent of a sale, oldest first."""
    sent = [one for one in sale.marks if one.kind == "sent"]
    way = {item.number: item for item in sale.items if item.is_to_come and item.sent_on is not None}
    return tuple(
        Parcel(place, one, tuple(way[row["number"]] for row in one.about.get("items", ()) if row["number"] in way))
        for place, one in enumerate(sent, start=1)
    )


def longest_cm(gears: Iterable[Gear]) -> float | None:
    """The longest thing among those sent, in centimetres, which decides its box; None where no length is known.

    Hand wings travel rolled up and do not count.
    """
    lengths = [
        gear.measures.get(name) for gear in gears if gear.slot != "hand_wing" for name in ("length_cm", "span_cm")
    ]
    return max((float(length) for length in lengths if length is not None), default=None)
