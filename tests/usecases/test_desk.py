"""What needs a hand at the desk, and finding a quote by what a caller says."""

from __future__ import annotations

from datetime import timedelta

import pytest

from server.domain.agreed import Agreed
from server.domain.errors import InvalidInput, TooMany
from server.domain.quotes import Quote
from server.domain.stock import Contact
from server.usecases.calls import finish_promised_call, promise_call
from server.usecases.desk import Found, Today, expected_by, find_at_desk, quote_by_code, today_at_desk
from server.usecases.faulty import report_fault
from server.usecases.quotes import issue_quote, mark_seen
from server.usecases.returns import give_notice
from server.usecases.stock import agree_to_quote, confirm_hold
from server.usecases.work import Shop
from server.usecases.worksheets import Written, begin_worksheet, finish_worksheet, withdraw_link, write_worksheet
from tests.builders_handover import arrived, handed, sent
from tests.builders_sales import bought, new_key
from tests.builders_shop import Clock, learner

SEAN = Contact("Seán Ó Murchú", "Sean@Example.org", "+353 20 910 0177")
INES = Contact("Ines_Vale 100%", "ines@example.org")


def kept(shop: Shop, who: Contact | None = None, by: str = "customer", of: str | None = None) -> Quote:
    with shop.writing(by) as work:
        quote = issue_quote(work, learner(), revises=of)
    if who is not None:
        with shop.writing() as work:
            agree_to_quote(work, quote.token, who, quote.revision)
    return quote


def sheet_for(shop: Shop, name: str, phone: str = "", agreed: Agreed | None = None) -> str:
    with shop.writing("Maeve") as work:
        token = begin_worksheet(work).token
    with shop.writing("Maeve") as work:
        write_worksheet(work, token, learner(), agreed or Agreed(), Written(name=name, phone=phone))
    with shop.writing("Maeve") as work:
        finish_worksheet(work, token, "staff")
    return token


def today(shop: Shop) -> Today:
    with shop.reading("Maeve") as work:
        return today_at_desk(work)


def found(shop: Shop, text: str, account: int = 1) -> Found:
    with shop.writing("Maeve") as work:
        return find_at_desk(work, account, text)


def test_what_comes_back_is_faulty_on_its_way_or_not_brought_yet_stands_on_the_list(shop: Shop, clock: Clock) -> None:
    traded = [{"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}]
    sale = handed(shop, bought(shop, trades=traded))
    parcel = sent(shop, bought(shop, mass_kg=75, delivery="deliver"))
    with shop.writing() as work:
        give_notice(work, sale.id, [1], "Too wild.", new_key())
    with shop.writing("Maeve") as work:
        report_fault(work, sale.id, 2, "It clicks.", work.today, new_key())
        expected = expected_by(parcel)
    list_now = today(shop)
    assert [(case.items, one.id) for case, one in list_now.coming_back] == [((1,), sale.id)]
    assert [(case.items, one.id) for case, one in list_now.faulty] == [((2,), sale.id)]
    assert [(one.id, day) for one, day in list_now.on_the_way] == [(parcel.id, expected)]
    assert [(piece.slot, one.id) for piece, one in list_now.gear_to_come] == [("board", sale.id)]
    arrived(shop, parcel)
    assert today(shop).on_the_way == ()


def test_what_needs_a_hand_stands_on_the_list_until_it_was_given(shop: Shop, clock: Clock) -> None:
    quote = kept(shop, SEAN)
    first = today(shop)
    assert [one.code for one in first.to_confirm] == [quote.code]
    assert [(one.code, one.name, one.by, one.is_seen) for one in first.changed] == [
        (quote.code, SEAN.name, "customer", False)
    ]
    with shop.writing("Maeve") as work:
        confirm_hold(work, quote.token)
    with shop.writing() as work:
        mark_seen(work, quote.token, 1)
    after = today(shop)
    assert (after.to_confirm, after.lapsing, after.changed[0].is_seen) == ((), (), True)
    clock.forward(days=5, hours=1)  # A confirmed hold lapses after seven days; 47 hours are left.
    assert [one.code for one in today(shop).lapsing] == [quote.code]
    assert today(shop).changed == ()
    clock.forward(days=2)
    assert today(shop).lapsing == ()


def test_yesterday_begins_at_midnight_by_the_shops_clock(shop: Shop, clock: Clock) -> None:
    clock.set("2026-07-01T22:59+00:00")  # 23:59 in Dublin on the first.
    early = kept(shop)
    clock.set("2026-07-01T23:00+00:00")  # 00:00 in Dublin on the second.
    late = kept(shop)
    clock.set("2026-07-03T12:00+00:00")
    assert [one.code for one in today(shop).changed] == [late.code]
    kept(shop, by="Maeve", of=early.token)
    assert [(one.code, one.revision, one.by) for one in today(shop).changed] == [
        (early.code, 2, "Maeve"),
        (late.code, 1, "customer"),
    ]


def test_worksheets_wait_for_a_word_or_for_being_opened(shop: Shop, clock: Clock) -> None:
    asked = sheet_for(shop, "Una", agreed=Agreed(discount=500_00))
    sent = sheet_for(shop, "Cormac")
    back = sheet_for(shop, "Bo")
    with shop.writing("Maeve") as work:
        withdraw_link(work, back)
    lists = today(shop)
    assert [(one.token, one.asked_by) for one in lists.waiting] == [(asked, "Maeve")]
    assert [(one.token, one.sent_by) for one in lists.unopened] == [(sent, "Maeve")]
    clock.forward(days=60)
    assert today(shop).unopened == ()


def test_promised_calls_stand_by_when_they_are_due(shop: Shop, clock: Clock) -> None:
    quote = kept(shop)
    usual = {"name": "Some One", "phone": "020 910 0123", "about": "the hand wing"}
    with shop.writing("Maeve") as work:
        later = promise_call(work, 1, day="2026-11-27", at="09:00", **usual)
    with shop.writing("Maeve") as work:
        sooner = promise_call(work, 1, day="2026-11-25", at="16:30", code=quote.code.lower(), **usual)
    clock.forward(hours=5)
    with shop.reading() as work:
        calls = today_at_desk(work).calls
        assert [(one.id, one.code, one.is_overdue(work.now)) for one in calls] == [
            (sooner, quote.code, True),
            (later, "", False),
        ]
    with shop.writing("Orla") as work:
        finish_promised_call(work, sooner)
    assert [one.id for one in today(shop).calls] == [later]


def test_a_caller_is_found_by_code_name_number_or_address(shop: Shop) -> None:
    quote = kept(shop, SEAN)
    other = kept(shop, INES)
    sheet = sheet_for(shop, "Sean Bell", "020 910 0177")
    said = quote.code.replace("0", "o").replace("1", "l").lower()
    assert found(shop, f"{said[:4]} {said[4:]}").code == quote.code
    for text in ("murchu SEAN", "sean@example.ORG"):
        assert [one.code for one in found(shop, text).met] == [quote.code]
    for text in ("020 910 0177", "00353 20 9100177", "910 0177", "9100177"):
        assert {(one.code, one.worksheet) for one in found(shop, text).met} == {(quote.code, ""), ("", sheet)}, text
    assert {one.met_as for one in found(shop, "sean").met} == {"worksheet", "hold"}
    for text, codes in (("%", [other.code]), ("s_vale", [other.code]), ("s_an", []), ("in%vale", [])):
        assert [one.code for one in found(shop, text).met] == codes, text
    with pytest.raises(InvalidInput):
        found(shop, " \0 ")


def test_trying_out_codes_has_to_wait_and_names_have_not(shop: Shop, clock: Clock) -> None:
    quote = kept(shop, SEAN)
    wrong = quote.code[:-1] + ("A" if quote.code[-1] != "A" else "B")
    for _ in range(20):
        assert found(shop, wrong).misheard == wrong
    with pytest.raises(TooMany, match="Wait 30 seconds"):
        found(shop, quote.code)
    with pytest.raises(TooMany), shop.writing() as work:
        quote_by_code(work, 1, quote.code)
    assert found(shop, "murchu").met
    assert found(shop, quote.code, account=2).code == quote.code
    clock.forward(seconds=30)
    assert found(shop, quote.code).code == quote.code
    found(shop, wrong)
    with pytest.raises(TooMany, match="Wait 60 seconds"):
        found(shop, wrong)
    clock.now += timedelta(hours=1)
    assert found(shop, wrong).misheard == wrong
