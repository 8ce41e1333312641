"""Counting: quotes by how far they came, sizes and answers, money and lessons, always with the number of cases."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from server.domain.asked_sizes import count_answers, count_sizes, most_missed
from server.domain.earnings import Earned, LessonFact, count_lessons, earned
from server.domain.numbers import (
    Chosen,
    QuoteFact,
    SaleFact,
    by_week,
    count_quotes,
    monday_of,
    share_words,
    weeks_between,
)
from server.domain.pricing import Margin
from server.domain.size_classes import Asked, all_classes
from tests.domain.builders import TODAY

BOUGHT = SaleFact(1, TODAY, "paid", False, 1000_00, 780_00, 780_00, 0, 100_00)


def quote(**given: Any) -> QuoteFact:
    """A quote kept today by a customer before the first flights, with what is given in place of the usual."""
    usual = QuoteFact(TODAY, False, {"foil_stage": "none"}, "sea", "Tullaveen Strand", {"board": 104.0}, "sent")
    return replace(usual, **given)


REACHED = [
    (quote(), 0),
    (quote(was_seen=True), 1),
    (quote(was_agreed=True), 2),
    (quote(sale=BOUGHT), 3),
    (quote(sale=replace(BOUGHT, was_handed_over=True), state="returned"), 4),
]


def test_who_came_further_came_through_the_steps_before() -> None:
    assert [one.reached for one, _ in REACHED] == [step for _, step in REACHED]
    counted = count_quotes([one for one, _ in REACHED], begun=9)
    assert (counted.begun, counted.kept, counted.seen, counted.agreed) == (9, 5, 4, 3)
    assert (counted.bought, counted.handed_over, counted.returned) == (2, 1, 1)


def test_deleted_quotes_stay_counted_as_kept_and_lapsed() -> None:
    counted = count_quotes([quote(state="lapsed"), quote(state="withdrawn")], None, gone=3)
    assert (counted.kept, counted.lapsed, counted.withdrawn, counted.seen) == (5, 4, 1, 0)


def test_only_what_is_bought_or_over_is_decided() -> None:
    assert [quote(state=state).is_decided for state in ("sent", "seen", "agreed", "lapsed", "withdrawn")] == [
        False,
        False,
        False,
        True,
        True,
    ]
    assert quote(sale=BOUGHT, state="paid").is_decided


def test_weeks_begin_on_mondays_and_hold_every_day() -> None:
    weeks = weeks_between(date(2026, 11, 4), date(2026, 11, 23))
    assert weeks == (date(2026, 11, 2), date(2026, 11, 9), date(2026, 11, 16), date(2026, 11, 23))
    days = [date(2026, 11, 4) + timedelta(days=number) for number in range(20)]
    assert sorted(by_week(days, lambda day: day)) == list(weeks)
    assert all(monday_of(day) in weeks for day in days)


def test_the_days_before_are_as_many_and_end_the_day_before() -> None:
    before = Chosen(date(2026, 11, 1), date(2026, 11, 10), spot="Tullaveen Strand").before
    assert (before.first, before.last, before.spot) == (date(2026, 10, 22), date(2026, 10, 31), "Tullaveen Strand")


CHOSEN = [
    ({}, True),
    ({"spot": "Tullaveen Strand"}, True),
    ({"spot": "Portnafinn Bay"}, False),
    ({"water": "lake"}, False),
    ({"came": "customer"}, True),
    ({"came": "desk"}, False),
    ({"foil_stage": "none"}, True),
    ({"foil_stage": "turning"}, False),
]


@pytest.mark.parametrize(("narrowed", "is_counted"), CHOSEN)
def test_only_quotes_with_the_answers_named_are_counted(narrowed: dict[str, str], is_counted: bool) -> None:
    chosen = Chosen(TODAY, TODAY, **narrowed)
    assert chosen.has(quote()) is is_counted
    assert chosen.is_narrowed is bool(narrowed)


SHARES = [(0, 0), (1, 3), (3, 12), (4, 32), (10, 10)]


def test_a_share_is_never_without_its_count_and_of_few_cases_without_per_cent() -> None:
    words = [share_words(*pair).replace("\N{NO-BREAK SPACE}", " ") for pair in SHARES]
    assert words == ["–", "1 of 3", "3 of 12, 25 %", "4 of 32, 13 %", "10 of 10, 100 %"]


def test_a_size_counts_once_a_quote_and_not_for_gear_that_is_kept() -> None:
    classes = all_classes({"board": [80, 100], "mast": [72]})
    asked = [
        Asked("board", 104.0, is_unmet=True),
        Asked("board", 81.0),
        Asked("board", 300.0, is_unmet=True),
        Asked("mast", 72.0, is_unmet=True),
    ]
    counted = count_sizes("board", classes, asked, {"board:80": 4}, {"board:80": 1})
    assert [(one.size.key, one.asked, one.unmet, one.on_hand, one.held) for one in counted] == [
        ("board:under", 0, 0, 0, 0),
        ("board:80", 1, 0, 4, 1),
        ("board:100", 1, 1, 0, 0),
        ("board:over", 1, 1, 0, 0),
        ("board:between", 0, 0, 0, 0),
    ]
    assert [one.size.key for one in most_missed(counted)] == ["board:100", "board:over"]


def test_answers_stand_in_the_order_of_their_question_and_those_not_given_last() -> None:
    stages = ("turning", "none", "none", "")
    quotes = [quote(answers={"foil_stage": stage}, was_agreed=stage == "turning") for stage in stages]
    counted = count_answers(quotes, "foil_stage")
    assert [(one.answer, one.kept, one.agreed) for one in counted] == [("none", 2, 0), ("turning", 1, 1), ("", 1, 0)]
    assert [one.answer for one in count_answers([quote(), quote(is_desks=True)], "came")] == ["customer", "desk"]


def test_money_adds_up_and_margins_are_of_those_that_are_known() -> None:
    money = earned([(BOUGHT, Margin(600_00, 420_00, 0)), (replace(BOUGHT, credited=50_00), None)])
    assert money == Earned(2, 2000_00, 440_00, 1560_00, 50_00, 200_00, 180_00, 600_00, 1)
    assert [money.discount_percent, money.margin_percent] == [22, 30]
    assert earned([]).discount_percent == earned([]).margin_percent == 0


DAY = date(2026, 6, 1)
LESSONS = [
    LessonFact("private", DAY, bought_on=DAY + timedelta(days=45)),
    LessonFact("private", DAY, bought_on=DAY + timedelta(days=46)),
    # The window was longer for this one, so the fee was given back all the same.
    LessonFact("private", DAY, 115_00, DAY + timedelta(days=60)),
    LessonFact("private", DAY, bought_on=DAY - timedelta(days=3)),
    LessonFact("group", DAY),
]


def test_a_lesson_leads_to_a_kit_within_the_window_or_where_its_fee_was_given_back() -> None:
    private, group = count_lessons(LESSONS, 45)
    assert (private.kind, private.paid, private.in_window, private.later) == ("private", 4, 3, 1)
    assert private.days == (0, 45.5, 60)
    assert private.given_back == 115_00
    assert (group.paid, group.in_window, group.days) == (1, 0, None)
