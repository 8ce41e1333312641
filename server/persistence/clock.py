"""What was written around a moment, by the entries that a shop makes every day; and the word of somebody that its clock is right."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import exists, or_, select
from sqlmodel import Session, col

from server.domain.clock import APART, SETTLES, SILENCE, Around
from server.persistence.tables import DeedRow, DraftRow, RevisionRow

DATED = (col(DeedRow.at), col(DraftRow.changed_at), col(RevisionRow.issued_at))
"""What customers and the desk do; each has an index, so that asking costs nothing."""


def written_around(session: Session, now: datetime) -> Around:
    """What lies before and after a moment. What a unit of work has written itself bears its own moment, and speaks for no clock."""

    def any_where(*conditions: Any) -> Any:
        return or_(*(exists().where(*(condition(at) for condition in conditions)) for at in DATED))

    asked = select(
        any_where(lambda at: at <= now + APART, lambda at: at != now),
        any_where(lambda at: at > now + APART, lambda at: at <= now + SILENCE),
        any_where(lambda at: at > now + APART),
        any_where(lambda at: at < now - SILENCE - SETTLES),
        any_where(lambda at: at >= now - SILENCE - SETTLES, lambda at: at <= now - SETTLES),
    )
    return Around(*(bool(found) for found in session.execute(asked).one()))


def was_confirmed(session: Session, what: str, since: datetime, until: datetime) -> bool:
    """Whether a deed of these words was done in a time."""
    done = exists().where(col(DeedRow.what) == what, col(DeedRow.at) >= since, col(DeedRow.at) <= until)
    return bool(session.execute(select(done)).scalar_one())
