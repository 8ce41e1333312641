"""Lesson fees that come back with a kit, those that do not, and the ledger that remembers."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.deposits import (
    Entry,
    EntryKind,
    GivenBack,
    NotGivenBack,
    PaidLesson,
    balance_of,
    charge_again,
    decide_deposits,
    give_back,
    last_day_to_buy,
)
from server.domain.policy import IncludedLessons
from tests.domain.builders import TODAY, lesson

THREE = IncludedLessons("private", 3)
ONE = IncludedLessons("private", 1)
WINDOW = 45


def days_ago(days: int) -> date:
    return TODAY - timedelta(days=days)


def given_back(*lessons: PaidLesson, included: IncludedLessons | None = THREE, today: date = TODAY) -> list[str]:
    return [fee.code for fee in decide_deposits(lessons, included, WINDOW, today).given_back]


def why_not(*lessons: PaidLesson, included: IncludedLessons | None = THREE, today: date = TODAY) -> dict[str, str]:
    refused = decide_deposits(lessons, included, WINDOW, today).refused
    assert all(fee.because.endswith(".") for fee in refused)
    return {fee.code: fee.because for fee in refused}


def refunded(code: str, amount: int, *, again: bool = False) -> list[Entry]:
    """The entries of a fee that was given back, and charged again when the kit came back."""
    entries = [Entry(code, "given_back", amount, TODAY, "Q-1")]
    return [*entries, Entry(code, "charged_again", amount, TODAY, "Q-1")] if again else entries


# --- What is given back ----------------------------------------------------------------------------------------------


def test_the_fees_of_lessons_taken_come_back_and_the_rest_of_the_lessons_stay_free() -> None:
    decision = decide_deposits([lesson("A", days_ago(9)), lesson("B", days_ago(2))], THREE, WINDOW, TODAY)
    assert decision.given_back == (GivenBack("A", 115_00), GivenBack("B", 115_00))
    assert decision.refused == ()
    assert decision.total == 230_00
    assert decision.free_lessons_left == 1


def test_without_codes_all_included_lessons_are_free() -> None:
    decision = decide_deposits([], THREE, WINDOW, TODAY)
    assert (decision.total, decision.free_lessons_left) == (0, 3)


def test_a_lesson_still_booked_counts_though_it_lies_ahead() -> None:
    assert given_back(lesson("A", TODAY + timedelta(days=20), state="booked")) == ["A"]


def test_the_earliest_by_lesson_date_come_first_up_to_the_number_included() -> None:
    lessons = [lesson(code, days_ago(days)) for code, days in (("LAST", 1), ("FIRST", 9), ("THIRD", 3), ("SECOND", 5))]
    assert given_back(*lessons) == ["FIRST", "SECOND", "THIRD"]
    assert given_back(*lessons, included=ONE) == ["FIRST"]
    assert "3 lessons" in why_not(*lessons)["LAST"]
    assert decide_deposits(lessons, THREE, WINDOW, TODAY).free_lessons_left == 0


def test_only_what_was_really_paid_comes_back() -> None:
    assert decide_deposits([lesson("C", days_ago(2), paid=1)], THREE, WINDOW, TODAY).total == 1
    assert decide_deposits([lesson("A", days_ago(2), paid=60_00)], THREE, WINDOW, TODAY).total == 60_00
    in_two = lesson("B", days_ago(2), paid=60_00, later=[Entry("B", "paid", 40_00, days_ago(1))])
    assert decide_deposits([in_two], THREE, WINDOW, TODAY).total == 100_00


# --- What is not -----------------------------------------------------------------------------------------------------

# Lesson, a word of why its fee stays where it is.
REFUSED: list[tuple[PaidLesson, str]] = [
    (lesson("A", days_ago(2), state="missed"), "missed"),
    (lesson("A", days_ago(2), state="called_off_late"), "called off late"),
    (lesson("A", days_ago(2), kind="group"), "group"),
    (lesson("A", days_ago(46)), "window"),
    (lesson("A", days_ago(2), paid=0), "Nothing was paid"),
    (lesson("A", days_ago(2), later=refunded("A", 115_00)), "given back already"),
]


@pytest.mark.parametrize(("one", "why"), REFUSED, ids=[why for _, why in REFUSED])
def test_a_fee_that_is_not_given_back_says_why(one: PaidLesson, why: str) -> None:
    decision = decide_deposits([one], THREE, WINDOW, TODAY)
    assert decision.given_back == ()
    assert decision.free_lessons_left == 3
    assert why in why_not(one)["A"]


def test_a_group_lesson_uses_up_no_private_one() -> None:
    lessons = [lesson(f"G{n}", days_ago(20 + n), kind="group") for n in range(3)] + [lesson("P", days_ago(2))]
    assert given_back(*lessons, included=ONE) == ["P"]


def test_a_missed_lesson_uses_up_none_either() -> None:
    lessons = [lesson("MISSED", days_ago(9), state="missed"), lesson("TAKEN", days_ago(2))]
    assert given_back(*lessons, included=ONE) == ["TAKEN"]


def test_a_part_purchase_gives_nothing_back_and_says_how_it_would() -> None:
    lessons = [lesson("A", days_ago(2)), lesson("B", days_ago(1))]
    decision = decide_deposits(lessons, None, WINDOW, TODAY)
    assert (decision.given_back, decision.total, decision.free_lessons_left) == ((), 0, 0)
    assert set(why_not(*lessons, included=None)) == {"A", "B"}
    assert "buy the rest within the window" in why_not(*lessons, included=None)["A"]


# --- The window ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("days", "comes_back"), [(0, True), (44, True), (45, True), (46, False), (400, False)])
def test_the_window_is_open_up_to_and_on_its_last_day(days: int, comes_back: bool) -> None:
    assert (given_back(lesson("A", days_ago(days))) == ["A"]) is comes_back


def test_the_window_runs_from_the_last_lesson_taken() -> None:
    early = lesson("EARLY", days_ago(80))
    assert given_back(early) == []
    assert given_back(early, lesson("LATE", days_ago(10))) == ["EARLY", "LATE"]


def test_only_lessons_taken_of_the_included_kind_move_the_window() -> None:
    early = lesson("EARLY", days_ago(80))
    assert given_back(early, lesson("G", days_ago(1), kind="group")) == []
    assert given_back(early, lesson("M", days_ago(1), state="missed")) == []
    assert given_back(early, lesson("B", TODAY + timedelta(days=3), state="booked")) == []


def test_while_none_was_taken_the_window_is_open() -> None:
    booked = lesson("A", days_ago(300), state="booked")
    assert last_day_to_buy([booked], "private", WINDOW) is None
    assert given_back(booked) == ["A"]


def test_the_last_day_to_buy_is_the_window_after_the_last_lesson_taken() -> None:
    lessons = [
        lesson("A", date(2026, 6, 1)),
        lesson("B", date(2026, 6, 20)),
        lesson("C", date(2026, 7, 1), kind="group"),
    ]
    # Own arithmetic: 20 June and 45 days.
    assert last_day_to_buy(lessons, "private", WINDOW) == date(2026, 8, 4)
    assert given_back(*lessons[:2], today=date(2026, 8, 4)) == ["A", "B"]
    assert given_back(*lessons[:2], today=date(2026, 8, 5)) == []


# --- The ledger ------------------------------------------------------------------------------------------------------


def test_each_payment_is_given_back_once() -> None:
    paid = lesson("A", days_ago(2))
    entry = give_back(paid, "Q-1", TODAY)
    assert entry == Entry("A", "given_back", 115_00, TODAY, "Q-1")
    assert isinstance(give_back(lesson("B", days_ago(2), paid=1), "Q-1", TODAY), Entry)
    after = lesson("A", days_ago(2), later=[entry])
    assert after.was_given_back
    assert after.balance == 0
    assert isinstance(give_back(after, "Q-2", TODAY), NotGivenBack)
    assert given_back(after) == []


def test_nothing_is_given_back_of_nothing() -> None:
    assert isinstance(give_back(lesson("A", days_ago(2), paid=0), "Q-1", TODAY), NotGivenBack)


def test_when_the_kit_comes_back_the_fee_is_charged_again() -> None:
    after = lesson("A", days_ago(2), later=refunded("A", 115_00))
    entry = charge_again(after, "Q-1", TODAY)
    assert entry == Entry("A", "charged_again", 115_00, TODAY, "Q-1")
    later = lesson("A", days_ago(2), later=[*after.entries[1:], entry])
    assert not later.was_given_back
    assert later.balance == 115_00
    assert isinstance(charge_again(later, "Q-1", TODAY), NotGivenBack)


def test_what_was_never_given_back_is_not_charged_again() -> None:
    assert isinstance(charge_again(lesson("A", days_ago(2)), "Q-1", TODAY), NotGivenBack)


entries = st.builds(
    Entry,
    code=st.just("A"),
    kind=st.sampled_from(("paid", "given_back", "charged_again")),
    amount=st.integers(min_value=0, max_value=500_00),
    day=st.just(TODAY),
)


@given(st.lists(entries))
def test_a_balance_is_the_fold_of_its_entries(ledger: list[Entry]) -> None:
    def total(kind: EntryKind) -> int:
        return sum(entry.amount for entry in ledger if entry.kind == kind)

    expected = total("paid") + total("charged_again") - total("given_back")
    assert balance_of(ledger) == expected
    assert PaidLesson("A", "private", TODAY, "taken", tuple(ledger)).balance == expected


@given(st.lists(entries), st.lists(entries))
def test_a_ledger_can_be_folded_piece_by_piece(first: list[Entry], then: list[Entry]) -> None:
    assert balance_of([*first, *then]) == balance_of(first) + balance_of(then)


paid_lessons = st.lists(
    st.builds(
        lesson,
        code=st.uuids().map(str),
        day=st.integers(min_value=-30, max_value=90).map(days_ago),
        paid=st.integers(min_value=0, max_value=200_00),
        kind=st.sampled_from(["private", "group"]),
        state=st.sampled_from(["taken", "booked", "missed", "called_off_late"]),
    ),
    max_size=6,
)


@given(paid_lessons, st.integers(min_value=1, max_value=4))
def test_every_code_is_answered_once_and_no_more_than_included_comes_back(lessons: list[Any], number: int) -> None:
    decision = decide_deposits(lessons, IncludedLessons("private", number), WINDOW, TODAY)
    answered = [fee.code for fee in decision.given_back] + [fee.code for fee in decision.refused]
    assert sorted(answered) == sorted(one.code for one in lessons)
    assert len(decision.given_back) + decision.free_lessons_left == number
    assert decision.free_lessons_left >= 0
    paid = {one.code: one.balance for one in lessons}
    assert decision.total == sum(paid[fee.code] for fee in decision.given_back)
    assert all(fee.amount > 0 for fee in decision.given_back)
