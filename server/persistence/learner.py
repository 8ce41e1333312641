"""Drafts in the database: the answers given so far, under their own unguessable address."""

from __future__ import annotations

import json
from datetime import datetime

from sqlmodel import Session, col, delete, select

from server.domain.drafts import Draft
from server.persistence.tables import DraftRow


def save_draft(session: Session, draft: Draft) -> None:
    """Put a draft in place of what stood under its token."""
    session.merge(
        DraftRow(
            token=draft.token,
            answers=json.dumps(draft.answers),
            picks=json.dumps(draft.picks),
            mass_unit=draft.mass_unit,
            revises=draft.revises,
            joined=draft.joined,
            started_at=draft.started_at,
            changed_at=draft.changed_at,
        )
    )
    session.flush()


def load_draft(session: Session, token: str, changed_since: datetime, *, to_change: bool = False) -> Draft | None:
    """The draft under a token if it was changed since a moment; older ones are as good as gone.

    With `to_change` nobody else may change it until this transaction ends.
    """
    wanted = select(DraftRow).where(col(DraftRow.token) == token, col(DraftRow.changed_at) >= changed_since)
    row = session.exec(wanted.with_for_update() if to_change else wanted).first()
    if row is None:
        return None
    return Draft(
        token=row.token,
        answers=json.loads(row.answers),
        picks=tuple(json.loads(row.picks)),
        mass_unit=row.mass_unit,
        revises=row.revises,
        joined=row.joined,
        started_at=row.started_at,
        changed_at=row.changed_at,
    )


def delete_drafts_before(session: Session, moment: datetime) -> int:
    """Delete the drafts not changed since a moment; how many there were."""
    return session.exec(delete(DraftRow).where(col(DraftRow.changed_at) < moment)).rowcount
