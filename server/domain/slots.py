"""The places a part can take in a kit, their words, and the measures that are known of a part there.

`MEASURES` is the one table behind the catalogue's files, the gear a learner keeps and the parts in the API: the same
names, units and ranges everywhere. The ranges catch slips of unit only; whether a part suits is decided elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

CORE_SLOTS = ("board", "mast", "fuselage", "front_foil", "tail", "hand_wing")
EXTRA_SLOTS = (
    "pump",
    "board_leash",
    "wing_leash",
    "helmet",
    "buoyancy_vest",
    "covers",
    "tool_kit",
    "wetsuit",
    "travel_bag",
)
SPARE = "spare"
"""What is no place in a kit: a part to mend others with. No learner is asked for one."""
SIZED_AT_THE_SHOP = ("helmet", "buoyancy_vest", "wetsuit")
BOTTOMS = ("flat", "rounded", "vee")

SLOT_WORDS = {
    "board": "board",
    "mast": "mast",
    "fuselage": "fuselage",
    "front_foil": "front foil",
    "tail": "tail",
    "hand_wing": "hand wing",
    "pump": "pump",
    "board_leash": "board leash",
    "wing_leash": "wing leash",
    "helmet": "helmet",
    "buoyancy_vest": "buoyancy vest",
    "covers": "covers",
    "tool_kit": "tool kit",
    "wetsuit": "wetsuit",
    "travel_bag": "travel bag",
    SPARE: "spare part",
}

MEASURE_WORDS = {
    "mass_kg": "mass",
    "volume_l": "volume",
    "length_cm": "length",
    "width_cm": "width",
    "thickness_cm": "thickness",
    "bottom": "bottom",
    "track": "track",
    "construction": "construction",
    "rider_max_kg": "greatest rider mass",
    "mount": "mount",
    "area_cm2": "area",
    "span_cm": "span",
    "aspect_ratio": "aspect ratio",
    "cut_to_cm2": "area it can be cut to",
    "area_m2": "area",
    "handles": "handles",
    "size": "size",
    "mass_from_kg": "least rider mass",
    "mass_to_kg": "greatest rider mass",
    "fits": "fits",
}

UNITS = {"board": "l", "mast": "cm", "fuselage": "cm", "front_foil": "cm2", "tail": "cm2", "hand_wing": "m2"}
SIZES = {
    "board": "volume_l",
    "mast": "length_cm",
    "fuselage": "length_cm",
    "front_foil": "area_cm2",
    "tail": "area_cm2",
    "hand_wing": "area_m2",
}


@dataclass(frozen=True, slots=True)
class Measure:
    """One known quantity of a part: a number within a range of its unit, or (without a range) text."""

    name: str
    low: float | None = None
    high: float | None = None
    words: tuple[str, ...] = ()
    in_file: bool = True
    """Must the catalogue's file give it?"""
    to_fit: bool = False
    """Can a part not be judged or fitted without it?"""

    @property
    def is_number(self) -> bool:
        """Whether it is a number; otherwise it is text."""
        return self.low is not None

    @property
    def accepted(self) -> str:
        """What is accepted, in words."""
        if self.low is not None and self.high is not None:
            return f"a number from {self.low:g} to {self.high:g}"
        return "one of: " + ", ".join(self.words) if self.words else "text of 1 to 60 characters"


def _length(name: str, *, in_file: bool = True, to_fit: bool = False) -> Measure:
    return Measure(name, 20, 600, in_file=in_file, to_fit=to_fit)


_MASS = Measure("mass_kg", 0.1, 40)
_TRACK = Measure("track", to_fit=True)
_MOUNT = Measure("mount", to_fit=True)
_AREA = Measure("area_cm2", 50, 5000, to_fit=True)

MEASURES: dict[str, tuple[Measure, ...]] = {
    "board": (
        _MASS,
        Measure("volume_l", 20, 300, to_fit=True),
        _length("length_cm"),
        _length("width_cm", to_fit=True),
        Measure("thickness_cm", 3, 40),
        Measure("bottom", words=BOTTOMS),
        _TRACK,
        Measure("construction", in_file=False),
        Measure("rider_max_kg", 20, 300, in_file=False),
    ),
    "mast": (_MASS, _length("length_cm", to_fit=True), _TRACK, _MOUNT),
    "fuselage": (_MASS, _length("length_cm", to_fit=True), _MOUNT),
    "front_foil": (_MASS, _AREA, _length("span_cm"), Measure("aspect_ratio", 1, 25, to_fit=True), _MOUNT),
    "tail": (_MASS, _AREA, _length("span_cm"), _MOUNT, Measure("cut_to_cm2", 50, 5000, in_file=False)),
    "hand_wing": (_MASS, Measure("area_m2", 1, 12, to_fit=True), _length("span_cm"), Measure("handles")),
}
EXTRA_MEASURES = (
    _MASS,
    Measure("size", in_file=False),
    Measure("mass_from_kg", 0, 300, in_file=False),
    Measure("mass_to_kg", 0, 300, in_file=False),
)
SPARE_MEASURES = (Measure("fits"),)
"""What a spare part fits: SKUs and makers, with semicolons between them."""


def measures_of(slot: str) -> tuple[Measure, ...]:
    """The measures known of a part in a slot."""
    return SPARE_MEASURES if slot == SPARE else MEASURES.get(slot, EXTRA_MEASURES)
