"""Returns that were given notice of and faulty things in the database, until each is settled."""

from __future__ import annotations

import json
from datetime import date, datetime
from typing import cast

from sqlmodel import Session, col, select

from server.domain.faulty import Case, CaseKind
from server.persistence.tables import CaseRow


def add_case(session: Session, case: Case, at: datetime, by: str) -> int:
    """Keep a new case; its number."""
    row = CaseRow(
        sale_id=case.sale,
        kind=case.kind,
        notice_on=case.notice_on,
        record=json.dumps(dict(case.record), ensure_ascii=False),
        opened_at=at,
        opened_by=by,
        due_on=case.due_on,
        outcome=case.outcome,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def _case_from(row: CaseRow) -> Case:
    return Case(
        id=row.id or 0,
        sale=row.sale_id,
        kind=cast(CaseKind, row.kind),
        notice_on=row.notice_on,
        record=json.loads(row.record),
        due_on=row.due_on,
        is_settled=row.settled_at is not None,
        outcome=row.outcome,
        opened_by=row.opened_by,
    )


def load_case(session: Session, number: int) -> Case | None:
    """A case by its number; whoever changes it has its sale locked."""
    row = session.get(CaseRow, number, populate_existing=True)
    return None if row is None else _case_from(row)


def load_cases(session: Session, sale_id: int) -> list[Case]:
    """The cases of a sale, oldest first."""
    wanted = select(CaseRow).where(col(CaseRow.sale_id) == sale_id).order_by(col(CaseRow.id))
    return [_case_from(row) for row in session.exec(wanted.execution_options(populate_existing=True))]


def load_open_cases(session: Session, most: int) -> list[Case]:
    """The cases that are not settled, those first whose money is due first."""
    wanted = (
        select(CaseRow)
        .where(col(CaseRow.settled_at).is_(None))
        .order_by(col(CaseRow.due_on).is_(None), col(CaseRow.due_on), col(CaseRow.id))
        .limit(most)
    )
    return [_case_from(row) for row in session.exec(wanted)]


def save_outcome(session: Session, number: int, outcome: str, due_on: date | None, settled_at: datetime | None) -> None:
    """Keep what became of a case; it has to be there."""
    row = session.get_one(CaseRow, number)
    row.outcome, row.due_on, row.settled_at = outcome, due_on, settled_at
    session.flush()


def settle_paid_returns(session: Session, sale_id: int, at: datetime) -> None:
    """Settle the returns of a sale that were done and only waited for their money."""
    wanted = select(CaseRow).where(
        col(CaseRow.sale_id) == sale_id,
        col(CaseRow.kind) == "return",
        col(CaseRow.settled_at).is_(None),
        col(CaseRow.outcome) != "",
    )
    for row in session.exec(wanted):
        row.settled_at = at
    session.flush()
