"""Lesson fees that come back with a kit, those that do not, and the ledger that remembers."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.deposits import (
    ENTRY_KINDS,
    LESSON_STATES,
    Entry,
    EntryKind,
    Extension,
    GivenBack,
    LessonState,
    NotGivenBack,
    PaidLesson,
    Period,
    Recorded,
    balance_of,
    charge_again,
    decide_charges,
    decide_deposits,
    decimal_of,
    give_back,
    last_day_to_buy,
    missing_for_lessons,
    pay,
    really_paid,
    refund,
    sums_by,
    taxed,
    vat_by_rate,
    window_of,
)
from server.domain.lessons import METHODS
from server.domain.policy import IncludedLessons, Tier
from server.domain.slots import CORE_SLOTS
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
    kind=st.sampled_from(ENTRY_KINDS),
    amount=st.integers(min_value=0, max_value=500_00),
    day=st.just(TODAY),
)


@given(st.lists(entries))
def test_a_balance_is_the_fold_of_its_entries(ledger: list[Entry]) -> None:
    def total(kind: EntryKind) -> int:
        return sum(entry.amount for entry in ledger if entry.kind == kind)

    expected = total("paid") + total("charged_again") - total("given_back") - total("refunded")
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
        state=st.sampled_from(LESSON_STATES),
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


# --- Windows that are paused and extended ----------------------------------------------------------------------------

JUNE = date(2026, 6, 1)


def on(
    day: date, *, state: LessonState, code: str = "", until: date | None = None, back: date | None = None
) -> PaidLesson:
    """A lesson on a day; extended until another, or its fee handed back on one."""
    code = code or f"{state}-{day}"
    one = lesson(code, day, state=state, later=[Entry(code, "refunded", 115_00, back)] if back else [])
    return replace(one, extensions=(Extension(until, "The bay was closed."),) if until else ())


# What else there is beside a lesson taken on 1 June, today, the last day to buy. Own arithmetic: 45 days from 1 June are 16 July.
OFF = on(date(2026, 6, 10), state="called_off_by_shop")
WINDOWS: list[tuple[str, list[PaidLesson], date, date]] = [
    ("nothing else", [], date(2026, 6, 20), date(2026, 7, 16)),
    (
        "called off by the shop and booked anew a week later",
        [on(date(2026, 6, 10), state="called_off_by_shop"), on(date(2026, 6, 17), state="booked")],
        date(2026, 6, 12),
        date(2026, 7, 23),
    ),
    (
        "called off by the shop and nothing booked: until today",
        [on(date(2026, 6, 10), state="called_off_by_shop")],
        date(2026, 6, 15),
        date(2026, 7, 21),
    ),
    (
        "called off by the shop and the fee handed back two days later",
        [on(date(2026, 6, 10), state="called_off_by_shop", back=date(2026, 6, 12))],
        date(2026, 7, 15),
        date(2026, 7, 18),
    ),
    (
        "two called off: a day counts once",
        [
            on(date(2026, 6, 10), state="called_off_by_shop"),
            on(date(2026, 6, 12), state="called_off_by_shop"),
            on(date(2026, 6, 17), state="booked"),
        ],
        date(2026, 6, 20),
        date(2026, 7, 23),
    ),
    (
        "called off and put on another day",
        [OFF.went("booked", date(2026, 6, 17))],
        date(2026, 6, 20),
        date(2026, 7, 23),
    ),
    (
        "put on another day, and missed there",
        [OFF.went("booked", date(2026, 6, 17)).went("missed", date(2026, 6, 17))],
        date(2026, 6, 20),
        date(2026, 7, 23),
    ),
    (
        "called off twice over",
        [
            OFF.went("booked", date(2026, 6, 17))
            .went("called_off_by_shop", date(2026, 6, 17))
            .went("booked", date(2026, 6, 24))
        ],
        date(2026, 6, 20),
        date(2026, 7, 30),
    ),
    (
        "put on another day, and taken there",
        [OFF.went("booked", date(2026, 6, 17)).went("taken", date(2026, 6, 17))],
        date(2026, 6, 20),
        date(2026, 8, 1),
    ),
    (
        "called off ahead of its day: it has not come yet",
        [on(date(2026, 6, 30), state="called_off_by_shop")],
        date(2026, 6, 20),
        date(2026, 7, 16),
    ),
    (
        "called off before the last lesson taken",
        [on(date(2026, 5, 20), state="called_off_by_shop")],
        date(2026, 6, 20),
        date(2026, 7, 16),
    ),
    (
        "called off when the window was closed already",
        [on(date(2026, 7, 20), state="called_off_by_shop")],
        date(2026, 8, 20),
        date(2026, 7, 16),
    ),
    (
        "called off by the learner",
        [on(date(2026, 6, 10), state="called_off"), on(date(2026, 6, 12), state="called_off_late")],
        date(2026, 6, 20),
        date(2026, 7, 16),
    ),
    ("extended", [on(JUNE, state="taken", until=date(2026, 8, 1))], date(2026, 6, 20), date(2026, 8, 1)),
    ("extended to a day it has anyway", [on(JUNE, state="taken", until=date(2026, 7, 1))], JUNE, date(2026, 7, 16)),
    (
        "extended twice: the latest day counts",
        [on(JUNE, state="taken", until=date(2026, 9, 1)), on(JUNE, state="missed", until=date(2026, 8, 1))],
        JUNE,
        date(2026, 9, 1),
    ),
]


@pytest.mark.parametrize(("others", "today", "last_day"), [row[1:] for row in WINDOWS], ids=[row[0] for row in WINDOWS])
def test_a_window_is_paused_by_the_shop_and_extended_with_a_reason(
    others: list[PaidLesson], today: date, last_day: date
) -> None:
    taken = on(JUNE, state="taken", code="TAKEN")
    window = window_of([taken, *others], "private", WINDOW, today)
    assert window.last_day == last_day
    assert (window.extension is not None) == ("The bay was closed" in window.because)
    assert window.because.endswith(".")
    for day in (last_day, last_day + timedelta(days=1)):
        lessons = [taken, *others]
        if window_of(lessons, "private", WINDOW, day).last_day == last_day:
            assert ("TAKEN" in given_back(*lessons, today=day)) is (day == last_day)


def test_a_lesson_of_another_kind_neither_pauses_nor_extends() -> None:
    group = replace(on(date(2026, 6, 10), state="called_off_by_shop", until=date(2027, 1, 1)), kind="group")
    assert window_of([on(JUNE, state="taken"), group], "private", WINDOW, date(2026, 6, 20)).last_day == date(
        2026, 7, 16
    )


def test_a_window_never_taken_from_is_open_and_says_so() -> None:
    window = window_of([on(JUNE, state="booked")], "private", WINDOW, TODAY)
    assert window.is_open(date.max)
    assert "open" in window.because


# --- Stages, and what was given back before --------------------------------------------------------------------------


def test_a_lesson_called_off_gives_nothing_back_with_a_kit_and_uses_up_none_of_its_lessons() -> None:
    """A kit with three included lessons gives back the fees of the three that were taken, however early others were called off."""
    states: tuple[LessonState, ...] = ("called_off", "called_off_by_shop")
    held = [lesson(code, days_ago(1)) for code in "XYZ"]
    for state in states:
        called_off = lesson("A", days_ago(2), state=state)
        assert given_back(called_off, *held) == ["X", "Y", "Z"]
        assert "moved to another time or handed back" in why_not(called_off)["A"]
        entry = refund(called_off, 115_00, TODAY, "Called off.")
        assert isinstance(entry, Entry)
        after = lesson("A", days_ago(2), state=state, later=[entry])
        assert "handed back" in why_not(after)["A"]


def test_half_of_a_lesson_cut_short_is_handed_back_and_the_other_half_comes_back_with_a_kit() -> None:
    half = lesson("A", days_ago(2), paid=115_01, later=[Entry("A", "refunded", 57_50, days_ago(2))])
    assert decide_deposits([half], THREE, WINDOW, TODAY).total == 57_51


def test_fees_given_back_before_with_the_same_kit_count_towards_the_number_included() -> None:
    lessons = [lesson("A", days_ago(3)), lesson("B", days_ago(2))]
    decision = decide_deposits(lessons, THREE, WINDOW, TODAY, already=2)
    assert ([fee.code for fee in decision.given_back], decision.free_lessons_left) == (["A"], 0)
    assert "includes 3 lessons" in decision.refused[0].because
    assert decide_deposits(lessons, THREE, WINDOW, TODAY, already=4).free_lessons_left == 0


def test_what_a_part_purchase_still_lacks_is_named_the_nearest_tier_first() -> None:
    tiers = (
        Tier("Whole", CORE_SLOTS, 6, 22, (), THREE),
        Tier("One of your own", CORE_SLOTS, 5, 16, (), ONE),
        Tier("Foil only", ("mast", "fuselage", "front_foil", "tail"), 4, 10),
    )
    foil = ("mast", "fuselage", "front_foil", "tail")
    assert [(one.tier, one.more, set(one.slots)) for one in missing_for_lessons(foil, tiers)] == [
        ("One of your own", 1, {"board", "hand_wing"}),
        ("Whole", 2, {"board", "hand_wing"}),
    ]
    assert missing_for_lessons(CORE_SLOTS, tiers) == ()


# --- Moves -----------------------------------------------------------------------------------------------------------

# The way it was paid, its amount, what was paid for the voucher (None: not said), what counts.
VOUCHERS = [
    ("cash", 115_00, None, 115_00),
    ("cash", 115_00, 0, 115_00),
    ("voucher", 115_00, None, 115_00),
    ("voucher", 115_00, 100_00, 100_00),
    ("voucher", 115_00, 0, 0),
    ("voucher", 60_00, 100_00, 60_00),
]


@pytest.mark.parametrize(("method", "amount", "paid_for", "counts"), VOUCHERS)
def test_a_vouchers_value_beyond_what_was_paid_for_it_never_counts(
    method: str, amount: int, paid_for: int | None, counts: int
) -> None:
    assert really_paid(amount, method, paid_for) == counts


def test_no_more_is_handed_back_than_is_left_and_it_goes_the_way_it_was_paid() -> None:
    paid = PaidLesson("A", "private", TODAY, "booked", (Entry("A", "paid", 50_00, TODAY, method="terminal"),))
    for amount in (0, -1, 50_01):
        assert isinstance(refund(paid, amount, TODAY, "Called off."), NotGivenBack)
    assert refund(paid, 20_00, TODAY, "Called off.") == Entry(
        "A", "refunded", 20_00, TODAY, "", "terminal", "Called off."
    )
    with_kit = lesson("A", days_ago(2), later=refunded("A", 115_00))
    assert isinstance(refund(with_kit, 1, TODAY, "x"), NotGivenBack)
    assert isinstance(pay(with_kit, 1, TODAY), NotGivenBack)


def test_only_lessons_taken_are_charged_again_and_only_against_their_own_quote() -> None:
    lessons = [
        lesson("TAKEN", days_ago(3), later=refunded("TAKEN", 115_00)),
        lesson("AHEAD", TODAY, state="booked", later=refunded("AHEAD", 115_00)),
        lesson("NEVER", days_ago(1)),
    ]
    entries, refused = decide_charges(lessons, "Q-1", TODAY, "Sent back.")
    assert [(entry.code, entry.amount, entry.why) for entry in entries] == [("TAKEN", 115_00, "Sent back.")]
    assert {one.code for one in refused} == {"AHEAD", "NEVER"}
    assert decide_charges(lessons, "Q-2", TODAY)[0] == ()


# --- The books -------------------------------------------------------------------------------------------------------

NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
recorded_entries = st.lists(
    st.builds(
        lambda kind, amount, day, method: Recorded(
            Entry("A", kind, amount, TODAY + timedelta(days=day), method=method), "private", NOON, "Maeve", NOON
        ),
        kind=st.sampled_from(ENTRY_KINDS),
        amount=st.integers(min_value=0, max_value=500_00),
        day=st.integers(min_value=0, max_value=70),
        method=st.sampled_from(("", *METHODS)),
    ),
    max_size=12,
)


@given(recorded_entries)
def test_days_and_months_add_up_to_the_fold_of_the_entries(recorded: list[Recorded]) -> None:
    fold = balance_of(one.entry for one in recorded)
    periods: tuple[Period, ...] = ("day", "month")
    for period in periods:
        sums = sums_by(period, recorded)
        assert sum(one.change for one in sums) == fold
        assert sum(one.entries for period_sums in sums for one in period_sums.sums) == len(recorded)
        assert [one.first for one in sums] == sorted({one.first for one in sums})
    by_rate = vat_by_rate([taxed(one, [(NOON, Decimal(23))]) for one in recorded])
    assert sum(one.gross for one in by_rate) == fold
    # Rounded once, so never more than half a cent from the exact tax inside the sum: gross × 23 / 123.
    assert all(abs(123 * one.vat - 23 * one.gross) * 2 <= 123 for one in by_rate)
    assert all(one.vat + one.net == one.gross for one in by_rate)


def test_the_tax_is_inside_the_fee_at_the_rate_of_the_day_it_was_taken() -> None:
    # Council Directive 2006/112/EC, article 90: a price given back lowers the tax of the supply it was paid for. The amounts are
    # plain arithmetic: 123 × 23 / 123, and 121 × 21 / 121.
    rates = [(NOON, Decimal(23)), (NOON + timedelta(days=10), Decimal(21))]
    later = NOON + timedelta(days=20)
    paid = Recorded(Entry("A", "paid", 123_00, TODAY), "private", NOON, "", NOON)
    back = Recorded(Entry("A", "given_back", 123_00, TODAY), "private", later, "", NOON)
    new = Recorded(Entry("B", "paid", 121_00, TODAY), "private", later, "", later)
    early = replace(paid, taken_at=NOON - timedelta(days=1))
    entries = [taxed(one, rates) for one in (paid, back, new, early)]
    assert [(int(one.percent), one.vat, one.net) for one in entries] == [
        (23, 23_00, 100_00),
        (23, -23_00, -100_00),
        (21, 21_00, 100_00),
        (23, 23_00, 100_00),
    ]
    assert [(int(one.percent), one.gross, one.vat) for one in vat_by_rate(entries)] == [
        (23, 123_00, 23_00),
        (21, 121_00, 21_00),
    ]


@pytest.mark.parametrize(("amount", "text"), [(0, "0.00"), (12345, "123.45"), (-5, "-0.05"), (-12345, "-123.45")])
def test_an_amount_is_a_decimal_with_a_point(amount: int, text: str) -> None:
    assert decimal_of(amount) == text
    assert Decimal(text) * 100 == amount
