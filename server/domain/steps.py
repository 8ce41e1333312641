"""Steps of the catalogue: each change of parts, prices and places as one, undone newest first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

StepKind = Literal["load", "import", "edit", "bulk", "retire", "undo"]


@dataclass(frozen=True, slots=True)
class Step:
    """One change of the catalogue: the version it made, what kind, about what; `undoes` names the version it took back."""

    version: int
    kind: StepKind
    about: str
    at: datetime
    by: str
    undoes: int | None = None
    undone_at: datetime | None = None
    undone_by: str = ""


def next_to_undo(steps: Iterable[Step]) -> Step | None:
    """The newest step that stands: those after it were undone before, so that everything is as it left it."""
    standing = [step for step in steps if step.kind != "undo" and step.undone_at is None]
    return max(standing, key=lambda step: step.version, default=None)
