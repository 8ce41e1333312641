"""Recording what is paid for lessons, so that it can be given back with a kit."""

from __future__ import annotations

from datetime import date

from server.domain.codes import CODES, code_of
from server.domain.deposits import Entry, LessonState, PaidLesson
from server.domain.errors import Fault, InvalidInput
from server.domain.money import Cents
from server.persistence.deposits import load_lessons, save_lesson
from server.usecases.work import Work, random_below


def take_deposit(work: Work, kind: str, fee: Cents, state: LessonState, day: date) -> PaidLesson:
    """Record a lesson that was paid for, under a new code; `fee` is what was really paid.

    Raises `InvalidInput` for a kind of lesson that the shop does not list.
    """
    kinds = work.catalogue.lessons
    if kind not in kinds:
        raise InvalidInput([Fault("kind", f"The shop lists no {kind!r} lesson.", "one of: " + ", ".join(kinds))])
    code = _free_code(work)
    lesson = PaidLesson(code, kind, day, state, (Entry(code, "paid", fee, work.today),))
    save_lesson(work.session, lesson, work.now, work.actor)
    work.commit()
    return lesson


def _free_code(work: Work) -> str:
    while True:
        code = code_of(random_below(CODES))
        if code is not None and not load_lessons(work.session, [code]):
            return code
