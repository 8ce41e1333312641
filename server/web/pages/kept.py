"""What was just kept as a step of the catalogue, said on the page that follows, with the way to undo it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from server.domain.steps import Step, next_to_undo
from server.usecases.steps import list_steps
from server.usecases.work import Work


@dataclass(frozen=True, slots=True)
class Kept:
    """A step in words; its number where it is the one to undo next, else 0."""

    about: str
    number: int


def kept_in(work: Work, query: Mapping[str, str]) -> Kept | None:
    """What an address says was kept; None where that is no step of whoever looks, or was undone since."""
    step = kept_step(work, query)
    if step is None:
        return None
    return Kept(step.about, step.version if step == next_to_undo(list_steps(work)) else 0)


def kept_step(work: Work, query: Mapping[str, str]) -> Step | None:
    """The step that an address names as kept."""
    number = query.get("kept", "")
    steps = [step for step in list_steps(work) if str(step.version) == number]
    return next((step for step in steps if step.by == work.actor and step.undone_at is None), None)


def kept_as(version: int, before: int) -> dict[str, str]:
    """How an address names the version that was made; nothing where none was."""
    return {"kept": str(version)} if version > before else {}
