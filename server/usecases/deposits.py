"""Recording what is paid for lessons, so that it can be given back with a kit."""

from __future__ import annotations

from datetime import date

from server.domain.deposits import Entry, LessonState, PaidLesson
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents
from server.persistence.deposits import load_lessons, save_lesson
from server.usecases.work import Work, new_code


def take_deposit(work: Work, kind: str, fee: Cents, state: LessonState, day: date) -> PaidLesson:
    """Record a lesson that was paid for, under a new code; `fee` is what was really paid.

    Raises `InvalidInput` for a kind of lesson that the shop does not list.
    """
    kinds = work.catalogue.lessons
    if kind not in kinds:
        raise InvalidInput([Fault("kind", f"The shop lists no {kind!r} lesson.", "one of: " + ", ".join(kinds))])
    code = new_code(lambda code: bool(load_lessons(work.session, [code])))
    lesson = PaidLesson(code, kind, day, state, (Entry(code, "paid", fee, work.today),))
    save_lesson(work.session, lesson, work.now, work.actor)
    work.commit()
    return lesson
