"""Changes of a catalogue as rows to read: parts that are new, back, changed or retired, and all else in groups."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from server.domain.catalogue import Part
from server.domain.catalogue_changes import FieldChange, PartChange, PartsChanged
from server.domain.money import Cents
from server.domain.part_words import FIELD_WORDS
from server.domain.slots import SLOT_WORDS
from server.web.pages.forms import plain

OPEN_UP_TO = 40
"""A list of so few rows is open by itself."""
GROUPS = {
    "sets": "Sets",
    "spots": "Spots",
    "lessons": "Kinds of lessons",
    "delivery": "Delivery zones",
    "price history": "Price history",
    "policy": "Policy",
}


@dataclass(frozen=True)
class PartRow:
    """A part that is new or retired."""

    sku: str
    name: str
    slot: str
    price: Cents


@dataclass(frozen=True)
class ChangedRow:
    """A part that changed, with each field as it was and as it is."""

    sku: str
    name: str
    fields: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True)
class Group:
    """Changes beside parts, under a title; folded where they only say again what the parts say."""

    title: str
    lines: tuple[str, ...]
    is_folded: bool = False


@dataclass(frozen=True)
class ChangesShown:
    """All that changes."""

    new: tuple[PartRow, ...]
    back: tuple[ChangedRow, ...]
    changed: tuple[ChangedRow, ...]
    retired: tuple[PartRow, ...]
    unchanged: int
    groups: tuple[Group, ...]

    @property
    def open_up_to(self) -> int:
        """How many rows a list may have to be open by itself."""
        return OPEN_UP_TO

    @property
    def is_nothing(self) -> bool:
        """Whether nothing changes."""
        return not (self.new or self.back or self.changed or self.retired or self.groups)


def changes_shown(parts: PartsChanged, others: Iterable[tuple[str, str]]) -> ChangesShown:
    """The changes as rows; `others` are kinds of things with a line each."""
    grouped: dict[str, list[str]] = {}
    for word, line in others:
        grouped.setdefault(word, []).append(line)
    return ChangesShown(
        new=tuple(map(_part, parts.new)),
        back=tuple(map(_changed, parts.back)),
        changed=tuple(map(_changed, parts.changed)),
        retired=tuple(map(_part, parts.retired)),
        unchanged=parts.unchanged,
        groups=tuple(
            Group(GROUPS.get(word, word.capitalize()), tuple(lines), word == "price history")
            for word, lines in grouped.items()
        ),
    )


def _part(part: Part) -> PartRow:
    return PartRow(part.sku, part.name, SLOT_WORDS[part.slot], part.price)


def _changed(change: PartChange) -> ChangedRow:
    fields = tuple((FIELD_WORDS.get(one.name, one.name), said(one.before), said(one.after)) for one in change.fields)
    return ChangedRow(change.after.sku, change.after.name, fields)


def said(value: Any) -> str:
    """A field's value as it would be typed, a dash where there is none."""
    if value is None or value == "":
        return "–"
    return ", ".join(map(said, value)) if isinstance(value, (list, tuple)) else plain(value)


def field_words(field: FieldChange) -> str:
    """A field's change in a line."""
    return f"{FIELD_WORDS.get(field.name, field.name)} {said(field.before)} → {said(field.after)}"
