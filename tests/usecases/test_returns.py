"""Giving back, swapping and faulty goods: all of it together, once, and the ledgers agree."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from decimal import Decimal

import pytest

from server.domain.agreed import Agreed, FreeLine
from server.domain.contracts import plain_delivery
from server.domain.errors import Conflict, InvalidInput, NotFree
from server.domain.money import share_of
from server.domain.returns import Asked, Coming
from server.domain.stock import Contact, Movement
from server.persistence.pieces import load_piece, pieces_from_sale, save_piece
from server.persistence.sales import refunds_due
from server.persistence.stock import load_free, load_on_hand, save_movements
from server.usecases.aftercare import sessions_of
from server.usecases.deposits import mark_lesson, read_ledger, take_deposit
from server.usecases.faulty import Done, ToMaker, claim_fault, remedy_fault, report_fault
from server.usecases.kit_lessons import charge_again
from server.usecases.messages import message_texts
from server.usecases.quotes import read_quote
from server.usecases.reservations import read_reservation, reserve_piece
from server.usecases.returns import (
    around_of,
    cases_of,
    close_case,
    digest_of,
    give_notice,
    list_open_cases,
    preview_return,
    take_back,
    to_pieces,
)
from server.usecases.sales import read_sale
from server.usecases.swaps import digest_of as swap_digest_of
from server.usecases.swaps import preview_swap, sizes_for, swap_part
from server.usecases.work import Shop
from tests.builders_goods import given_back, kit_received
from tests.builders_sales import bought, new_key, paid, sale_now
from tests.builders_shop import Clock

TRADED = {"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}


def test_a_whole_kit_comes_back_and_everything_agrees(shop: Shop) -> None:
    with shop.writing("Maeve") as work:
        lesson = take_deposit(work, "private", 115_00, "taken", work.today - timedelta(days=9))
    sale = kit_received(shop, trades=[TRADED], deposit_codes=[lesson.code])
    money = sum(one.amount for one in sale.settlements if one.means == "terminal")
    board = next(item for item in sale.items if item.slot == "board")
    with shop.reading() as work:
        before = load_on_hand(work.session)[board.sku]
    key = new_key()
    done = given_back(shop, sale, wear=[board.number], as_new=[2], key=key)
    with shop.writing("Maeve") as work:
        sale = take_back(work, sale.id, Asked("cancel", work.today, ()), (), "", key)
    assert sale == done, "the same form sent again does nothing"
    wear = share_of(board.charged, 10)
    # What was paid in money but the wear: the lesson that was taken is paid again by its own fee, the old gear goes home.
    assert -sale.owed == money - wear
    assert sale.state == "returned"
    credit = sale.papers[-1]
    assert (credit.kind, credit.corrects) == ("credit_note", sale.papers[0].number)
    assert sum(one.vat for paper in sale.papers for one in paper.vat) == round(wear * 23 / 123)
    with shop.reading() as work:
        pieces = pieces_from_sale(work.session, sale.id)
        assert {piece.state for piece in pieces if piece.source == "trade_in"} == {"given_back"}
        came = {piece.from_item: piece for piece in pieces if piece.source == "returned"}
        assert (came[board.number].serial, came[board.number].condition) == (f"S-{board.number}", "good")
        assert 2 not in came
        assert load_on_hand(work.session)[board.sku] == before
        assert read_ledger(work, lesson.code).lesson.balance == 115_00
        (waiting,) = list_open_cases(work)
        assert (waiting.case.outcome, waiting.sale.owed) == ("done", sale.owed)
    paid(shop, sale.id, sale.owed)
    with shop.reading() as work:
        assert list_open_cases(work) == []


def test_what_was_only_set_aside_is_free_again(shop: Shop) -> None:
    sale = bought(shop)
    held = [item.sku for item in sale.items if item.is_held]
    with shop.reading() as work:
        before = load_free(work.session, work.now)
    sale = given_back(shop, sale)
    assert (sale.state, -sale.owed) == ("withdrawn", sum(paper.gross for paper in sale.papers[:1]))
    with shop.reading() as work:
        after = load_free(work.session, work.now)
        assert all(after[sku] == before[sku] + held.count(sku) for sku in held)
        assert [piece for piece in pieces_from_sale(work.session, sale.id) if piece.source == "returned"] == []


def test_gear_sold_on_is_paid_out_at_its_agreed_value(shop: Shop) -> None:
    sale = kit_received(shop, trades=[TRADED])
    with shop.writing("Maeve") as work:
        (piece,) = pieces_from_sale(work.session, sale.id)
        save_piece(work.session, replace(piece, state="sold"), work.now)
        work.commit()
    back = given_back(shop, sale)
    assert -back.owed == back.papers[0].gross
    with shop.reading() as work:
        kept = load_piece(work.session, piece.id)
        assert kept is not None
        assert kept.state == "sold"


def test_a_used_piece_that_was_sold_is_one_again(shop: Shop) -> None:
    sale = bought(shop, trades=[TRADED])
    with shop.writing("Maeve") as work:
        (piece,) = pieces_from_sale(work.session, sale.id)
        save_piece(work.session, replace(piece, state="sold"), work.now)
        there = read_sale(work, sale.id).items[0]
        for taken, state in ((there, "for_sale"), (replace(there, received_on=work.today), "to_inspect")):
            to_pieces(work, sale, replace(taken, piece=piece.id), condition="good")
            now = load_piece(work.session, piece.id)
            assert now is not None
            assert now.state == state


def test_nothing_is_done_at_another_sum_than_was_shown(shop: Shop) -> None:
    sale = kit_received(shop)
    asked = Asked("cancel", sale.made_on, (Coming(1),))
    with shop.writing("Maeve") as work:
        digest = digest_of(preview_return(work, sale, asked))
        worn = replace(asked, coming=(Coming(1, Decimal(10)),))
        with pytest.raises(Conflict, match="something else by now"):
            take_back(work, sale.id, worn, (), digest, new_key())
        with pytest.raises(InvalidInput, match="not sold as new"):
            take_back(work, sale.id, worn, [1], digest_of(preview_return(work, sale, worn)), new_key())
        with pytest.raises(InvalidInput, match="not bought over the counter"):
            take_back(work, sale.id, replace(asked, kind="counter"), (), digest, new_key())
    assert sale_now(shop, sale.id) == sale


def test_a_notice_opens_a_case_once_and_is_acknowledged(shop: Shop, clock: Clock) -> None:
    # Directive 2011/83/EU, Article 11(3): an acknowledgement on a durable medium. 25 November and 14 days: Wednesday 9 December.
    sale = kit_received(shop)
    key = new_key()
    for _ in range(2):
        with shop.writing() as work:
            case = give_notice(work, sale.id, [1, 6], "It is not for me.", key)
    assert (case.due_on, case.items) == (date(2026, 12, 9), (1, 6))
    with shop.reading() as work:
        assert cases_of(work, sale) == [case]
        told = message_texts(work, f"sale:{sale.id}")[0]
        assert told.name == "notice_received"
        assert "9 December 2026" in told.text.body
        assert [one.case for one in list_open_cases(work)] == [case]
    clock.forward(days=40)
    with shop.writing("Maeve") as work:
        asked = Asked("cancel", case.notice_on, (Coming(1), Coming(6)))
        worked = preview_return(work, read_sale(work, sale.id), asked)
        assert worked.refusals == (), "what counts is the day of the notice"
        take_back(work, sale.id, asked, (), digest_of(worked), new_key())
    with shop.writing("Maeve") as work:
        assert [one.outcome for one in cases_of(work, sale)] == ["done"]
        with pytest.raises(Conflict, match="still owed"):
            close_case(work, case.id, "over", new_key())
        with pytest.raises(InvalidInput, match="Nothing is ticked"):
            give_notice(work, sale.id, [1], "", new_key())


def test_a_notice_is_settled_by_what_it_named_and_its_money_is_never_due_later(shop: Shop, clock: Clock) -> None:
    # Directive 2011/83/EU, Article 13(1): fourteen days from the notice. 25 November: 9 December; 5 December: Monday 21 December,
    # since the nineteenth is a Saturday.
    sale = kit_received(shop)
    with shop.writing() as work:
        give_notice(work, sale.id, [1], "", new_key())
    with shop.writing() as work, pytest.raises(InvalidInput, match="for this already"):
        give_notice(work, sale.id, [1], "", new_key())
    clock.forward(days=10)
    with shop.writing() as work:
        second = give_notice(work, sale.id, [1, 2, 3], "", new_key())
    assert second.items == (2, 3)
    given_back(shop, sale, [2])
    with shop.reading() as work:
        first, second, own = cases_of(work, sale)
        assert (first.outcome, second.outcome, own.outcome) == ("", "", "done"), "the third thing has still to come"
        assert refunds_due(work.session, [sale.id]) == {sale.id: date(2026, 12, 21)}
    given_back(shop, sale, [1, 3])
    with shop.reading() as work:
        assert [one.outcome for one in cases_of(work, sale)] == ["done"] * 3
        assert refunds_due(work.session, [sale.id]) == {sale.id: date(2026, 12, 9)}


def test_a_lesson_taken_after_the_kit_came_back_is_paid_in_both_ledgers(shop: Shop, clock: Clock) -> None:
    with shop.writing("Maeve") as work:
        lesson = take_deposit(work, "private", 115_00, "booked", work.today + timedelta(days=5))
    sale = kit_received(shop, deposit_codes=[lesson.code])
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="has not come back"):
        charge_again(work, sale.code, "It came back.")
    board = next(item.number for item in sale.items if item.slot == "board")
    back = given_back(shop, sale, [board])
    with shop.reading() as work:
        # At 16 % one lesson and no support on the water is left, and that lesson is the one booked.
        assert [one.left for one in sessions_of(work, back)] == [0, 0]
    back = given_back(shop, back)
    clock.forward(days=6)
    with shop.writing("Maeve") as work:
        mark_lesson(work, lesson.code, "taken")
        work.commit()
    with shop.writing("Maeve") as work:
        (entry,) = charge_again(work, sale.code, "It came back.", 115_00)
        with pytest.raises(Conflict):
            charge_again(work, sale.code, "It came back.")
    now = sale_now(shop, sale.id)
    assert (entry.amount, now.owed - back.owed) == (115_00, 115_00)
    with shop.reading() as work:
        assert read_ledger(work, lesson.code).lesson.balance == 115_00


def test_plain_delivery_is_what_it_cost_when_the_contract_was_made(shop: Shop) -> None:
    with shop.reading() as work:
        catalogue = work.catalogue
    home = catalogue.policy.shop.home_zone
    name, zone = next((name, one) for name, one in catalogue.zones.items() if name != home and one.fee > 10_00)
    cheaper = replace(catalogue, zones={**catalogue.zones, name: replace(zone, fee=10_00)})
    sale = bought(shop, delivery="deliver", zone=name)
    with shop.reading() as work:
        assert around_of(work, sale).plain_delivery == zone.fee
        quote = read_quote(work, sale.quote_token)
    assert plain_delivery(quote, cheaper) == zone.fee, "the table has changed since the quote"
    by_hand = replace(quote, agreed=Agreed(lines=(FreeLine("delivery", "By boat", 90_00, goes_to=name),)))
    assert plain_delivery(by_hand, cheaper) == 10_00


def test_old_gear_that_somebody_had_set_aside_goes_home_and_they_are_told(shop: Shop) -> None:
    sale = kit_received(shop, trades=[TRADED])
    with shop.writing("Maeve") as work:
        (piece,) = pieces_from_sale(work.session, sale.id)
        save_piece(work.session, replace(piece, name="Old board", state="for_sale", price=400_00), work.now)
        work.commit()
    with shop.writing() as work:
        asked = reserve_piece(work, piece.id, Contact("Another One", "another@example.org"), new_key())
    given_back(shop, sale, [item.number for item in sale.goods if item.is_core])
    with shop.reading() as work:
        assert not read_reservation(work, asked.id).is_open(work.now)
        assert [one.name for one in message_texts(work, f"reservation:{asked.id}")] == ["piece_let_go"]
        gone = load_piece(work.session, piece.id)
        assert gone is not None
        assert gone.state == "given_back"


def test_a_part_is_swapped_for_another_size_to_the_cent(shop: Shop) -> None:
    sale = kit_received(shop)
    old = next(item for item in sale.items if item.slot == "hand_wing")
    key = new_key()
    with shop.writing("Maeve") as work:
        size = next(one for one in sizes_for(work, sale, old) if not one.refusal)
        sku = size.part.sku
        swap = preview_swap(work, sale, old.number, sku)
        before = load_on_hand(work.session)[sku]
        fee = work.catalogue.policy.sales.swap_fee_of("hand_wing")
        with pytest.raises(InvalidInput, match="nothing leaves while money is owed"):
            swap_part(work, sale.id, old.number, sku, "W-77", swap_digest_of(swap), key)
    with shop.writing("Maeve") as work:
        now = swap_part(work, sale.id, old.number, sku, "W-77", swap_digest_of(swap), key, "terminal")
    with shop.writing("Maeve") as work:
        assert swap_part(work, sale.id, old.number, sku, "W-77", "", key) == now
        assert load_on_hand(work.session)[sku] == before - 1
        (piece,) = [one for one in pieces_from_sale(work.session, sale.id) if one.source == "swap"]
        assert (piece.state, piece.sku, piece.serial) == ("to_inspect", old.sku, old.serial)
        with pytest.raises(InvalidInput, match="does not have it"):
            preview_swap(work, now, old.number, sku)
        with pytest.raises(InvalidInput, match="swapped once"):
            preview_swap(work, now, now.items[-1].number, old.sku)
    new = now.items[-1]
    assert (new.takes_place_of, new.serial, new.is_tiered) == (old.number, "W-77", old.is_tiered)
    assert now.owed == 0
    assert now.settlements[-1].amount == new.charged + fee - old.charged == -swap.total == swap.left
    assert [paper.kind for paper in now.papers[1:]] == ["credit_note", "invoice"]
    back_again = given_back(shop, now, [new.number], kind="goodwill", why="as agreed")
    assert back_again.papers[-1].corrects == now.papers[-1].number, "the invoice that it stands on, not the first"
    # What was swapped comes back at what was charged for the new one.
    with shop.reading() as work:
        back = preview_return(work, now, Asked("goodwill", work.today, (Coming(new.number),), "as agreed"))
        assert back.rows[0].amount == new.charged


def test_nothing_is_swapped_that_is_gone_or_too_late(shop: Shop, clock: Clock) -> None:
    sale = kit_received(shop)
    old = next(item for item in sale.items if item.slot == "hand_wing")
    with shop.writing("Maeve") as work:
        sku = next(one.part.sku for one in sizes_for(work, sale, old) if not one.refusal)
        pieces = load_free(work.session, work.now)[sku]
        save_movements(work.session, [Movement(sku, "damage", pieces, "a storm")], work.now, "Maeve")
        work.commit()
    with shop.writing("Maeve") as work, pytest.raises(NotFree):
        swap_part(work, sale.id, old.number, sku, "", "", new_key(), has_none=True)
    clock.forward(days=31)
    with shop.reading() as work, pytest.raises(InvalidInput, match="last day to swap"):
        preview_swap(work, sale, old.number, sku)


def test_something_faulty_is_replaced_and_claimed_from_the_maker(shop: Shop) -> None:
    sale = kit_received(shop)
    board = sale.items[0]
    with shop.writing("Maeve") as work:
        case = report_fault(work, sale.id, 1, "The track is loose.", work.today, new_key())
        with pytest.raises(InvalidInput) as caught:
            report_fault(work, sale.id, 99, "", None, new_key())
    assert [fault.field for fault in caught.value.faults] == ["item", "text", "noticed_on"]
    with shop.writing("Maeve") as work, pytest.raises(NotFree):
        remedy_fault(work, case.id, Done("replacement", has_none=True), new_key())
    with shop.writing("Maeve") as work:
        save_movements(work.session, [Movement(board.sku, "delivery", 1)], work.now, "Maeve")
        work.commit()
        before = load_on_hand(work.session)[board.sku]
        with pytest.raises(Conflict, match="not sent yet"):
            claim_fault(work, case.id, ToMaker("accepted"), new_key())
    for step in (ToMaker("sent", "R 17"), ToMaker("accepted", "R 17", 400_00)):
        with shop.writing("Maeve") as work:
            claim_fault(work, case.id, step, new_key())
    key = new_key()
    for done in (Done("replacement"), Done("replacement", serial="S-NEW", has_none=True)):
        with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="serial number"):
            remedy_fault(work, case.id, done, key)
    for _ in range(2):
        with shop.writing("Maeve") as work:
            remedy_fault(work, case.id, Done("replacement", serial="S-NEW"), key)
    with shop.writing("Maeve") as work:
        save_movements(work.session, [Movement(board.sku, "delivery", 1)], work.now, "Maeve")
        with pytest.raises(Conflict, match="replaced already"):
            remedy_fault(work, case.id, Done("replacement", serial="S-NEW-2"), new_key())
        with pytest.raises(Conflict, match="used for something else"):
            give_notice(work, sale.id, [1], "", sale.marks[0].key)
        with pytest.raises(Conflict, match="used for something else"):
            report_fault(work, sale.id, 1, "Loose.", work.today, sale.marks[0].key)
    now = sale_now(shop, sale.id)
    assert (now.owed, now.items[0].serial, len(now.papers)) == (0, "S-NEW", 1)
    with shop.writing("Maeve") as work:
        assert load_on_hand(work.session)[board.sku] == before - 1
        (old,) = [one for one in pieces_from_sale(work.session, sale.id) if one.from_item == 1]
        assert (old.state, old.serial) == ("given_back", board.serial)
        (open_one,) = list_open_cases(work)
        assert (open_one.progress.credited, open_one.progress.may_settle) == (400_00, True)
        close_case(work, case.id, "All done.", new_key())
        assert list_open_cases(work) == []


def test_the_price_of_something_faulty_is_given_back_whole(shop: Shop) -> None:
    sale = kit_received(shop, concluded="counter")
    with shop.writing("Maeve") as work:
        report_fault(work, sale.id, 1, "It takes water.", work.today, new_key())
    now = given_back(shop, sale, [1], kind="fault", why="It takes water.")
    assert now.owed == -sale.items[0].charged
    with shop.reading() as work:
        by_kind = {one.case.kind: one for one in list_open_cases(work)}
        assert by_kind["fault"].progress.remedy == "refund"
        assert by_kind["return"].case.outcome == "done"
