"""What is said of used pieces and of parts to come, on the pages of the desk and of customers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Protocol

from babel.dates import format_date

from server.domain.catalogue import Gear, MeasureValue
from server.domain.pieces import PIECE_SLOTS, Piece
from server.domain.policy import ShopTerms
from server.domain.slots import MEASURE_WORDS, SIZES, SLOT_WORDS, measures_of
from server.domain.trade_in import CONDITION_WORDS
from server.web.pages.forms import plain
from server.web.units import Units, size_in

SLOT_CHOICES = tuple((slot, SLOT_WORDS[slot]) for slot in PIECE_SLOTS)
CONDITION_CHOICES = tuple(CONDITION_WORDS.items())
SAID_SOURCES: Mapping[str, str] = {
    "trade_in": "used, traded in",
    "bought": "used",
    "demo": "used for demonstration",
    "swap": "given back after a try",
    "returned": "given back unused or nearly",
}
"""How a piece came, as customers are told."""
UNITS_SAID = {"kg": "kg", "l": "l", "cm": "cm", "cm2": "cm²", "m2": "m²"}


@dataclass(frozen=True, slots=True)
class MeasureField:
    """A measure of a slot as a field of the form: its name there, its word, its unit, and the words to choose from if it has any."""

    name: str
    word: str
    unit: str
    words: tuple[str, ...]
    is_number: bool


def measure_fields(slot: str) -> tuple[MeasureField, ...]:
    """The measures of a slot as fields, those first without which it cannot be fitted."""
    known = sorted(measures_of(slot), key=lambda measure: not measure.to_fit)
    return tuple(
        MeasureField(
            f"measure-{measure.name}",
            MEASURE_WORDS[measure.name].capitalize(),
            _unit(measure.name) if measure.is_number else "",
            measure.words,
            measure.is_number,
        )
        for measure in known
    )


def _unit(name: str) -> str:
    return UNITS_SAID.get(name.rsplit("_", 1)[-1], "")


def measures_said(slot: str, measures: Mapping[str, MeasureValue]) -> tuple[tuple[str, str], ...]:
    """The measures that are known, each with its word and unit."""
    known = [measure.name for measure in measures_of(slot) if measure.name in measures]
    return tuple((MEASURE_WORDS[name].capitalize(), f"{plain(measures[name])} {_unit(name)}".strip()) for name in known)


def size_of(slot: str, measures: Mapping[str, MeasureValue] | None, units: Units) -> str:
    """The size of a piece in words; empty where it is not known."""
    given = measures or {}
    if slot in SIZES and SIZES[slot] in given:
        return size_in(Gear(slot, given), units)
    return str(given.get("size", ""))


def hours_words(hours: int | None) -> str:
    """Hours on the water in words."""
    if hours is None:
        return "hours not known"
    return "unused" if hours == 0 else f"about {hours} hour{'' if hours == 1 else 's'} on the water"


def due_words(day: date, today: date, terms: ShopTerms) -> str:
    """About when something is due: 12 December; with its year where it is not this one."""
    return str(format_date(day, "d MMMM" if day.year == today.year else "d MMMM y", locale=terms.locale))


def title_of_piece(piece: Piece) -> str:
    """What a piece is called, or its slot where nobody gave it a name."""
    return piece.name or SLOT_WORDS[piece.slot].capitalize()


class Pictured(Protocol):
    """A photograph that is kept, without its content."""

    @property
    def token(self) -> str:
        """Its address."""

    @property
    def width(self) -> int:
        """In pixels."""

    @property
    def height(self) -> int:
        """In pixels."""


@dataclass(frozen=True, slots=True)
class PhotoShown:
    """A photograph with its address and its size, and what it shows in words."""

    token: str
    width: int
    height: int
    words: str


def photos_shown(photos: Sequence[Pictured], title: str) -> tuple[PhotoShown, ...]:
    """Photographs of a piece, in order."""
    many = len(photos) > 1
    return tuple(
        PhotoShown(photo.token, photo.width, photo.height, f"{title}, photograph {place}" if many else title)
        for place, photo in enumerate(photos, start=1)
    )
