"""The outbox and the owner's own texts in the database."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ColumnElement, CursorResult, and_, case, delete, func, or_, update
from sqlmodel import Session, col, select

from server.domain.messages import LONGEST_WAIT, HeldUp, Message, Wording
from server.persistence.tables import MessageRow, WordingRow

WAITS = and_(col(MessageRow.sent_at).is_(None), col(MessageRow.gave_up_at).is_(None))


def add_message(
    session: Session,
    *,
    message_id: str,
    name: str,
    about: str,
    to_name: str,
    to_email: str,
    text: Wording,
    calendar: str | None,
    now: datetime,
    by: str,
) -> None:
    """Put a message into the outbox, due at once."""
    row = MessageRow(
        message_id=message_id,
        name=name,
        about=about,
        to_name=to_name,
        to_email=to_email,
        subject=text.subject,
        body=text.body,
        calendar=calendar,
        made_at=now,
        made_by=by,
        next_at=now,
    )
    session.add(row)


def load_message(session: Session, number: int, *, to_change: bool = False) -> Message | None:
    """A message by its number, or None; with `to_change` locked until the unit of work ends."""
    wanted = select(MessageRow).where(col(MessageRow.id) == number)
    row = session.exec(wanted.with_for_update() if to_change else wanted).one_or_none()
    return _message_from(row) if row is not None else None


def load_newest(session: Session, most: int) -> list[Message]:
    """The newest messages, so many at most."""
    wanted = select(MessageRow).order_by(col(MessageRow.id).desc()).limit(most)
    return [_message_from(row) for row in session.exec(wanted)]


def load_about(session: Session, about: str) -> list[Message]:
    """The messages about one thing, newest first."""
    wanted = select(MessageRow).where(col(MessageRow.about) == about).order_by(col(MessageRow.id).desc())
    return [_message_from(row) for row in session.exec(wanted)]


def _is_due(now: datetime) -> ColumnElement[bool]:
    """Due, and nobody is at it. What was put off for longer than anything ever is, was put off by a clock that was wrong."""
    never = now + 2 * LONGEST_WAIT
    leased, due = col(MessageRow.leased_until), col(MessageRow.next_at)
    is_free = or_(leased.is_(None), leased <= now, leased > never)
    return and_(WAITS, is_free, or_(due <= now, due > never))


def next_due(session: Session, now: datetime) -> int | None:
    """The number of the message that has been due for longest and that nobody is sending, or None."""
    wanted = select(MessageRow.id).where(_is_due(now)).order_by(col(MessageRow.next_at), col(MessageRow.id)).limit(1)
    return session.exec(wanted).first()


def lease(session: Session, number: int, now: datetime, until: datetime) -> Message | None:
    """Take a due message for a while and count the try; None where another sender was quicker.

    One statement decides, by how many rows it changed: on PostgreSQL it waits for the other's and then looks again.
    """
    taken = update(MessageRow).where(col(MessageRow.id) == number, _is_due(now))
    if _changed(session, taken.values(leased_until=until, tries=col(MessageRow.tries) + 1)) != 1:
        return None
    return load_message(session, number)


def note_sent(session: Session, number: int, now: datetime) -> bool:
    """A message has gone out; whether it was not known to have."""
    unsent = update(MessageRow).where(col(MessageRow.id) == number, col(MessageRow.sent_at).is_(None))
    values: dict[str, Any] = {"sent_at": now, "gave_up_at": None, "leased_until": None, "last_error": ""}
    return _changed(session, unsent.values(**values)) == 1


def note_failed(session: Session, message: Message, because: str, *, next_at: datetime) -> None:
    """A try failed: again at `next_at`; nothing where the message was leased anew or settled by others since."""
    mine = update(MessageRow).where(col(MessageRow.id) == message.id, WAITS, col(MessageRow.tries) == message.tries)
    session.execute(mine.values(next_at=next_at, leased_until=None, last_error=because))


def note_given_up(session: Session, number: int, because: str, now: datetime, *, by_sender: bool = True) -> bool:
    """A message is tried no more, for a reason; whether it was waiting. Stopped by others, who is at it just now keeps the lease."""
    waiting = update(MessageRow).where(col(MessageRow.id) == number, WAITS)
    values: dict[str, Any] = {"gave_up_at": now, "last_error": because}
    if by_sender:
        values["leased_until"] = None
    return _changed(session, waiting.values(**values)) == 1


def revive(session: Session, number: int, now: datetime) -> None:
    """A message that waits or was given up is due now, as if it had never been tried."""
    unsent = update(MessageRow).where(col(MessageRow.id) == number, col(MessageRow.sent_at).is_(None))
    session.execute(unsent.values(next_at=now, tries=0, leased_until=None, gave_up_at=None, last_error=""))


def delete_messages_settled_before(session: Session, moment: datetime) -> int:
    """Delete the messages that were sent or given up before a moment, and those made before it that nobody ever sent."""
    settled = or_(col(MessageRow.sent_at) < moment, col(MessageRow.gave_up_at) < moment)
    forgotten = and_(WAITS, col(MessageRow.made_at) < moment)
    return _changed(session, delete(MessageRow).where(or_(settled, forgotten)))


def load_held_up(session: Session) -> HeldUp | None:
    """The messages that wait although they were tried; None where there are none."""
    tried = and_(WAITS, col(MessageRow.tries) > 0, col(MessageRow.last_error) != "")
    oldest = session.exec(select(MessageRow).where(tried).order_by(col(MessageRow.made_at)).limit(1)).first()
    if oldest is None:
        return None
    number = session.exec(select(func.count()).select_from(MessageRow).where(tried)).one()
    return HeldUp(number, oldest.made_at, oldest.last_error)


def count_by_state(session: Session) -> dict[str, int]:
    """How many messages wait, were sent, and were given up and never sent."""
    is_sent = col(MessageRow.sent_at).is_not(None)
    state = case((is_sent, "sent"), (col(MessageRow.gave_up_at).is_not(None), "given_up"), else_="waiting")
    found = session.exec(select(state, func.count()).select_from(MessageRow).group_by(state)).all()
    return {"waiting": 0, "sent": 0, "given_up": 0} | dict(found)


def oldest_waiting(session: Session) -> datetime | None:
    """When the message was made that has waited for longest; None where none waits."""
    return session.exec(select(func.min(MessageRow.made_at)).where(WAITS)).one()


def count_given_up(session: Session) -> int:
    """How many messages were given up and never sent."""
    given_up = and_(col(MessageRow.gave_up_at).is_not(None), col(MessageRow.sent_at).is_(None))
    return session.exec(select(func.count()).select_from(MessageRow).where(given_up)).one()


def _changed(session: Session, statement: Any) -> int:
    """Run a statement that changes rows; how many it changed."""
    result: CursorResult[Any] = session.execute(statement, execution_options={"synchronize_session": False})  # type: ignore[assignment]
    return result.rowcount


def own_wording(session: Session, name: str) -> Wording | None:
    """The owner's own text of a message, or None where the usual one is in force."""
    wanted = select(WordingRow).where(col(WordingRow.name) == name).order_by(col(WordingRow.id).desc()).limit(1)
    row = session.exec(wanted).first()
    return Wording(row.subject, row.body) if row is not None and row.body else None


def save_wording(session: Session, name: str, text: Wording | None, now: datetime, by: str) -> None:
    """Put a text in force; None puts the usual one back, whatever that will be."""
    text = text or Wording("", "")
    session.add(WordingRow(name=name, subject=text.subject, body=text.body, at=now, by=by))


def _message_from(row: MessageRow) -> Message:
    return Message(
        id=row.id or 0,
        message_id=row.message_id,
        name=row.name,
        about=row.about,
        to_name=row.to_name,
        to_email=row.to_email,
        text=Wording(row.subject, row.body),
        calendar=row.calendar,
        made_at=row.made_at,
        made_by=row.made_by,
        next_at=row.next_at,
        tries=row.tries,
        leased_until=row.leased_until,
        sent_at=row.sent_at,
        gave_up_at=row.gave_up_at,
        last_error=row.last_error,
    )
