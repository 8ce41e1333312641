"""Drafts in the database: the answers given so far, under their own unguessable address."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from pydantic import TypeAdapter
from sqlalchemy import Row, bindparam, insert, update
from sqlalchemy import select as core_select
from sqlmodel import Session, col, delete, select

from server.domain.agreed import NOTHING_AGREED, Agreed
from server.domain.drafts import Draft, Link
from server.persistence.plain import plain_change, plain_row, table_of
from server.persistence.tables import DraftRow, Moment, WorksheetRow

_AGREED = TypeAdapter(Agreed)

_DRAFTS, _SHEETS = table_of(DraftRow).c, table_of(WorksheetRow).c
_DRAFT = (
    core_select(
        *_DRAFTS,
        _SHEETS.token.label("worksheet"),
        *(_SHEETS[name] for name in ("sent_at", "sent_by", "note", "lapses_at", "withdrawn_at")),
    )
    .outerjoin_from(table_of(DraftRow), table_of(WorksheetRow), _SHEETS.token == _DRAFTS.token)
    .where(_DRAFTS.token == bindparam("token"), _DRAFTS.changed_at >= bindparam("since", type_=Moment()))
)
_LOCKS = tuple(select(key).where(key == bindparam("token")).with_for_update() for key in (_DRAFTS.token, _SHEETS.token))
_CHANGE = update(table_of(DraftRow)).where(_DRAFTS.token == bindparam("of"))
"""Asked for by every page of a draft, or at every answer, so they are put together once."""


def save_draft(session: Session, draft: Draft) -> None:
    """Put a draft in place of what stood under its token."""
    row = {
        "answers": json.dumps(draft.answers),
        "picks": json.dumps(draft.picks),
        "mass_unit": draft.mass_unit,
        "revises": draft.revises,
        "joined": draft.joined,
        "agreed": None if draft.agreed == NOTHING_AGREED else _AGREED.dump_json(draft.agreed).decode(),
        "started_at": draft.started_at,
        "changed_at": draft.changed_at,
    }
    if not plain_change(session, _CHANGE, {**row, "of": draft.token}):
        plain_change(session, insert(table_of(DraftRow)), {**row, "token": draft.token})


def load_draft(session: Session, token: str, changed_since: datetime, *, to_change: bool = False) -> Draft | None:
    """The draft under a token if it was changed since a moment; older ones are as good as gone.

    With `to_change` nobody else may change it until this transaction ends.
    """
    if to_change:
        # Alone and before they are read, so that what another did until then is seen, to the link beside the draft too.
        for lock in _LOCKS:
            plain_row(session, lock, {"token": token})
    row = plain_row(session, _DRAFT, {"token": token, "since": changed_since})
    if row is None:
        return None
    return Draft(
        token=row.token,
        answers=json.loads(row.answers),
        picks=tuple(json.loads(row.picks)),
        mass_unit=row.mass_unit,
        revises=row.revises,
        joined=row.joined,
        agreed=_AGREED.validate_json(row.agreed) if row.agreed else NOTHING_AGREED,
        link=_link_from(row),
        is_at_desk=row.worksheet is not None and row.sent_at is None,
        started_at=row.started_at,
        changed_at=row.changed_at,
    )


def _link_from(row: Row[Any]) -> Link | None:
    if row.sent_at is None or row.lapses_at is None:
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
