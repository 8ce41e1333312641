"""After the handover: questions and answers, sessions on the water, asking how it goes, the next step, and recalls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import get_args

from server.domain.aftercare import (
    NextStep,
    Owned,
    Question,
    SessionKind,
    Sessions,
    Waiting,
    fault_of_question,
    follow_up_days,
    included_lessons,
    next_steps,
    spares_for,
    support_sessions,
    warranty_until,
)
from server.domain.catalogue import Part
from server.domain.days import day_in_words
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, SlackwaterError
from server.domain.kits import Fitter
from server.domain.learner import a_step_further, read_answers
from server.domain.messages import one_line
from server.domain.periods import months_after
from server.domain.pieces import Piece
from server.domain.recall import Recall, SoldPart
from server.domain.sales import Sale
from server.outside.photos import Photo
from server.persistence.aftercare import (
    PIECES_AWAY,
    add_follow_ups,
    add_question,
    answered_questions,
    delete_questions_before,
    drop_follow_ups,
    due_follow_ups,
    load_question,
    note_follow_up_told,
    open_questions_of,
    pieces_of,
    question_under,
    questions_of,
    sales_with_follow_ups_due,
    save_answer,
    sold_parts,
    take_up_follow_ups,
    waiting_questions,
)
from server.persistence.pieces import load_piece
from server.persistence.quotes import load_quote
from server.persistence.sales import save_contact
from server.persistence.stock import load_on_hand
from server.usecases.deposits import lessons_given_back_with
from server.usecases.photos import keep_photos
from server.usecases.sales import check_key, locked_sale, mark, policy_of, read_sale, tell_owner
from server.usecases.work import Work

MOST_SHOWN = 200
LONGEST_ANSWER = 3000
ANSWER_ACCEPTED = f"3 to {LONGEST_ANSWER} characters"
LONGEST_NOTE = 200
NOTE_ACCEPTED = f"one line of at most {LONGEST_NOTE} characters"
TAKEN_BACK = "taken back by the customer"
STATES_WITHOUT_FOLLOW_UP = ("returned", "withdrawn")


# What is owned.


def maker_of(work: Work, sku: str, piece: int | None) -> str:
    """Who made what was sold; empty where nobody knows any more."""
    if piece is not None:
        there = load_piece(work.session, piece)
        return there.maker if there is not None else ""
    part = work.catalogue.parts.get(sku)
    return part.maker if part is not None else ""


def owned_of(work: Work, sale: Sale) -> tuple[Owned, ...]:
    """What the customer has or is to get, each with its maker and until when its warranty runs, under the terms of the sale's day."""
    terms = policy_of(work, sale).sales
    return tuple(
        Owned(item, maker_of(work, item.sku, item.piece), warranty_until(item, terms))
        for item in sale.goods
        if not item.gone
    )


def spares_of(work: Work, owned: Sequence[Owned]) -> tuple[Part, ...]:
    """The spare parts on sale that fit what is owned."""
    return spares_for(work.catalogue, [(one.item.sku, one.maker) for one in owned])


def next_steps_of(work: Work, sale: Sale) -> tuple[NextStep, ...]:
    """The next step for the kit owned, by the answers of its quote; none where its quote or its parts are not known any more."""
    try:
        quote = load_quote(work.session, sale.quote_token, sale.revision) if sale.quote_token else None
        if quote is None:
            return ()
        answers = read_answers(quote.answers, work.catalogue)
    except SlackwaterError:
        return ()  # A spot is not listed any more, or the record is of another time: nobody can say what that learner needs.
    fitter = Fitter.of(a_step_further(answers), work.shelf, work.today)
    return next_steps(fitter, sale.items, work.today)


# Questions.


def ask_question(
    work: Work,
    sale: Sale,
    item: int | None,
    text: str,
    photos: Sequence[Photo],
    key: str,
    photo_faults: Sequence[Fault] = (),
) -> Question:
    """Put a customer's question with its photographs on the desk's list, once for each form.

    Raises `InvalidInput` with every fault, those of the photographs included, which were found when they were read.
    """
    check_key(key)
    locked_sale(work, sale.id)
    there = question_under(work.session, key)
    if there is not None and there.sale_id == sale.id:
        return there
    fault = fault_of_question(text, open_questions_of(work.session, sale.id))
    faults = [*([fault] if fault is not None else []), *photo_faults]
    if item is not None and sale.item(item) is None:
        faults.append(Fault("item", "This is none of your parts.", "one of the list, or none"))
    if there is not None:
        faults.append(Fault("key", "The form has lost its key: load the page again.", "the key of the form"))
    if faults:
        raise InvalidInput(faults)
    number = add_question(work.session, sale.id, item, text, work.now, key)
    keep_photos(work, f"question:{number}", photos)
    work.commit()
    return read_question(work, number)


def read_question(work: Work, number: int) -> Question:
    """A question by its number; raises `NotFound`."""
    question = load_question(work.session, number)
    if question is None:
        raise NotFound("question", "There is no such question.")
    return question


def questions_about(work: Work, sale: Sale) -> list[Question]:
    """The questions about a sale, newest first."""
    return questions_of(work.session, sale.id)


def questions_to_answer(work: Work, most: int = MOST_SHOWN) -> list[Waiting]:
    """The questions that wait for an answer, oldest first."""
    return waiting_questions(work.session, most)


def questions_answered(work: Work, most: int = MOST_SHOWN) -> list[Waiting]:
    """The questions that were answered, newest first."""
    return answered_questions(work.session, most)


def answer_question(work: Work, number: int, answer: str) -> Question:
    """Answer a question; the customer is written to and finds it on their page. The same answer twice is one.

    Raises `NotFound`, `InvalidInput` for a text that cannot be sent, `Conflict` where somebody answered meanwhile.
    """
    question = load_question(work.session, number, to_change=True)
    if question is None:
        raise NotFound("question", "There is no such question.")
    if question.answered_at is not None:
        if question.answer == answer:
            return question
        raise Conflict([Fault("answer", f"{question.answered_by} has answered this already.")])
    if not 3 <= len(answer) <= LONGEST_ANSWER or not answer.replace("\n", "").replace("\r", "").isprintable():
        raise InvalidInput([Fault("answer", "An answer is needed.", ANSWER_ACCEPTED)])
    sale = read_sale(work, question.sale_id)
    save_answer(work.session, number, answer, work.now, work.actor)
    tell_owner(
        work,
        sale,
        "question_answered",
        {
            "question": one_line(question.text)[:200],
            "answer": answer,
        },
    )
    work.commit()
    return replace(question, answer=answer, answered_at=work.now, answered_by=work.actor)


def forget_questions(work: Work) -> int:
    """Delete questions and their photographs once the years are over for which a sale is kept; how many there were."""
    kept_since = months_after(work.today, -12 * work.catalogue.policy.sales.kept_years)
    number = delete_questions_before(work.session, kept_since)
    work.commit()
    return number


# Sessions on the water.


def sessions_of(work: Work, sale: Sale) -> tuple[Sessions, Sessions]:
    """The support sessions and the included lessons of a sale: promised, given another way, taken."""
    policy = policy_of(work, sale)
    fees_back = len(lessons_given_back_with(work, sale.code)) if sale.quote_token else 0
    return support_sessions(sale, policy), included_lessons(sale, policy, fees_back)


def record_session(
    work: Work, number: int, what: SessionKind, note: str, key: str, taken_on: date | None = None
) -> Sale:
    """Write down that a session or an included lesson was taken on a day (today where none is given), once for each form.

    Raises `InvalidInput` for a note that cannot be kept or a day before the sale or to come, `Conflict` where none is left.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    day, faults = taken_on or work.today, []
    if not sale.made_on <= day <= work.today:
        accepted = f"a day from {day_in_words(sale.made_on)} until today"
        faults.append(Fault("day", "It cannot have been taken on this day.", accepted))
    if len(note) > LONGEST_NOTE or not note.isprintable():
        faults.append(Fault("note", "This note cannot be kept.", NOTE_ACCEPTED))
    if faults:
        raise InvalidInput(faults)
    if sale.state in STATES_WITHOUT_FOLLOW_UP:
        raise Conflict([Fault("what", "This kit came back: nothing is left to take.")])
    support, lessons = sessions_of(work, sale)
    if (support if what == "support" else lessons).left == 0:
        raise Conflict([Fault("what", "None is left: all that came with this kit were taken.")])
    said = day_in_words(day) if what == "support" else f"included lesson, {day_in_words(day)}"
    mark(work, sale.id, "session", key, note, about={"what": what, "day": day.isoformat(), "said": said})
    work.commit()
    return read_sale(work, number)


def take_session_back(work: Work, number: int, session: str, why: str, key: str) -> Sale:
    """Write down that a session or lesson was not taken after all, by the key under which it was written down; once for each form.

    Both entries stay in the story. Raises `NotFound`, `InvalidInput` without a reason, and `Conflict` for a lesson with which
    something that came back was worked out already.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    taken = next((one for what in get_args(SessionKind) for one in sale.sessions(what) if one.key == session), None)
    if taken is None:
        raise NotFound("session", "There is no such session, or it was taken back already.")
    why = " ".join(why.split())
    if not 3 <= len(why) <= LONGEST_NOTE or not why.isprintable():
        raise InvalidInput([Fault("why", "Say why it was not taken.", f"one line of 3 to {LONGEST_NOTE} characters")])
    worked_out = [one for one in sale.marks if one.kind in ("returned", "withdrawn") and one.at >= taken.at]
    if taken.about["what"] == "lesson" and worked_out:
        words = "What came back was worked out with this lesson already: settle it on the page of the sale."
        raise Conflict([Fault("session", words)])
    about = {"undoes": taken.key, "what": taken.about["what"], "said": taken.about.get("said", "")}
    mark(work, sale.id, "session_undone", key, why, about)
    work.commit()
    return read_sale(work, number)


# Asking how it goes.


def write_no_more(work: Work, sale: Sale) -> None:
    """The customer wants no more letters that ask how it goes; those about what they ask or buy still come."""
    sale = locked_sale(work, sale.id)
    save_contact(work.session, sale.id, sale.contact, sale.address, may_write=False)
    drop_follow_ups(work.session, sale.id, TAKEN_BACK)
    work.commit()


def write_again(work: Work, sale: Sale) -> None:
    """The customer wants to be asked how it goes again: the letters whose days are still to come are written."""
    sale = locked_sale(work, sale.id)
    save_contact(work.session, sale.id, sale.contact, sale.address, may_write=True)
    received = [item.received_on for item in sale.goods if item.is_core and not item.gone]
    days = [day for day in received if day is not None]
    if days and len(days) == len(received):
        planned = follow_up_days(max(days), policy_of(work, sale).sales.follow_up_weeks)
        later = [(week, day) for week, day in planned if day > work.today]
        take_up_follow_ups(work.session, sale.id, TAKEN_BACK, work.today)
        add_follow_ups(work.session, sale.id, later)
    work.commit()


def tell_follow_ups(work: Work) -> int:
    """Write to those whose kit was handed over so many weeks ago, each week once; how many letters there are.

    Of several that are due at once only the latest is written. Nobody is asked about a kit that came back, or who takes it back.
    """
    written = 0
    for number in sales_with_follow_ups_due(work.session, work.today):
        sale = locked_sale(work, number)
        weeks = due_follow_ups(work.session, number, work.today)
        if not weeks:
            continue
        if sale.state in STATES_WITHOUT_FOLLOW_UP or not sale.may_write or not sale.contact.email:
            drop_follow_ups(work.session, number, "returned, or nobody to write to", weeks)
            continue
        drop_follow_ups(work.session, number, "a later one was due as well", weeks[:-1])
        note_follow_up_told(work.session, number, weeks[-1], work.now)
        tell_owner(
            work,
            sale,
            "follow_up",
            {
                "weeks": "a week" if weeks[-1] == 1 else f"{weeks[-1]} weeks",
            },
        )
        written += 1
    work.commit()
    return written


# Recalls.


@dataclass(frozen=True, slots=True)
class Recalled:
    """Whom a recall concerns: owners of such serial numbers, owners of such parts without one, pieces here, new parts on the shelf."""

    owners: tuple[SoldPart, ...]
    unknown: tuple[SoldPart, ...]
    pieces: tuple[Piece, ...]
    shelf: tuple[tuple[Part, int], ...]


def find_recalled(work: Work, recall: Recall) -> Recalled:
    """Everybody who has a part that is called back; nothing is written. Raises `InvalidInput` where no such part was ever listed."""
    parts = [
        part
        for part in work.catalogue.parts.values()
        if (not recall.sku or part.sku.casefold() == recall.sku.casefold())
        and (not recall.maker or part.maker.casefold() == recall.maker.casefold())
    ]
    skus = [part.sku for part in parts]
    makers = [recall.maker.casefold()] if recall.maker and not recall.sku else []
    pieces = pieces_of(work.session, skus, makers)
    if not parts and not pieces:
        raise InvalidInput(
            [Fault("sku", "Nothing of this SKU or maker was ever listed.", "as the catalogue spells it")]
        )
    named = [piece for piece in pieces if recall.names(piece.serial)]
    sold = sold_parts(work.session, skus, [piece.id for piece in pieces])
    concerned = [one for one in sold if recall.names(one.serial)]
    on_hand = load_on_hand(work.session)
    return Recalled(
        owners=tuple(one for one in concerned if one.serial or not recall.ranges),
        unknown=tuple(one for one in concerned if not one.serial and recall.ranges),
        pieces=tuple(piece for piece in named if piece.state not in PIECES_AWAY),
        shelf=tuple((part, on_hand[part.sku]) for part in parts if on_hand.get(part.sku, 0) > 0),
    )
