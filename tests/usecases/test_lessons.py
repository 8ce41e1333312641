"""Times, places, the call on the weather and fees over a real database: nothing is booked twice, and the ledger is in step."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from threading import Barrier

import pytest
from icalendar import Calendar
from sqlmodel import col, select

from server.domain.deposits import PaidLesson
from server.domain.errors import Conflict, InvalidInput, NotFound, TooMany
from server.domain.lessons import Booking, Conditions
from server.domain.stock import Contact
from server.persistence.deposits import load_lessons
from server.persistence.folder import read_folder
from server.persistence.lessons import find_booking
from server.persistence.tables import BookingRow, DepositRow, MessageRow
from server.usecases.assessments import confirm_quote_of
from server.usecases.catalogue import replace_catalogue
from server.usecases.deposits import Fee, take_further_fee
from server.usecases.desk import today_at_desk
from server.usecases.lessons import (
    book_lesson,
    calendar_of,
    call_off_booking,
    call_weather,
    change_time,
    claimed_code_of,
    hand_back,
    list_bookings,
    list_open_times,
    make_times,
    mark_booking,
    may_move,
    move_booking,
    read_booking,
    repeat_booking,
    stand_of,
    state_if_called_off,
    take_fee,
)
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote
from server.usecases.stock import agree_to_quote
from server.usecases.work import Shop, Work, new_token
from tests.builders_lessons import GOOD_WIND, asked, booked, lesson, typed_time
from tests.builders_shop import Clock, FolderCopy, learner

AT_THE_START = "2026-11-28T10:30+00:00"


def done(shop: Shop, verb: Callable[[Work], Booking]) -> Booking:
    with shop.writing("Maeve") as work:
        return verb(work)


def ledger(shop: Shop, booking: Booking) -> PaidLesson:
    with shop.reading() as work:
        return load_lessons(work.session, [booking.code])[booking.code]


def paid(shop: Shop, booking: Booking, amount: int = 115_00) -> Booking:
    return done(shop, lambda work: take_fee(work, booking, amount, "cash"))


def told(shop: Shop) -> list[str]:
    """The names of the messages on their way out, oldest first."""
    with shop.reading() as work:
        return [row.name for row in work.session.exec(select(MessageRow).order_by(col(MessageRow.id)))]


def test_the_last_place_is_booked_once_however_many_ask_at_once(shop: Shop) -> None:
    number = lesson(shop, kind="group", places="3")
    first = [booked(shop, number) for _ in range(2)]
    barrier = Barrier(12)

    def ask(_: int) -> str:
        barrier.wait()
        try:
            return booked(shop, number).token
        except Conflict as error:
            return str(error)

    with ThreadPoolExecutor(12) as threads:
        outcomes = list(threads.map(ask, range(12)))
    assert outcomes.count("Every place in this lesson is taken.") == 11
    with shop.reading() as work:
        tokens = [one.token for one in list_bookings(work, number)]
    assert sorted(tokens) == sorted([*(one.token for one in first), *(set(outcomes) & set(tokens))])
    assert len(tokens) == 3


def test_two_lessons_at_most_are_booked_under_one_address_or_number(shop: Shop, clock: Clock) -> None:
    numbers = [lesson(shop, kind="group", day=f"2026-11-{day}") for day in (26, 27, 28, 29)]
    booked(shop, numbers[0], email="a@example.org", phone="020 910 0001")
    second = booked(shop, numbers[1], email="A@Example.org", phone="")
    with pytest.raises(TooMany):
        booked(shop, numbers[2], email="a@example.org", phone="")
    booked(shop, numbers[2], email="", phone="+353 20 910 0001")
    with pytest.raises(TooMany):
        booked(shop, numbers[3], email="other@example.org", phone="0209100001")
    with shop.writing() as work:
        call_off_booking(work, second)
    booked(shop, numbers[3], email="a@example.org", phone="")
    with shop.writing("Maeve") as work:  # The desk books for whom it knows.
        assert book_lesson(work, numbers[1], asked(email="a@example.org"), account_id=1).state == "booked"
    clock.set("2026-11-29T12:00+00:00")
    booked(shop, lesson(shop, day="2026-12-05"), email="a@example.org", phone="")


def test_a_booking_is_a_paid_lesson_whose_fee_the_desk_records(shop: Shop) -> None:
    booking = booked(shop, lesson(shop))
    there = ledger(shop, booking)
    assert (there.kind, there.state, str(there.day), there.entries) == ("private", "booked", "2026-11-28", ())
    for wrong in (0, -1, 115_01):
        with pytest.raises(InvalidInput):
            paid(shop, booking, wrong)
    paid(shop, booking, 50_00)
    paid(shop, booking, 65_00)
    with pytest.raises(InvalidInput):
        paid(shop, booking, 1)
    assert ledger(shop, booking).balance == 115_00
    with shop.reading() as work:
        rows = work.session.exec(select(DepositRow).where(col(DepositRow.code) == booking.code)).all()
        assert [(row.method, row.by) for row in rows] == [("cash", "Maeve")] * 2


@pytest.mark.parametrize(
    ("now", "verb", "state", "in_ledger", "back"),
    [
        ("2026-11-27T10:30+00:00", call_off_booking, "called_off", "called_off", 115_00),
        ("2026-11-27T10:31+00:00", call_off_booking, "called_off_late", "called_off_late", 0),
        (AT_THE_START, lambda work, one: mark_booking(work, one, "missed"), "missed", "missed", 0),
        (AT_THE_START, lambda work, one: mark_booking(work, one, "taken"), "taken", "taken", 0),
        (
            "2026-11-28T09:00+00:00",
            lambda work, one: mark_booking(work, one, "declined", because="Gusts over their window"),
            "declined",
            "called_off",
            115_00,
        ),
        (AT_THE_START, lambda work, one: mark_booking(work, one, "cut_short", 0.5), "cut_short", "taken", 57_50),
        (AT_THE_START, lambda work, one: mark_booking(work, one, "cut_short", 0.4), "cut_short", "booked", 0),
    ],
)
def test_what_happens_to_a_lesson_settles_its_fee(
    shop: Shop,
    clock: Clock,
    now: str,
    verb: Callable[[Work, Booking], Booking],
    state: str,
    in_ledger: str,
    back: int,
) -> None:
    booking = paid(shop, booked(shop, lesson(shop)))
    clock.set(now)
    after = done(shop, lambda work: verb(work, booking))
    assert (after.state, ledger(shop, booking).state) == (state, in_ledger)
    with shop.reading() as work:
        assert stand_of(work, after).to_give_back == back
    if not back:
        with pytest.raises(Conflict):
            done(shop, lambda work: hand_back(work, after, "cash"))
        return
    done(shop, lambda work: hand_back(work, after, "bank_transfer"))
    assert ledger(shop, booking).balance == 115_00 - back
    with pytest.raises(Conflict):
        done(shop, lambda work: hand_back(work, after, "cash"))


def test_money_goes_back_in_the_same_transaction_where_the_desk_says_how(shop: Shop, clock: Clock) -> None:
    booking = paid(shop, booked(shop, lesson(shop)))
    clock.set(AT_THE_START)
    done(shop, lambda work: mark_booking(work, booking, "missed"))
    done(shop, lambda work: mark_booking(work, booking, "cut_short", 0.8, "cash"))
    assert [(one.kind, one.amount) for one in ledger(shop, booking).entries] == [
        ("paid", 115_00),
        ("refunded", 57_50),
    ]
    with pytest.raises(Conflict, match="money went back"):
        done(shop, lambda work: mark_booking(work, booking, "taken"))


def test_less_than_half_is_repeated_without_a_new_fee_and_the_ledger_follows_the_repeat(
    shop: Shop, clock: Clock
) -> None:
    number, again, later = (lesson(shop, day=f"2026-{day}") for day in ("11-28", "12-05", "12-12"))
    booking = paid(shop, booked(shop, number))
    clock.set(AT_THE_START)
    with pytest.raises(Conflict):
        done(shop, lambda work: repeat_booking(work, booking, again))
    done(shop, lambda work: mark_booking(work, booking, "cut_short", 0.3))
    repeat = done(shop, lambda work: repeat_booking(work, booking, again))
    assert (repeat.repeats, repeat.state, repeat.code != booking.code) == (booking.id, "booked", True)
    with shop.reading() as work:
        assert (stand_of(work, repeat).due, stand_of(work, repeat).paid) == (0, 115_00)
    for refused in (
        lambda work: repeat_booking(work, booking, later),
        lambda work: mark_booking(work, booking, "taken"),
    ):
        with pytest.raises(Conflict):
            done(shop, refused)
    moved = done(shop, lambda work: move_booking(work, repeat, later, is_desk=True))
    clock.set("2026-12-12T12:00+00:00")
    done(shop, lambda work: mark_booking(work, moved, "taken"))
    first = ledger(shop, booking)
    assert (first.state, str(first.day), first.balance) == ("taken", "2026-12-12", 115_00)
    assert ledger(shop, moved).balance == 0


def test_a_repeat_that_is_called_off_gives_the_first_fee_back(shop: Shop, clock: Clock) -> None:
    booking = paid(shop, booked(shop, lesson(shop)))
    again = lesson(shop, day="2026-12-05")
    clock.set(AT_THE_START)
    done(shop, lambda work: mark_booking(work, booking, "cut_short", 0.1))
    repeat = done(shop, lambda work: repeat_booking(work, booking, again))
    off = done(shop, lambda work: call_off_booking(work, repeat))
    done(shop, lambda work: hand_back(work, off, "cash"))
    assert (ledger(shop, booking).balance, ledger(shop, booking).state) == (0, "called_off")


def test_called_off_by_the_shop_all_learners_are_told_and_move_or_get_it_back(shop: Shop, clock: Clock) -> None:
    number, other = lesson(shop, kind="group"), lesson(shop, kind="group", day="2026-12-05")
    one, two = booked(shop, number), booked(shop, number, email="")
    done(shop, lambda work: take_fee(work, one, 60_00, "terminal"))
    clock.set("2026-11-28T08:00+00:00")
    with shop.writing("Maeve") as work:
        called = call_weather(work, number, "final", "off", Conditions(8, 12, 90))
    assert (
        called.because
        == "A mean wind of 8 kn is under 12 kn. The wind from 90° blows off the land at Tullaveen Strand."
    )
    with shop.reading() as work:
        assert [row.state for row in list_bookings(work, number)] == ["called_off_by_shop"] * 2
        assert stand_of(work, read_booking(work, one.token)).to_give_back == 60_00
        last = work.session.exec(select(MessageRow).order_by(col(MessageRow.id).desc())).first()
        assert last is not None
        assert (last.name, last.to_email) == ("lesson_called_off", one.email)
        [event] = Calendar.from_ical(last.calendar or "").walk("VEVENT")
        assert (str(event["STATUS"]), event["SEQUENCE"]) == ("CANCELLED", 1)
    assert told(shop) == ["booking_made", "lesson_called_off"], "who has no address is called by the desk"
    with pytest.raises(Conflict):
        booked(shop, number)
    moved = done(shop, lambda work: move_booking(work, read_booking(work, one.token), other, is_desk=False))
    assert (moved.state, ledger(shop, one).state, str(ledger(shop, one).day)) == ("booked", "booked", "2026-12-05")
    assert ledger(shop, one).off_since is not None, "what the shop called off goes on pausing the window"
    with shop.reading() as work:
        assert (stand_of(work, moved).to_give_back, stand_of(work, moved).due) == (0, 0)
        assert find_booking(work.session, number=two.id) is not None
    with pytest.raises(Conflict), shop.writing("Maeve") as work:
        call_weather(work, number, "final", "off", GOOD_WIND, "again")


def test_a_lesson_is_called_on_only_on_a_wind_that_speaks_for_it(shop: Shop, clock: Clock) -> None:
    number = lesson(shop)
    booked(shop, number)
    refused = ((None, InvalidInput), (Conditions(8, 12, 240), Conflict), (Conditions(16, 20, 240, True), Conflict))
    for seen, error in refused:
        with pytest.raises(error), shop.writing("Maeve") as work:
            call_weather(work, number, "final", "on", seen, "I like it")
    with pytest.raises(InvalidInput), shop.writing("Maeve") as work:
        call_weather(work, number, "provisional", "off", GOOD_WIND)
    with shop.writing("Maeve") as work:
        call_weather(work, number, "provisional", "off", GOOD_WIND, "A front comes through")
    with shop.writing("Maeve") as work:
        assert "Mean 16 kn" in call_weather(work, number, "final", "on", GOOD_WIND).because
    assert told(shop) == ["booking_made", "lesson_provisional", "lesson_final"]
    with pytest.raises(Conflict), shop.writing("Maeve") as work:
        call_weather(work, number, "provisional", "off", None, "too late for that")
    with pytest.raises(NotFound), shop.writing("Maeve") as work:
        call_weather(work, 999, "final", "off", None, "nothing")


def test_a_changed_time_takes_its_learners_along_and_calendars_are_told_in_order(shop: Shop) -> None:
    number = lesson(shop, kind="group")
    booking = booked(shop, number)
    with shop.writing("Maeve") as work:
        call_weather(work, number, "provisional", "on", GOOD_WIND)
    with shop.writing("Maeve") as work:
        change_time(work, number, typed_time(places="5"))
    assert told(shop)[-1] == "lesson_provisional", "more places are nobody's news"
    with shop.writing("Maeve") as work:
        changed = change_time(work, number, typed_time(day="2026-11-29", at="14:00", places="5"))
    assert (changed.provisional, changed.starts_at) == (None, datetime(2026, 11, 29, 14, tzinfo=UTC))
    assert str(ledger(shop, booking).day) == "2026-11-29"
    other = lesson(shop, kind="group", day="2026-12-06")
    with shop.writing() as work:
        move_booking(work, read_booking(work, booking.token), other, is_desk=False)
    with shop.writing() as work:
        call_off_booking(work, read_booking(work, booking.token), "called_off")
    with shop.reading() as work:
        rows = work.session.exec(select(MessageRow).order_by(col(MessageRow.id))).all()
        sent = [Calendar.from_ical(row.calendar) for row in rows if row.calendar]
        last = Calendar.from_ical(calendar_of(work, read_booking(work, booking.token)))
    events = [one.walk("VEVENT")[0] for one in sent]
    assert [event["SEQUENCE"] for event in events] == [0, 1, 2, 3]
    assert [str(one["METHOD"]) for one in (*sent, last)] == ["REQUEST"] * 3 + ["CANCEL"] * 2
    assert len({str(event["UID"]) for event in (*events, last.walk("VEVENT")[0])}) == 1
    assert events[1].decoded("DTSTART") == datetime(2026, 11, 29, 14, tzinfo=UTC)
    for taken in range(3):
        booked(shop, number, name=f"Learner {taken}")
    with pytest.raises(InvalidInput, match="3 places are taken"), shop.writing("Maeve") as work:
        change_time(work, number, typed_time(places="2"))


def test_a_learner_moves_in_time_and_the_desk_moves_late(shop: Shop, clock: Clock) -> None:
    number, other, full = (lesson(shop, day=f"2026-12-0{day}") for day in (1, 2, 3))
    tow = lesson(shop, day="2026-12-04", kind="tow")
    booking = booked(shop, number)
    booked(shop, full)
    for to, error in ((full, Conflict), (tow, NotFound), (999, NotFound)):
        with pytest.raises(error), shop.writing() as work:
            move_booking(work, booking, to, is_desk=False)
    clock.set("2026-12-01T08:00+00:00")
    with pytest.raises(Conflict):
        done(shop, lambda work: move_booking(work, booking, other, is_desk=False))
    moved = done(shop, lambda work: move_booking(work, booking, other, is_desk=True))
    again = done(shop, lambda work: move_booking(work, booking, other, is_desk=False))
    assert (again.time.id, again.sequence, moved.sequence) == (other, 1, 1), "a second press finds what the first did"
    assert told(shop).count("booking_moved") == 1


def test_what_calling_off_costs_is_what_was_said_before(shop: Shop, clock: Clock) -> None:
    booking = booked(shop, lesson(shop))
    clock.set("2026-11-28T08:00+00:00")
    with pytest.raises(Conflict, match="late meanwhile"):
        done(shop, lambda work: call_off_booking(work, booking, "called_off"))
    assert done(shop, lambda work: call_off_booking(work, booking, "called_off_late")).state == "called_off_late"
    with pytest.raises(Conflict):
        done(shop, lambda work: call_off_booking(work, booking))


def test_the_last_two_hours_are_booked_at_the_shop(shop: Shop, clock: Clock) -> None:
    number = lesson(shop)
    clock.set("2026-11-28T08:30+00:00")
    with shop.reading() as work:
        assert list_open_times(work) == []
    with pytest.raises(Conflict, match="call the shop"):
        booked(shop, number)
    with shop.writing("Maeve") as work:
        assert book_lesson(work, number, asked(), account_id=1).state == "booked"


def test_a_customers_code_is_never_said_to_lead_anywhere_and_the_desks_is(shop: Shop) -> None:
    number = lesson(shop, kind="group")
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    known, unknown = booked(shop, number, code=quote.code), booked(shop, number, code="HKBN 04QA")
    assert (known.quote_token, known.claimed_quote_token) == ("", quote.token)
    assert (unknown.quote_token, unknown.claimed_quote_token) == ("", "")
    with pytest.raises(InvalidInput), shop.writing("Maeve") as work:
        book_lesson(work, number, asked(code="HKBN 04QA"), account_id=1)


def test_the_desk_sees_which_calls_to_make_and_the_lessons_of_today(shop: Shop, clock: Clock) -> None:
    tomorrow, empty = lesson(shop, day="2026-11-26"), lesson(shop, day="2026-11-26", at="13:00")
    today = lesson(shop, day="2026-11-25", at="15:59")
    booked(shop, tomorrow)
    booked(shop, today)
    with shop.reading() as work:
        lists = today_at_desk(work)
    assert [(one.time.id, one.to_call) for one in lists.weather] == [(today, "final"), (tomorrow, "provisional")]
    assert [one.time.id for one in lists.lessons] == [today]
    with shop.writing("Maeve") as work:
        call_weather(work, today, "final", "off", GOOD_WIND, "No boat")
    with shop.reading() as work:
        assert [one.time.id for one in today_at_desk(work).weather] == [tomorrow]
    assert empty not in [one.time.id for one in lists.weather]


def test_learners_are_forgotten_some_time_after_the_lesson(shop: Shop, clock: Clock) -> None:
    booking = booked(shop, lesson(shop), under_18="yes")
    assert booking.note
    clock.set("2027-02-26T10:30+00:00")  # Ninety days after it began, to the minute.
    for is_forgotten in (False, True):
        with shop.writing() as work:
            sweep(work)
            row = work.session.exec(select(BookingRow)).one()
            kept = (row.name, row.email, row.phone, row.email_key, row.phone_key, row.note, row.mass_kg)
            assert (kept == ("", "", "", "", "", "", None)) is is_forgotten
            assert all(kept) is not is_forgotten
        clock.forward(minutes=1)
    with shop.reading() as work:
        assert read_booking(work, booking.token).code == booking.code
        assert not may_move(work, read_booking(work, booking.token), is_desk=True)


def test_who_called_off_in_time_and_was_forgotten_is_not_booked_again(shop: Shop, clock: Clock) -> None:
    booking = booked(shop, lesson(shop))
    done(shop, lambda work: call_off_booking(work, booking, "called_off"))
    clock.set("2027-03-08T10:30+00:00")
    with shop.writing() as work:
        sweep(work)
    later = lesson(shop, day="2027-03-20")
    for is_desk in (False, True):
        with pytest.raises(Conflict), shop.writing() as work:
            move_booking(work, read_booking(work, booking.token), later, is_desk=is_desk)


def test_a_week_of_times_is_made_whole_or_not_at_all(shop: Shop) -> None:
    with shop.writing("Maeve") as work:
        numbers = make_times(work, typed_time(weeks="26"))
    assert len(set(numbers)) == 26
    with shop.reading() as work:
        assert len(list_open_times(work, "private")) == 8


def last_body(shop: Shop) -> str:
    """The text of the message written last."""
    with shop.reading() as work:
        return work.session.exec(select(MessageRow.body).order_by(col(MessageRow.id).desc())).first() or ""


def test_what_the_shop_moved_is_free_to_leave_until_the_learner_chooses_anew(shop: Shop, clock: Clock) -> None:
    number, other = lesson(shop, kind="group"), lesson(shop, kind="group", day="2026-11-26", at="16:00")
    stays, goes = paid(shop, booked(shop, number), 60_00), booked(shop, number)
    with shop.writing("Maeve") as work:
        change_time(work, number, typed_time(day="2026-11-26", at="10:00", minutes="60"))
    assert "Since it was we who moved it, calling it off is free until it begins." in last_body(shop)
    clock.set("2026-11-26T08:00+00:00")
    with shop.reading() as work:
        assert {state_if_called_off(work, one) for one in list_bookings(work, number)} == {"called_off"}
        seen = read_booking(work, goes.token)
    moved = done(shop, lambda work: move_booking(work, seen, other, is_desk=False))
    assert "The fee is to pay at the shop." in last_body(shop)
    with shop.reading() as work:
        assert state_if_called_off(work, moved) == "called_off_late", "the new time is of their own choice"
        seen = read_booking(work, stays.token)
    off = done(shop, lambda work: call_off_booking(work, seen, "called_off"))
    with shop.reading() as work:
        assert stand_of(work, off).to_give_back == 60_00


def test_a_lesson_never_held_costs_nobody_anything(shop: Shop, clock: Clock) -> None:
    number = lesson(shop, kind="group")
    late, there = paid(shop, booked(shop, number), 60_00), booked(shop, number)
    clock.set("2026-11-27T18:00+00:00")
    done(shop, lambda work: call_off_booking(work, late, "called_off_late"))
    with shop.writing("Maeve") as work:
        call_weather(work, number, "provisional", "off", GOOD_WIND, "A front comes through")
    with shop.reading() as work:
        assert state_if_called_off(work, read_booking(work, there.token)) == "called_off", "for now it looks off"
    with shop.writing("Maeve") as work:
        call_weather(work, number, "final", "off", GOOD_WIND, "The front is here")
    with shop.reading() as work:
        assert [one.state for one in list_bookings(work, number)] == ["called_off_by_shop"] * 2
        assert stand_of(work, read_booking(work, late.token)).to_give_back == 60_00
    assert told(shop)[-2:] == ["lesson_called_off"] * 2
    assert ledger(shop, late).state == "called_off_by_shop"


def test_looks_off_and_on_after_all_costs_what_it_always_did(shop: Shop, clock: Clock) -> None:
    number = lesson(shop)
    booking = booked(shop, number)
    clock.set("2026-11-28T08:00+00:00")
    for stage, verdict, state in (("provisional", "off", "called_off"), ("final", "on", "called_off_late")):
        with shop.writing("Maeve") as work:
            call_weather(work, number, stage, verdict, GOOD_WIND, "We shall see")  # type: ignore[arg-type]
        with shop.reading() as work:
            assert state_if_called_off(work, read_booking(work, booking.token)) == state


def test_a_form_sent_twice_books_and_makes_once(shop: Shop) -> None:
    number, key, who = lesson(shop, kind="group", places="6"), new_token(), asked()
    for account in (None, None, 1):
        with shop.writing() as work:
            book_lesson(work, number, who, account, key)
    with shop.reading() as work:
        assert len(list_bookings(work, number)) == 1
    assert told(shop) == ["booking_made"]
    with pytest.raises(Conflict), shop.writing() as work:
        book_lesson(work, number, asked(), key=key)
    with pytest.raises(InvalidInput), shop.writing() as work:
        book_lesson(work, number, who, key="no key")
    weekly, made = typed_time(weeks="3", day="2026-12-01"), []
    for _ in range(2):
        with shop.writing("Maeve") as work:
            made.append(make_times(work, weekly, "weekly-lessons-once"))
    assert (len(made[0]), made[0]) == (3, made[1])
    with pytest.raises(Conflict), shop.writing("Maeve") as work:
        make_times(work, typed_time(weeks="4", day="2026-12-01"), "weekly-lessons-once")


def test_presses_at_once_are_one_booking(shop: Shop) -> None:
    number, key, who = lesson(shop, kind="group", places="6"), new_token(), asked()
    barrier = Barrier(6)

    def press(_: int) -> int:
        barrier.wait()
        with shop.writing() as work:
            return book_lesson(work, number, who, key=key).id

    with ThreadPoolExecutor(6) as threads:
        assert len(set(threads.map(press, range(6)))) == 1


def test_a_quote_is_theirs_once_the_desk_or_their_own_contact_says_so(shop: Shop) -> None:
    number = lesson(shop, kind="group", places="6")
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    stranger = booked(shop, number, code=quote.code)
    with shop.reading() as work:
        assert claimed_code_of(work, stranger) == quote.code
    confirmed = done(shop, lambda work: confirm_quote_of(work, stranger))
    assert (confirmed.quote_token, confirmed.claimed_quote_token) == (quote.token, "")
    with pytest.raises(Conflict):
        done(shop, lambda work: confirm_quote_of(work, stranger))
    with shop.writing() as work:
        agree_to_quote(work, quote.token, Contact("Some One", "", "+353 20 910 0777"), 1)
    assert booked(shop, number, code=quote.code, phone="020 910 0777").quote_token == quote.token
    assert booked(shop, number, code=quote.code, phone="020 910 0778").quote_token == ""


def test_declined_is_said_near_the_lesson_with_a_reason_and_calendars_take_it_out(shop: Shop, clock: Clock) -> None:
    booking, tow = paid(shop, booked(shop, lesson(shop))), booked(shop, lesson(shop, kind="tow", at="09:00"))
    clock.set("2026-11-28T08:29+00:00")
    with pytest.raises(Conflict, match="final call"):
        done(shop, lambda work: mark_booking(work, booking, "declined", because="Gusts"))
    clock.set("2026-11-28T08:30+00:00")
    with pytest.raises(InvalidInput):
        done(shop, lambda work: mark_booking(work, booking, "declined"))
    with pytest.raises(Conflict, match="needs no wind"):
        done(shop, lambda work: mark_booking(work, tow, "declined", because="Gusts"))
    after = done(shop, lambda work: mark_booking(work, booking, "declined", because="Gusts"))
    assert (after.note, after.sequence, told(shop)[-1]) == ("Declined: Gusts", 1, "booking_called_off")
    assert "The wind was over your own window" in last_body(shop)
    with shop.reading() as work:
        calendar = Calendar.from_ical(calendar_of(work, after))
    assert (str(calendar["METHOD"]), calendar.walk("VEVENT")[0]["SEQUENCE"]) == ("CANCEL", 1)


def test_half_of_what_was_paid_again_after_a_refund_is_credited_and_can_be_put_right(shop: Shop, clock: Clock) -> None:
    booking = paid(shop, booked(shop, lesson(shop)))
    other = lesson(shop, day="2026-12-05")
    done(shop, lambda work: call_off_booking(work, booking))
    done(shop, lambda work: hand_back(work, booking, "cash"))
    moved = done(shop, lambda work: move_booking(work, booking, other, is_desk=False))
    paid(shop, moved)
    clock.set("2026-12-05T10:30+00:00")
    short = done(shop, lambda work: mark_booking(work, moved, "cut_short", 0.6))
    with shop.reading() as work:
        assert (stand_of(work, short).to_give_back, stand_of(work, short).due) == (57_50, 0)
    done(shop, lambda work: mark_booking(work, moved, "taken"))
    done(shop, lambda work: mark_booking(work, moved, "cut_short", 0.6, "cash"))
    assert [(one.kind, one.amount) for one in ledger(shop, booking).entries] == [
        ("paid", 115_00),
        ("refunded", 115_00),
        ("paid", 115_00),
        ("refunded", 57_50),
    ]
    with pytest.raises(Conflict, match="money went back"):
        done(shop, lambda work: mark_booking(work, moved, "taken"))


def test_a_voucher_settles_the_fee_and_gives_back_no_more_than_was_paid_for_it(shop: Shop) -> None:
    booking = booked(shop, lesson(shop))
    other = lesson(shop, day="2026-12-05")
    done(shop, lambda work: take_fee(work, booking, 115_00, "voucher", paid_for_voucher=80_00))
    with shop.reading() as work:
        assert (stand_of(work, booking).due, stand_of(work, booking).paid) == (0, 80_00)
    done(shop, lambda work: call_off_booking(work, booking))
    done(shop, lambda work: hand_back(work, booking, "voucher"))
    assert [(one.kind, one.amount) for one in ledger(shop, booking).entries] == [("paid", 80_00), ("refunded", 80_00)]
    moved = done(shop, lambda work: move_booking(work, booking, other, is_desk=False))
    with shop.reading() as work:
        assert stand_of(work, moved).due == 115_00, "its voucher was handed back whole"


def test_a_booking_keeps_the_price_at_which_it_was_made(shop: Shop, clock: Clock, folder: FolderCopy) -> None:
    numbers = [lesson(shop, day=f"2026-11-{day}") for day in (28, 29, 30)]
    early, other = paid(shop, booked(shop, numbers[0])), booked(shop, numbers[1])
    folder.set("lessons.csv", folder.row_of("lessons.csv", "private"), "fee", "130.00")
    clock.forward(hours=1)
    with shop.writing("Orla") as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    late = booked(shop, numbers[2])
    with shop.reading() as work:
        stands = [stand_of(work, one) for one in (early, other, late)]
    assert [(stand.fee, stand.due) for stand in stands] == [(115_00, 0), (115_00, 115_00), (130_00, 130_00)]
    again = lesson(shop, day="2026-12-05")
    moved = done(shop, lambda work: move_booking(work, other, again, is_desk=False))
    with shop.reading() as work:
        assert stand_of(work, moved).due == 115_00


def test_a_repeat_tells_the_code_under_which_its_fee_stands(shop: Shop, clock: Clock) -> None:
    booking = paid(shop, booked(shop, lesson(shop)))
    again = lesson(shop, day="2026-12-05")
    clock.set(AT_THE_START)
    done(shop, lambda work: mark_booking(work, booking, "cut_short", 0.3))
    repeat = done(shop, lambda work: repeat_booking(work, booking, again))
    said = f"{booking.code[:4]} {booking.code[4:]}"
    with shop.reading() as work:
        message = work.session.exec(select(MessageRow).order_by(col(MessageRow.id).desc())).first()
        assert message is not None
        assert said in message.body
        assert said in calendar_of(work, repeat)
        for text in (message.body, message.calendar or "", calendar_of(work, repeat)):
            assert repeat.code[:4] not in text
    with pytest.raises(Conflict, match=booking.code), shop.writing("Maeve") as work:
        take_further_fee(work, repeat.code, Fee(115_00, "cash"), 0)
    with shop.writing() as work:
        quote = issue_quote(work, learner(deposit_codes=[booking.code]))
    assert quote.kit.price.deposit_back == 115_00
