"""Recording what is paid for lessons, so that it can be given back with a kit."""

from __future__ import annotations

from datetime import date, timedelta

from server.domain.deposits import Entry, LessonState, PaidLesson
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents
from server.persistence.deposits import load_lessons, save_lesson
from server.usecases.work import Work, new_code

EARLIEST = date(2000, 1, 1)
FARTHEST_DAYS = 730


def take_deposit(work: Work, kind: str, fee: Cents, state: LessonState, day: date) -> PaidLesson:
    """Record a lesson that was paid for, under a new code; `fee` is what was really paid.

    Raises `InvalidInput` for a kind of lesson that the shop does not list, and for a day that cannot be: a lesson taken
    or missed has had its day.
    """
    kinds = work.catalogue.lessons
    faults = []
    if kind not in kinds:
        faults.append(Fault("kind", f"The shop lists no {kind!r} lesson.", "one of: " + ", ".join(kinds)))
    last = work.today if state in ("taken", "missed") else work.today + timedelta(days=FARTHEST_DAYS)
    if not EARLIEST <= day <= last:
        message = f"A lesson {state.replace('_', ' ')} on {day.isoformat()} cannot be."
        faults.append(Fault(state, message, f"a day from {EARLIEST.isoformat()} to {last.isoformat()}"))
    if faults:
        raise InvalidInput(faults)
    code = new_code(lambda code: bool(load_lessons(work.session, [code])))
    lesson = PaidLesson(code, kind, day, state, (Entry(code, "paid", fee, work.today),))
    save_lesson(work.session, lesson, work.now, work.actor)
    work.commit()
    return lesson
