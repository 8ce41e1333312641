"""Drafts in the database: the answers given so far, under their own unguessable address."""

from __future__ import annotations

import json
from datetime import datetime

from pydantic import TypeAdapter
from sqlmodel import Session, col, delete, select

from server.domain.agreed import NOTHING_AGREED, Agreed
from server.domain.drafts import Draft, Link
from server.persistence.tables import DraftRow, WorksheetRow

_AGREED = TypeAdapter(Agreed)


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
            agreed=None if draft.agreed == NOTHING_AGREED else _AGREED.dump_json(draft.agreed).decode(),
            started_at=draft.started_at,
            changed_at=draft.changed_at,
        )
    )
    session.flush()


def load_draft(session: Session, token: str, changed_since: datetime, *, to_change: bool = False) -> Draft | None:
    """The draft under a token if it was changed since a moment; older ones are as good as gone.

    With `to_change` nobody else may change it until this transaction ends.
    """
    if to_change:
        # Alone and before they are read, so that what another did until then is seen, to the link beside the draft too.
        for key in (col(DraftRow.token), col(WorksheetRow.token)):
            session.exec(select(key).where(key == token).with_for_update()).all()
    wanted = (
        select(DraftRow, WorksheetRow)
        .outerjoin(WorksheetRow, col(WorksheetRow.token) == col(DraftRow.token))
        .where(col(DraftRow.token) == token, col(DraftRow.changed_at) >= changed_since)
    )
    found = session.exec(wanted.execution_options(populate_existing=True) if to_change else wanted).first()
    if found is None:
        return None
    row, worksheet = found
    return Draft(
        token=row.token,
        answers=json.loads(row.answers),
        picks=tuple(json.loads(row.picks)),
        mass_unit=row.mass_unit,
        revises=row.revises,
        joined=row.joined,
        agreed=_AGREED.validate_json(row.agreed) if row.agreed else NOTHING_AGREED,
        link=_link_from(worksheet),
        is_at_desk=worksheet is not None and worksheet.sent_at is None,
        started_at=row.started_at,
        changed_at=row.changed_at,
    )


def _link_from(row: WorksheetRow | None) -> Link | None:
    if row is None or row.sent_at is None or row.lapses_at is None:
        return None
    return Link(by=row.sent_by, note=row.note, lapses_at=row.lapses_at, withdrawn_at=row.withdrawn_at)


def delete_drafts_before(session: Session, moment: datetime) -> list[tuple[datetime, bool]]:
    """Delete the drafts not changed since a moment, and the worksheets beside them; when each was begun, and if it revises a quote."""
    old = col(DraftRow.changed_at) < moment
    begun = [
        (started, revises is not None)
        for started, revises in session.exec(select(DraftRow.started_at, DraftRow.revises).where(old).with_for_update())
    ]
    session.exec(delete(WorksheetRow).where(col(WorksheetRow.token).in_(select(DraftRow.token).where(old))))
    session.exec(delete(DraftRow).where(old))
    return begun
