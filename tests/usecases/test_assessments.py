"""What was seen over a real database: kept once, the quote fitted again for it in the same transaction, and both told."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from sqlmodel import select

from server.domain.assessments import Assessed, read_seen
from server.domain.changes import changes_between
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.learner import SEEN
from server.domain.lessons import Booking
from server.domain.quotes import Quote
from server.domain.stock import Contact
from server.persistence.quotes import load_quote
from server.persistence.tables import AssessmentRow
from server.usecases.assessments import confirm_quote_of, keep_assessment, list_assessments
from server.usecases.fit import fitter_for
from server.usecases.learner import draft_from_quote, save_answers
from server.usecases.lessons import mark_booking
from server.usecases.messages import message_texts, outbox
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.stock import agree_to_quote
from server.usecases.work import Shop
from server.usecases.worksheets import Written, begin_worksheet, finish_worksheet, write_worksheet
from tests.builders_lessons import booked, lesson
from tests.builders_shop import STRONG, Clock, learner, number_of
from tests.builders_strand import kept_quote, lesson_today, typed_seen

KEY = "a-key-of-a-phone"


def see(shop: Shop, booking: Booking, key: str = KEY, minutes_ago: int = 0, **given: str) -> Assessed:
    with shop.writing("Maeve") as work:
        seen = read_seen(typed_seen(**given), work.now - timedelta(minutes=minutes_ago))
        return keep_assessment(work, booking.id, seen, key)


def newest(shop: Shop, token: str) -> Quote:
    with shop.reading() as work:
        return read_quote(work, token)


def test_the_quote_is_fitted_again_as_the_instructor_saw_and_its_customer_is_told_why(shop: Shop) -> None:
    token, code = kept_quote(shop, **STRONG)
    [booking] = lesson_today(shop, {"code": code, "email": "one@example.org"})
    assessed = see(shop, booking, longest_flight="70")
    assert (assessed.came.code, assessed.came.revision) == (code, 2)
    quote = newest(shop, token)
    assert (quote.revision, quote.setup) == (2, "lively")
    assert quote.notes[0] == "Seen on the water on 25 November 2026 by Maeve: Up on most runs and steady once flying."
    with shop.reading() as work:
        by_answers = fitter_for(work, learner(**STRONG, foil_stage="long_flights", wing_handling="some")).recommended()
        assert by_answers is not None
        assert {part.sku for part in quote.kit.parts.values()} == set(by_answers.skus), "as if it had been answered so"
        first = load_quote(work.session, token, 1)
        assert first is not None
        changes = {change.field: change for change in changes_between(first, quote)}
        assert (changes[SEEN].before, changes["foil_stage"].after) == ("", "long flights")
        [message] = message_texts(work, f"quote:{token}")
    assert (message.name, message.to_email) == ("quote_changed", "one@example.org")
    for words in ("Seen on the water on 25 November 2026 by Maeve", "Set-up: lively, was steady", f"/quotes/{token}"):
        assert words in message.text.body


def test_what_a_phone_sends_twice_is_kept_once(shop: Shop, clock: Clock) -> None:
    token, code = kept_quote(shop)
    [booking] = lesson_today(shop, {"code": code})
    first = see(shop, booking)
    clock.forward(minutes=20)
    assert see(shop, booking) == first
    with pytest.raises(Conflict):
        see(shop, booking, sentence="Something else.")
    with shop.reading() as work:
        assert number_of(work.session, AssessmentRow) == 1
        assert len(message_texts(work, f"quote:{token}")) == 1
    assert newest(shop, token).revision == 2


def test_a_quote_whose_parts_are_held_stays_and_the_desk_is_told(shop: Shop) -> None:
    token, code = kept_quote(shop)
    with shop.writing() as work:
        agree_to_quote(work, token, Contact("Some One", "", "+353 20 910 0001"), 1)
    [booking] = lesson_today(shop, {"code": code})
    came = see(shop, booking).came
    assert (came.revision, "held" in came.because) == (None, True)
    assert newest(shop, token).revision == 1
    with shop.reading() as work:
        assert [one.seen.sentence for one in list_assessments(work, booking.id)], "what was seen is kept all the same"


def test_where_no_kit_suits_what_was_seen_it_is_kept_and_the_desk_is_told(shop: Shop) -> None:
    # At 140 kg the largest board of the seed suits whoever gets to their feet in time, and nobody who is slow.
    token, code = kept_quote(shop, mass_kg=140)
    [booking] = lesson_today(shop, {"code": code})
    came = see(shop, booking, to_feet="slow", longest_flight="none").came
    assert (came.code, came.revision, newest(shop, token).revision) == (code, None, 1)
    assert came.because.endswith("Change it with them at the desk.")
    with shop.reading() as work:
        assert len(list_assessments(work, booking.id)) == 1
        assert message_texts(work, f"quote:{token}") == []


def test_without_a_quote_only_what_was_seen_is_kept(shop: Shop) -> None:
    [booking] = lesson_today(shop, {})
    assert see(shop, booking).came.because == "They booked without a quote."


def test_what_was_seen_later_holds_whichever_arrives_first(shop: Shop) -> None:
    token, code = kept_quote(shop)
    [booking] = lesson_today(shop, {"code": code}, ago=60)
    see(shop, booking, "the-later-one", minutes_ago=5, longest_flight="80")
    late = see(shop, booking, "the-earlier-one", minutes_ago=30, longest_flight="none")
    assert late.came.revision is None
    assert newest(shop, token).answers[SEEN]["foil_stage"] == "long_flights"
    see(shop, booking, "the-last-one", longest_flight="none", wing_handling="not_seen")
    quote = newest(shop, token)
    assert (quote.revision, quote.answers[SEEN]["foil_stage"]) == (3, "towed")
    assert len([note for note in quote.notes if note.startswith("Seen on the water")]) == 1


def test_parts_chosen_otherwise_stay_where_their_size_is_to_be_the_same(shop: Shop) -> None:
    # Only how they get to their feet is seen otherwise, and that asks for another board alone.
    with shop.writing() as work:
        fitter = fitter_for(work, learner(to_feet="quick"))
        cheapest = fitter.choose().least_money
        assert cheapest is not None
        quote = issue_quote(work, learner(to_feet="quick"), cheapest.skus)
    [booking] = lesson_today(shop, {"code": quote.code})
    see(shop, booking, to_feet="slow", longest_flight="none", wing_handling="not_seen")
    after = newest(shop, quote.token)
    assert after.targets["board"] != quote.targets["board"]
    assert after.kit.is_sound
    for slot in ("fuselage", "front_foil", "hand_wing"):
        assert after.kit.parts[slot].sku == quote.kit.parts[slot].sku
    assert after.agreed.fixed == ()


def test_neither_an_older_draft_nor_a_worksheet_undoes_what_was_seen(shop: Shop) -> None:
    token, code = kept_quote(shop)
    with shop.writing() as work:
        draft = draft_from_quote(work, token)
    with shop.writing("Maeve") as work:
        sheet = begin_worksheet(work, token)
    [booking] = lesson_today(shop, {"code": code})
    see(shop, booking, longest_flight="80")
    with shop.writing() as work:
        draft = save_answers(work, draft.token, {"usual_wind_kn": 14})
        quote = issue_quote(work, draft.answers, revises=token)
        assert quote.answers[SEEN]["foil_stage"] == "long_flights"
        fresh = draft_from_quote(work, token)
    with shop.writing("Maeve") as work:
        sheet = begin_worksheet(work, token)
        _, written = write_worksheet(work, sheet.token, learner(usual_wind_kn=13), quote.agreed, Written())
        assert written.answers[SEEN] == fresh.answers[SEEN]
    with shop.writing("Maeve") as work:
        _, revised = finish_worksheet(work, sheet.token, "owner")
    assert revised is not None
    assert (revised.setup, revised.answers[SEEN]) == ("lively", fresh.answers[SEEN])


def test_nothing_is_seen_before_the_lesson_nor_of_somebody_who_was_not_there(shop: Shop) -> None:
    ahead = booked(shop, lesson(shop))
    with pytest.raises(Conflict):
        see(shop, ahead)
    [booking] = lesson_today(shop, {})
    with shop.writing("Maeve") as work:
        mark_booking(work, booking, "missed")
    with pytest.raises(Conflict):
        see(shop, booking)
    with pytest.raises(NotFound):
        see(shop, replace(booking, id=999))
    with pytest.raises(InvalidInput):
        see(shop, booking, key="short")
    with shop.reading() as work:
        assert number_of(work.session, AssessmentRow) == 0


def test_a_quote_that_is_only_claimed_is_fitted_again_once_the_desk_has_confirmed_it(shop: Shop) -> None:
    token, code = kept_quote(shop)
    [booking] = lesson_today(shop, {"code": code}, is_confirmed=False)
    see(shop, booking, longest_flight="80")
    assert newest(shop, token).revision == 1
    with shop.reading() as work:
        assert not [one for one in outbox(work) if one.name == "quote_changed"], "its address goes to nobody yet"
    with shop.writing("Orla") as work:
        confirm_quote_of(work, booking)
    assert (newest(shop, token).revision, newest(shop, token).setup) == (2, "lively")
    assert newest(shop, token).answers[SEEN]["by"] == "Maeve"
    with shop.reading() as work:
        [assessed] = list_assessments(work, booking.id)
        assert (assessed.came.code, assessed.came.revision) == (code, 2)


def test_behind_the_boat_they_count_as_towed(shop: Shop) -> None:
    token, code = kept_quote(shop, **STRONG)
    [booking] = lesson_today(shop, {"code": code}, kind="tow")
    see(shop, booking, longest_flight="200")
    assert (newest(shop, token).setup, newest(shop, token).answers[SEEN]["foil_stage"]) == ("steady", "towed")


def test_the_instructors_words_are_forgotten_with_the_contact(shop: Shop, clock: Clock) -> None:
    [booking] = lesson_today(shop, {})
    see(shop, booking)
    clock.forward(days=91)
    with shop.writing("sweep") as work:
        sweep(work)
    with shop.reading() as work:
        [kept] = list_assessments(work, booking.id)
        assert (kept.seen.sentence, kept.seen.confidence) == ("", 4)
        assert "Up on most runs" not in work.session.exec(select(AssessmentRow.seen)).one()
