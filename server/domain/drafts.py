"""A draft: answers on their way to a quote, under an address of their own."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from server.domain.agreed import NOTHING_AGREED, Agreed
from server.domain.policy import Policy

STEPS = ("you", "flying", "where", "gear", "extras")
STEP_FIELDS: dict[str, tuple[str, ...]] = {
    "you": ("mass_kg", "to_feet", "fitness", "under_18", "swims_100m"),
    "flying": ("board_background", "foil_stage", "wing_handling"),
    "where": ("spot", "usual_wind_kn", "water", "min_depth_m"),
    "gear": ("keeps", "trades"),
    "extras": ("extras", "delivery", "zone", "budget", "deposit_codes"),
}


def step_of(field_name: str) -> str:
    """The step that asks for a field, or for a row of one (`trades[0].months`)."""
    name = field_name.split("[")[0].split(".")[0]
    return next((step for step, names in STEP_FIELDS.items() if name in names), STEPS[0])


@dataclass(frozen=True, slots=True)
class Link:
    """That the desk has given a draft's address to somebody: who did, with what words, and until when it leads anywhere."""

    by: str
    note: str
    lapses_at: datetime
    withdrawn_at: datetime | None = None

    def why_closed(self, now: datetime) -> str:
        """Why it leads nowhere any more, as a sentence; empty while it does."""
        if self.withdrawn_at is not None:
            return "The shop has taken this link back. Call us, or start your own kit: it takes a minute."
        if now >= self.lapses_at:
            return "This link has lapsed. Call us for a new one, or start your own kit: it takes a minute."
        return ""


@dataclass(frozen=True, slots=True)
class Draft:
    """Answers given so far (in the words of the questions), parts put in by hand, and the quote it revises, if any.

    `agreed` is what the desk has agreed by hand. `joined` is the token of the draft of another rider who will share the kit. While
    `is_at_desk` it is a worksheet that nobody was given yet, and no business of anybody else's.
    """

    token: str
    started_at: datetime
    changed_at: datetime
    answers: dict[str, Any] = field(default_factory=dict)
    picks: tuple[str, ...] = ()
    mass_unit: str = "kg"
    revises: str | None = None
    joined: str | None = None
    agreed: Agreed = NOTHING_AGREED
    link: Link | None = None
    is_at_desk: bool = False


def oldest_kept(now: datetime, policy: Policy) -> datetime:
    """Drafts not changed since this moment are deleted."""
    return now - timedelta(days=policy.draft_days)
