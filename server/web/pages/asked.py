"""A page that asks the questions: its fields as typed, what is wrong beside them, and what can be chosen."""

from __future__ import annotations

from dataclasses import dataclass

from server.domain.catalogue import Catalogue
from server.domain.errors import Fault
from server.domain.slots import CORE_SLOTS, MEASURE_WORDS, MEASURES, SLOT_WORDS, Measure
from server.web.pages.forms import Typed
from server.web.pages.words import field_words

NOT_ASKED = ("handles", "construction", "cut_to_cm2")
CORE_WORDS = tuple((slot, SLOT_WORDS[slot]) for slot in CORE_SLOTS)


@dataclass(frozen=True, kw_only=True)
class AskingPage:
    """The fields of the questions as typed, with their faults, and the choices that the catalogue gives."""

    typed: Typed
    faults: tuple[Fault, ...]
    catalogue: Catalogue
    keeps: tuple[tuple[str, str], ...]
    trades: tuple[str, ...]
    tracks: tuple[str, ...]
    mounts: tuple[str, ...]
    core_words: tuple[tuple[str, str], ...] = CORE_WORDS

    def measures(self, slot: str) -> tuple[tuple[Measure, str], ...]:
        """The measures to ask of kept gear, those first that it cannot be built on without, each with its word."""
        asked = sorted(MEASURES[slot], key=lambda measure: not measure.to_fit)
        return tuple((measure, MEASURE_WORDS[measure.name]) for measure in asked if measure.name not in NOT_ASKED)

    def value(self, name: str) -> str:
        """A field as typed; empty where nothing was."""
        value = self.typed.get(name, "")
        return value if isinstance(value, str) else ", ".join(value)

    def has(self, name: str, option: str) -> bool:
        """Whether an option of several is ticked."""
        value = self.typed.get(name, ())
        return option == value if isinstance(value, str) else option in value

    def words_of(self, name: str) -> str:
        """What a field asks for, in a few words."""
        return field_words(name)

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.faults if fault.field == name), None)


def tracks_of(catalogue: Catalogue) -> tuple[str, ...]:
    """The tracks of the masts on sale."""
    return catalogue.words_of("mast", "track")


def mounts_of(catalogue: Catalogue) -> tuple[str, ...]:
    """The mounts of the masts on sale."""
    return catalogue.words_of("mast", "mount")
