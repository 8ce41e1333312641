"""Lessons that were paid for: recorded under a code, and given back with a kit that includes lessons of their kind."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from threading import Barrier

import base32_crockford
import pytest

from server.domain.codes import ALPHABET, read_code
from server.domain.deposits import Entry, LessonState, PaidLesson, Period
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.pricing import Breakdown
from server.persistence.deposits import load_lessons, save_entries
from server.persistence.quotes import token_of
from server.persistence.tables import DepositRow, LessonRow
from server.usecases.deposits import (
    Fee,
    begin_lesson,
    books_with_vat,
    charge_again_for,
    decide_for,
    draw_code,
    extend_window,
    give_back_for,
    hand_back,
    mark_lesson,
    read_book,
    read_ledger,
    record_fee,
    record_refund,
    take_deposit,
    take_fee,
)
from server.usecases.fit import fitter_for
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.work import Shop, Work
from tests.builders_accounts import load_deeds
from tests.builders_shop import WING_OF_ONES_OWN, Clock, agreed, learner, let_go, number_of

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


# --- At the desk -----------------------------------------------------------------------------------------------------

PART_KEEPS = [WING_OF_ONES_OWN, {"slot": "board", "volume_l": 110, "width_cm": 76, "track": "twin-track"}]


def quoted(shop: Shop, codes: list[str], **answers: object) -> str:
    """The code of a quote for the recommended kit that names paid lessons."""
    with shop.writing() as work:
        return issue_quote(work, learner(deposit_codes=codes, **answers)).code


def given(shop: Shop, quote: str, together: tuple[str, ...] = (), expected: int | None = None) -> dict[str, int]:
    """Give back what a quote gives back, by lesson."""
    with shop.writing("Maeve") as work:
        return {entry.code: entry.amount for entry in give_back_for(work, quote, together, expected)}


def balance(shop: Shop, code: str) -> int:
    """What is left of a fee."""
    with shop.reading() as work:
        return read_ledger(work, code).lesson.balance


def test_fees_are_given_back_against_a_quote_once_and_charged_again_when_the_kit_comes_back(shop: Shop) -> None:
    taken, ahead = paid(shop, "2026-11-10"), paid(shop, "2026-12-10", state="booked", fee=100_00)
    quote = quoted(shop, [taken.code, ahead.code])
    with shop.reading() as work:
        shown = decide_for(work, quote)
    assert (shown.decision.total, shown.is_agreed, shown.missing) == (215_00, False, ())
    with pytest.raises(Conflict, match="Nobody has agreed to this quote"):
        given(shop, quote, expected=215_00)
    assert balance(shop, taken.code) == FEE
    agreed(shop, quote)
    with pytest.raises(Conflict, match=r"215\.00 by now"):
        given(shop, quote, expected=100_00)
    assert given(shop, f"{quote[:4]} {quote[4:].lower()}", expected=215_00) == {taken.code: FEE, ahead.code: 100_00}
    assert balance(shop, taken.code) == balance(shop, ahead.code) == 0
    with pytest.raises(Conflict, match="no paid lesson"):
        given(shop, quote)
    with pytest.raises(Conflict, match="given back already"):
        given(shop, agreed(shop, quoted(shop, [taken.code])))
    with shop.reading() as work:
        shown = decide_for(work, quote)
        assert dict(shown.with_kit) == {taken.code: FEE, ahead.code: 100_00}
        assert (shown.decision.free_lessons_left, shown.given_before) == (1, 215_00)
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput):
        charge_again_for(work, quote, " ")
    with shop.writing("Maeve") as work:
        [entry] = charge_again_for(work, quote, "Sent back within 14 days.", FEE)
    assert (entry.code, entry.amount, entry.kind) == (taken.code, FEE, "charged_again")
    assert (balance(shop, taken.code), balance(shop, ahead.code)) == (FEE, 0), "a lesson not taken is not charged for"
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="not taken"):
        charge_again_for(work, quote, "Again.")
    with shop.reading() as work:
        deeds = [row.what for row in load_deeds(work.session) if row.who == "Maeve"]
    assert deeds == [
        f"gave back 215.00 with quote {quote}",
        f"charged 115.00 again, kit of quote {quote} came back",
    ]


def test_no_more_fees_come_back_with_a_kit_than_it_includes_however_often_it_is_revised(shop: Shop) -> None:
    codes = [paid(shop, f"2026-11-1{day}").code for day in range(4)]
    quote = agreed(shop, quoted(shop, codes[1:]))
    assert set(given(shop, quote)) == set(codes[1:])
    with shop.writing() as work:
        issue_quote(work, learner(deposit_codes=codes), revises=token_of(work.session, quote))
    with pytest.raises(Conflict, match="Nobody has agreed"):
        given(shop, quote)
    agreed(shop, quote)
    with pytest.raises(Conflict, match="includes 3 lessons"):
        given(shop, quote)


def test_the_rest_of_a_kit_bought_within_the_window_gives_the_fee_back(shop: Shop, clock: Clock) -> None:
    lesson = paid(shop, "2026-11-20")
    foil = agreed(shop, quoted(shop, [lesson.code], keeps=PART_KEEPS))
    with pytest.raises(Conflict, match="buy the rest within the window"):
        given(shop, foil)
    with shop.reading() as work:
        shown = decide_for(work, foil)
    # Forty-five days after 20 November.
    assert shown.window is not None
    assert shown.window.last_day == date(2027, 1, 4)
    assert [(one.more, set(one.slots)) for one in shown.missing] == [
        (1, {"board", "hand_wing"}),
        (2, {"board", "hand_wing"}),
    ]
    rest = quoted(shop, [lesson.code])
    let_go(shop, foil)
    clock.forward(days=5)
    agreed(shop, rest)
    assert given(shop, rest, (foil,)) == {lesson.code: FEE}
    assert balance(shop, lesson.code) == 0


def test_two_desks_at_once_give_a_fee_back_once(shop: Shop) -> None:
    lesson = paid(shop, "2026-11-20")
    quotes = [agreed(shop, quoted(shop, [lesson.code])) for _ in range(2)]
    barrier = Barrier(4)

    def give(place: int) -> bool:
        barrier.wait(10)
        try:
            given(shop, quotes[place % 2])
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(give, range(4))) == [False, False, False, True]
    with shop.reading() as work:
        kinds = [entry.kind for entry in read_ledger(work, lesson.code).lesson.entries]
    assert kinds == ["paid", "given_back"]
    [quote] = {entry.quote for entry in load_of(shop, lesson.code) if entry.kind == "given_back"}

    def charge(_: int) -> bool:
        barrier.wait(10)
        try:
            with shop.writing("Maeve") as work:
                charge_again_for(work, quote, "It came back.")
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        assert sorted(pool.map(charge, range(4))) == [False, False, False, True]
    assert balance(shop, lesson.code) == FEE


def test_a_refund_and_a_kit_at_once_hand_the_money_out_once(shop: Shop) -> None:
    lesson = paid(shop, "2026-11-20")
    quote = agreed(shop, quoted(shop, [lesson.code]))
    barrier = Barrier(2)

    def back(with_kit: bool) -> bool:
        barrier.wait(10)
        try:
            if with_kit:
                given(shop, quote)
            else:
                with shop.writing("Orla") as work:
                    hand_back(work, lesson.code, FEE, "Called off.", "", 1)
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(back, (True, False))) == [False, True]
    assert balance(shop, lesson.code) == 0


def load_of(shop: Shop, code: str) -> tuple[Entry, ...]:
    """The entries of a lesson."""
    with shop.reading() as work:
        return read_ledger(work, code).lesson.entries


def test_one_form_records_one_lesson(shop: Shop) -> None:
    with shop.reading() as work:
        code = draw_code(work)
    barrier = Barrier(3)

    def take(_: int) -> str:
        barrier.wait(10)
        with shop.writing("Maeve") as work:
            return take_fee(work, "private", "taken", date(2026, 11, 20), Fee(90_00, "cash"), code).code

    with ThreadPoolExecutor(3) as pool:
        assert set(pool.map(take, range(3))) == {code}
    [entry] = load_of(shop, code)
    assert (entry.amount, entry.method) == (90_00, "cash")
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="another lesson"):
        take_fee(work, "private", "taken", date(2026, 11, 20), Fee(80_00, "cash"), code)


def test_a_fee_is_paid_in_parts_and_a_voucher_counts_as_far_as_it_was_paid_for(shop: Shop) -> None:
    lesson = paid(shop, "2026-11-20", fee=15_00)
    with shop.writing("Maeve") as work:
        record_fee(work, lesson.code, 100_00, "voucher", "No. 12", paid_for_voucher=80_00)
        work.commit()
    entry = load_of(shop, lesson.code)[-1]
    assert (entry.amount, entry.method) == (80_00, "voucher")
    assert entry.why == "Voucher worth 100.00, for which 80.00 was paid. No. 12"
    assert given(shop, agreed(shop, quoted(shop, [lesson.code]))) == {lesson.code: 95_00}
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="charge it again"):
        record_fee(work, lesson.code, 1_00, "cash")


def test_every_fault_of_a_fee_comes_back_at_once_and_nothing_is_kept(shop: Shop) -> None:
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput) as raised:
        take_fee(work, "yoga", "taken", date(2027, 1, 1), Fee(-1, "gold", "x" * 301, -1), "00000000")
    fields = [fault.field for fault in raised.value.faults]
    assert fields == ["kind", "day", "amount", "paid_for_voucher", "method", "note"]
    lesson = paid(shop, "2026-11-20")
    with shop.writing("Maeve") as work:
        with pytest.raises(InvalidInput):
            record_refund(work, lesson.code, 1_00, "", "gold")
        with pytest.raises(Conflict, match=r"115\.00 is left"):
            record_refund(work, lesson.code, 115_01, "Called off.")
        with pytest.raises(NotFound):
            record_refund(work, "00000000", 1_00, "Called off.")
        with pytest.raises(Conflict, match="meanwhile"):
            hand_back(work, lesson.code, 1_00, "Called off.", "cash", 0)
    with shop.reading() as work:
        assert number_of(work.session, LessonRow) == number_of(work.session, DepositRow) == 1


def test_a_window_is_extended_with_a_reason_and_never_made_shorter(shop: Shop, clock: Clock) -> None:
    clock.set("2026-11-25T12:00+00:00")
    lesson = paid(shop, "2026-10-01")
    quote = agreed(shop, quoted(shop, [lesson.code]))
    with pytest.raises(Conflict, match="window closed on 15 November 2026"):
        given(shop, quote)
    with shop.writing("Maeve") as work:
        for until, why in ((date(2026, 12, 1), " "), (date(2026, 11, 24), "Flu."), (date(2029, 1, 1), "Flu.")):
            with pytest.raises(InvalidInput):
                extend_window(work, lesson.code, until, why)
        assert extend_window(work, lesson.code, date(2026, 12, 1), "Flu.").last_day == date(2026, 12, 1)
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="open until 1 December 2026 already"):
        extend_window(work, lesson.code, date(2026, 11, 30), "Flu.")
    assert price(shop, [lesson.code]).deposit_back == FEE
    assert given(shop, quote) == {lesson.code: FEE}


def test_lessons_that_the_shop_called_off_pause_the_window(shop: Shop, clock: Clock) -> None:
    clock.set("2026-10-10T12:00+00:00")
    taken, off = paid(shop, "2026-10-01"), paid(shop, "2026-10-10", state="booked")
    with shop.writing("Maeve") as work:
        mark_lesson(work, off.code, "called_off_by_shop")
        begin_lesson(work, "private", "booked", date(2026, 10, 20))
        work.commit()
    clock.set("2026-11-17T12:00+00:00")
    # The window of the first closed on 15 November; until today 38 days of waiting lie after the call-off.
    assert price(shop, [taken.code]).deposit_back == 0
    assert price(shop, [taken.code, off.code]).deposit_back == FEE


def test_days_and_months_agree_with_the_sum_of_the_entries(shop: Shop, clock: Clock) -> None:
    clock.set("2026-10-31T23:30+00:00")
    first = paid(shop, "2026-10-20")
    clock.set("2026-11-20T12:00+00:00")
    with shop.writing("Maeve") as work:
        record_fee(work, first.code, 5_00, "cash")
        record_refund(work, first.code, 20_00, "Cut short.")
        work.commit()
    second = paid(shop, "2026-11-20", fee=90_00)
    given(shop, agreed(shop, quoted(shop, [second.code])))
    periods: tuple[Period, ...] = ("day", "month")
    for period in periods:
        with shop.reading() as work:
            book = read_book(work, date(2026, 10, 1), date(2026, 11, 30), period)
            entries, vat = books_with_vat(work, date(2026, 10, 1), date(2026, 11, 30))
        assert book.change == book.of_entries == 100_00 == sum(one.gross for one in vat)
        assert [one.change for one in book.periods] == [115_00, -15_00]
        assert [(one.kind, one.method, one.change) for one in book.periods[1].sums] == [
            ("paid", "", 90_00),
            ("paid", "cash", 5_00),
            ("given_back", "", -90_00),
            ("refunded", "cash", -20_00),
        ]
        # 100.00 × 23 / 123 is 18.699, rounded once; the rows are rounded each: 21.50 + 0.93 − 3.74 + 16.83 − 16.83.
        assert [one.vat for one in entries] == [21_50, 93, -3_74, 16_83, -16_83]
        assert vat[0].vat == 18_70
    with shop.reading() as work, pytest.raises(InvalidInput):
        read_book(work, date(2026, 11, 2), date(2026, 11, 1), "day")


@pytest.mark.parametrize("words", ["a\x00b", "a\x1bb", "two\nlines"])
def test_words_that_a_database_or_a_paper_cannot_keep_are_refused_at_their_field(shop: Shop, words: str) -> None:
    code = paid(shop, "2026-11-20").code

    def field(verb: Callable[[Work], object]) -> list[str]:
        with shop.writing("Maeve") as work, pytest.raises(InvalidInput) as raised:
            verb(work)
        return [fault.field for fault in raised.value.faults]

    assert field(lambda work: record_fee(work, code, 1_00, "cash", words)) == ["note"]
    assert field(lambda work: record_refund(work, code, 1_00, words, "cash")) == ["why"]
    assert field(lambda work: extend_window(work, code, date(2027, 3, 1), words)) == ["why"]
