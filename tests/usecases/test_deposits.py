"""Lessons that were paid for: recorded under a code, and given back with a kit that includes lessons of their kind."""

from __future__ import annotations

from datetime import date

import base32_crockford
import pytest

from server.domain.codes import ALPHABET, read_code
from server.domain.deposits import Entry, LessonState, PaidLesson
from server.domain.errors import InvalidInput
from server.domain.pricing import Breakdown
from server.persistence.deposits import load_lessons, save_entries
from server.persistence.tables import DepositRow, LessonRow
from server.usecases.deposits import take_deposit
from server.usecases.fit import fitter_for
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.work import Shop
from tests.builders_shop import WING_OF_ONES_OWN, Clock, learner, number_of

FEE = 115_00


def paid(shop: Shop, day: str, *, kind: str = "private", fee: int = FEE, state: LessonState = "taken") -> PaidLesson:
    """A lesson that was paid for."""
    with shop.writing("school") as work:
        return take_deposit(work, kind, fee, state, date.fromisoformat(day))


def price(shop: Shop, codes: list[str], **answers: object) -> Breakdown:
    """The price of the recommended kit with the codes of paid lessons."""
    with shop.reading() as work:
        kit = fitter_for(work, learner(deposit_codes=codes, **answers)).recommended()
    assert kit is not None
    return kit.price


def test_a_paid_lesson_is_kept_with_one_entry_of_what_was_really_paid(shop: Shop, clock: Clock) -> None:
    clock.set("2026-06-30T23:30+00:00")
    lesson = paid(shop, "2026-07-04", fee=90_00, state="booked")
    assert lesson.entries == (Entry(lesson.code, "paid", 90_00, date(2026, 7, 1)),)
    assert (lesson.kind, lesson.state, lesson.day, lesson.balance) == ("private", "booked", date(2026, 7, 4), 90_00)
    with shop.reading() as work:
        assert load_lessons(work.session, [lesson.code]) == {lesson.code: lesson}
        row = work.session.get_one(LessonRow, lesson.code)
        assert row.recorded_at == clock.now


def test_its_code_can_be_read_out(shop: Shop) -> None:
    codes = [paid(shop, "2026-11-20").code for _ in range(10)]
    assert len(set(codes)) == 10
    for code in codes:
        assert len(code) == 8
        assert set(code) <= set(ALPHABET)
        # Crockford's base 32; the package base32-crockford raises where the check symbol is wrong.
        assert base32_crockford.decode(code, checksum=True) < 32**7


def test_a_kind_of_lesson_that_the_shop_does_not_list_is_refused(shop: Shop) -> None:
    with shop.writing() as work, pytest.raises(InvalidInput) as refused:
        take_deposit(work, "yoga", FEE, "taken", date(2026, 11, 20))
    [fault] = refused.value.faults
    assert fault.field == "kind"
    assert "private" in fault.accepted
    with shop.reading() as work:
        assert number_of(work.session, LessonRow) == number_of(work.session, DepositRow) == 0


def test_fees_of_lessons_taken_and_booked_are_given_back_with_a_whole_kit(shop: Shop) -> None:
    codes = [paid(shop, "2026-11-10").code, paid(shop, "2026-12-10", state="booked", fee=100_00).code]
    without, given = price(shop, []), price(shop, codes)
    assert given.deposit_back == FEE + 100_00
    assert given.balance == without.balance - given.deposit_back
    assert given.vat == without.vat
    assert given.lines == without.lines
    assert any("2 you have paid" in note and "1 more come free" in note for note in given.notes)


def test_only_as_many_as_the_kit_includes_come_back_and_the_earliest_first(shop: Shop) -> None:
    fees = {"2026-11-13": 4_00, "2026-11-10": 1_00, "2026-11-12": 3_00, "2026-11-11": 2_00}
    codes = [paid(shop, day, fee=fee).code for day, fee in fees.items()]
    assert price(shop, codes).deposit_back == 1_00 + 2_00 + 3_00
    one = price(shop, codes, keeps=[WING_OF_ONES_OWN])
    assert one.tier is not None
    assert (one.tier.percent, one.deposit_back) == (16, 1_00)


NOT_GIVEN: dict[str, tuple[dict[str, str], str]] = {
    "a group lesson": ({"kind": "group"}, "group lesson"),
    "a missed lesson": ({"state": "missed"}, "missed"),
    "a lesson called off late": ({"state": "called_off_late"}, "called off late"),
    "a lesson longer ago than the window": ({"day": "2026-10-10"}, "window closed"),
}


@pytest.mark.parametrize("name", NOT_GIVEN)
def test_a_known_code_that_is_not_given_back_is_a_note_that_says_why(shop: Shop, name: str) -> None:
    said, because = NOT_GIVEN[name]
    state: dict[str, LessonState] = {"missed": "missed", "called_off_late": "called_off_late"}
    lesson = paid(
        shop,
        said.get("day", "2026-11-20"),
        kind=said.get("kind", "private"),
        state=state.get(said.get("state", ""), "taken"),
    )
    given = price(shop, [lesson.code])
    assert given.deposit_back == 0
    [note] = [note for note in given.notes if lesson.code in note]
    assert because in note


def test_a_fee_that_was_given_back_is_not_given_again(shop: Shop) -> None:
    lesson = paid(shop, "2026-11-20")
    with shop.writing() as work:
        save_entries(work.session, [Entry(lesson.code, "given_back", FEE, work.today, "QUOTE")], work.now, "till")
        work.commit()
    given = price(shop, [lesson.code])
    assert given.deposit_back == 0
    assert any("given back already" in note for note in given.notes)


def test_a_purchase_of_some_parts_gives_nothing_back(shop: Shop) -> None:
    lesson = paid(shop, "2026-11-20")
    keeps = [
        WING_OF_ONES_OWN,
        {"slot": "board", "volume_l": 110, "width_cm": 76, "track": "twin-track"},
    ]
    given = price(shop, [lesson.code], keeps=keeps)
    assert given.tier is not None
    assert (given.tier.name, given.deposit_back) == ("Foil only", 0)


@pytest.mark.parametrize(
    ("last_lesson", "moment", "given_back"),
    [
        ("2026-05-17", "2026-07-01T22:59:59+00:00", True),
        ("2026-05-17", "2026-07-01T23:00:00+00:00", False),
        ("2026-05-16", "2026-06-30T22:59:59+00:00", True),
        ("2026-05-16", "2026-06-30T23:00:00+00:00", False),
        ("2026-01-01", "2026-02-15T23:59:59+00:00", True),
        ("2026-01-01", "2026-02-16T00:00:00+00:00", False),
    ],
)
def test_the_window_closes_at_midnight_in_dublin_after_its_last_day(
    shop: Shop, clock: Clock, last_lesson: str, moment: str, given_back: bool
) -> None:
    # Forty-five days after 17 May is 1 July; in summer midnight in Dublin is eleven at night in UTC.
    clock.set(f"{last_lesson}T12:00+00:00")
    lesson = paid(shop, last_lesson)
    clock.set(moment)
    assert price(shop, [lesson.code]).deposit_back == (FEE if given_back else 0)


def test_a_later_lesson_keeps_the_window_open_for_the_earlier_ones(shop: Shop, clock: Clock) -> None:
    early, late = paid(shop, "2026-08-01"), paid(shop, "2026-11-01")
    assert price(shop, [early.code]).deposit_back == 0
    assert price(shop, [early.code, late.code]).deposit_back == 2 * FEE


def test_a_code_nobody_was_given_is_an_error_on_its_place(shop: Shop) -> None:
    known, unknown = paid(shop, "2026-11-20").code, "00000000"
    assert read_code(unknown) == unknown
    with shop.reading() as work, pytest.raises(InvalidInput) as refused:
        fitter_for(work, learner(deposit_codes=[known, unknown]))
    [fault] = refused.value.faults
    assert fault.field == "deposit_codes[1]"
    assert unknown in fault.message


def test_every_single_wrong_letter_of_a_code_is_caught(shop: Shop) -> None:
    code = paid(shop, "2026-11-20").code
    with shop.reading() as work:
        for place in range(len(code)):
            for symbol in set(ALPHABET) - {code[place]}:
                wrong = code[:place] + symbol + code[place + 1 :]
                with pytest.raises(InvalidInput):
                    fitter_for(work, learner(deposit_codes=[wrong]))


def test_a_code_may_be_spelled_as_it_was_heard_and_counts_once(shop: Shop) -> None:
    code = paid(shop, "2026-11-20").code
    heard = [code.lower(), f"{code[:4]} {code[4:]}", f"{code[:4]}-{code[4:]}", code.replace("0", "O").replace("1", "l")]
    assert price(shop, [code, *heard]).deposit_back == FEE


def test_all_faults_of_the_answers_come_back_with_those_of_the_codes(shop: Shop) -> None:
    with shop.reading() as work, pytest.raises(InvalidInput) as refused:
        fitter_for(work, {"mass_kg": 1, "deposit_codes": ["not a code", "00000000"]})
    fields = [fault.field for fault in refused.value.faults]
    assert {"mass_kg", "to_feet", "fitness", "board_background", "foil_stage"} <= set(fields)
    assert {"deposit_codes[0]", "deposit_codes[1]"} <= set(fields)


def test_a_quote_shows_what_is_given_back_and_makes_no_entry(shop: Shop) -> None:
    lesson = paid(shop, "2026-11-20")
    with shop.writing() as work:
        quote = issue_quote(work, learner(deposit_codes=[lesson.code]))
    with shop.reading() as work:
        assert read_quote(work, quote.token).kit.price.deposit_back == FEE
        assert load_lessons(work.session, [lesson.code])[lesson.code].balance == FEE
        assert number_of(work.session, DepositRow) == 1


DAYS_THAT_CANNOT_BE: list[tuple[LessonState, str]] = [
    ("taken", "2026-11-26"),
    ("missed", "2026-11-26"),
    ("booked", "1999-12-31"),
    ("booked", "2028-11-25"),
    ("called_off_late", "2028-11-25"),
]


@pytest.mark.parametrize(("state", "day"), DAYS_THAT_CANNOT_BE)
def test_a_lesson_has_a_day_that_can_be(shop: Shop, clock: Clock, state: LessonState, day: str) -> None:
    clock.set("2026-11-25T12:00+00:00")
    with pytest.raises(InvalidInput, match="cannot be") as raised:
        paid(shop, day, state=state)
    assert [fault.field for fault in raised.value.faults] == [state]


def test_a_booked_lesson_may_be_ahead(shop: Shop, clock: Clock) -> None:
    clock.set("2026-11-25T12:00+00:00")
    assert paid(shop, "2026-12-24", state="booked").day == date(2026, 12, 24)
    assert paid(shop, "2026-11-25", state="taken").day == date(2026, 11, 25)
