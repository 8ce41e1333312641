"""What the owner wants to know first: what waits for them, how old the backup is, and what is in force."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from server.domain.drafts import oldest_kept
from server.domain.listing import margin_at
from server.domain.messages import HeldUp
from server.domain.policy_book import PolicyVersion, in_force_at
from server.domain.steps import Step
from server.persistence.desk import load_waiting
from server.persistence.messages import count_given_up, load_held_up
from server.persistence.quotes import unmet_since
from server.persistence.steps import load_steps
from server.usecases.backups import backed_up_at
from server.usecases.clock import WORDS, look_at_clock
from server.usecases.policies import list_versions
from server.usecases.work import Work

MOST_WAITING = 100
UNMET_DAYS = 30


@dataclass(frozen=True, slots=True)
class Overview:
    """What waits and what stands. `uncallable` are parts whose markdown may not be called reduced (Directive 98/6/EC, 6a)."""

    waiting: int
    not_sent: int
    held_up: HeldUp | None
    """The messages that wait although they were tried."""
    clock: str
    """What speaks against the machine's clock; empty where nothing does."""
    to_come: tuple[PolicyVersion, ...]
    uncallable: tuple[str, ...]
    at_a_loss: tuple[str, ...]
    """Parts that sell by themselves for less than they cost."""
    unmet: Mapping[str, int]
    """By slot, for how many learners nothing free was right in the last days."""
    backed_up_at: datetime | None
    policy: PolicyVersion | None
    step: Step | None
    parts: int


def overview(work: Work) -> Overview:
    """All of it as of now."""
    catalogue, versions = work.catalogue, list_versions(work)
    sold = [part for part in catalogue.parts.values() if part.on_sale]
    reduced = [part for part in sold if part.markdown is not None and part.markdown.holds_on(work.today)]
    return Overview(
        waiting=len(load_waiting(work.session, oldest_kept(work.now, catalogue.policy), MOST_WAITING)),
        not_sent=count_given_up(work.session),
        held_up=load_held_up(work.session),
        clock=WORDS[look_at_clock(work)],
        to_come=tuple(sorted((one for one in versions if one.is_to_come(work.now)), key=lambda one: one.starts_at)),
        uncallable=tuple(part.sku for part in reduced if catalogue.reduction_of(part, work.today) is None),
        at_a_loss=tuple(part.sku for part in sold if margin_at(part.price_on(work.today), part, catalogue).amount < 0),
        unmet=unmet_since(work.session, work.today - timedelta(days=UNMET_DAYS)),
        backed_up_at=backed_up_at(work),
        policy=in_force_at(versions, work.now),
        step=next(iter(load_steps(work.session, 1)), None),
        parts=len(sold),
    )
