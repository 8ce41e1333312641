"""Handover and delivery: stock follows the items, money comes first, one form does it once, and nothing is handed over twice."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from server.domain.errors import Conflict, InvalidInput, NotFree
from server.domain.handover import Check, Taken
from server.domain.sales import Sale
from server.persistence.aftercare import follow_ups_of
from server.persistence.sales import add_items
from server.persistence.stock import load_held, load_on_hand, save_movements
from server.usecases.handover import Sending, hand_over, note_arrival, on_the_way, send_off, to_come
from server.usecases.messages import message_texts
from server.usecases.work import Shop
from tests.builders_handover import arrived, handed, handover_of, sent, taken_of
from tests.builders_sales import bought, new_key, paid
from tests.builders_shop import Clock


def shelf(shop: Shop, sale: Sale) -> tuple[dict[str, int], dict[str, int]]:
    """What is on hand and held of a sale's things."""
    skus = {item.sku for item in sale.goods}
    with shop.reading() as work:
        there, held = load_on_hand(work.session), load_held(work.session, work.now)
    return {sku: there.get(sku, 0) for sku in skus}, {sku: held.get(sku, 0) for sku in skus}


def test_a_handover_takes_off_the_stock_what_the_hold_had_set_aside_and_once_only(shop: Shop) -> None:
    sale = bought(shop)
    on_hand, held = shelf(shop, sale)
    number_held = sum(item.is_held for item in sale.goods)
    assert number_held == sum(held.values()) >= 6
    now = handed(shop, sale, key="one-form-0001")
    again = handed(shop, now, key="one-form-0001")
    assert again == now
    on_hand_then, held_then = shelf(shop, sale)
    assert sum(on_hand.values()) - sum(on_hand_then.values()) == number_held
    assert sum(held_then.values()) == 0
    assert now.state == "handed_over"
    assert all(item.serial and item.received_on and not item.is_held for item in now.goods if item.is_core)
    [mark] = [one for one in now.marks if one.kind == "handed_over"]
    assert [row["serial"] for row in mark.about["items"]][:1] == [f"{now.goods[0].sku}-{1000 + sale.id}"]
    assert mark.about["drawn"].startswith("40,120")
    with shop.reading() as work:
        received = now.received_on
        assert received is not None
        assert [(week, day) for week, day, _ in follow_ups_of(work.session, sale.id)] == [
            (week, received + timedelta(weeks=week)) for week in (1, 4, 12)
        ]


def test_nothing_leaves_while_money_is_owed_and_all_faults_are_said_at_once(shop: Shop) -> None:
    sale = bought(shop, paid=100_00)
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="still to pay"):
        hand_over(work, sale.id, handover_of(sale), new_key())
    sale = paid(shop, sale.id, sale.owed)
    core = next(item for item in sale.goods if item.is_core)
    wrong = handover_of(sale, drawn="", explained_by="")
    wrong = replace(
        wrong, taken=(Taken(core.number), *wrong.taken[1:]), checks={**wrong.checks, "bolts": Check("not_done")}
    )
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput) as caught:
        hand_over(work, sale.id, wrong, new_key())
    fields = [fault.field for fault in caught.value.faults]
    assert fields == [f"serial-{core.number}", "check-bolts", "explained_by", "drawn"]
    assert shelf(shop, sale)[1] != {}
    with shop.reading() as work:
        assert all(item.is_held for item in to_come(sale) if item.is_core)


def test_what_is_not_on_the_shelf_stays_to_come_and_a_second_handover_takes_it(shop: Shop) -> None:
    sale = handed(shop, bought(shop))
    with shop.writing() as work:
        part = next(part for part in work.catalogue.sold_in("pump"))
        follows = replace(sale.goods[0], number=99, sku=part.sku, label=part.name, slot="pump", is_held=False)
        from server.domain.stock import Movement

        add_items(work.session, sale.id, [replace(follows, serial="", received_on=None, sent_on=None)])
        there = load_on_hand(work.session)[part.sku]
        save_movements(work.session, [Movement(part.sku, "damage", there)], work.now, "x")
        work.commit()
    sale = replace(sale, items=(*sale.items, replace(follows, serial="", received_on=None)))
    with shop.writing("Maeve") as work, pytest.raises(NotFree):
        hand_over(work, sale.id, handover_of(sale, (Taken(99),)), new_key())
    with shop.writing() as work:
        save_movements(work.session, [Movement(part.sku, "delivery", 1)], work.now, "x")
        work.commit()
    now = handed(shop, sale, taken=(Taken(99),))
    assert now.item(99).received_on is not None  # type: ignore[union-attr]
    with shop.reading() as work:
        assert load_on_hand(work.session)[part.sku] == 0


def test_a_parcel_is_sent_expected_by_working_days_and_arrives(shop: Shop, clock: Clock) -> None:
    clock.set("2026-11-27T12:00+00:00")  # A Friday; the home zone takes 3 working days.
    sale = sent(shop, bought(shop, delivery="deliver"))
    assert sale.state == "on_its_way"
    assert sum(shelf(shop, sale)[1].values()) == 0
    mark = sale.done("sent")
    assert mark is not None
    assert mark.about["expected"] == "2026-12-02"
    with shop.reading() as work:
        letter = next(one for one in message_texts(work, f"sale:{sale.id}") if one.name == "sent_off")
    for words in ("Wednesday 2 December 2026", "Strand Parcels", "SP 1234"):
        assert words in letter.text.body
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput):
        note_arrival(work, sale.id, date(2026, 11, 26), new_key())
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput):
        send_off(work, sale.id, Sending(taken_of(sale), parcels=1), new_key())
    clock.forward(days=3)
    sale = arrived(shop, sale)
    assert (sale.state, sale.received_on) == ("handed_over", date(2026, 11, 30))


def test_each_parcel_arrives_by_itself_and_the_right_to_cancel_waits_for_the_last(shop: Shop, clock: Clock) -> None:
    # Directive 2011/83/EU, Article 9(2)(b)(i): goods of one order that come apart, from the last of them.
    sale = bought(shop, delivery="deliver")
    taken = taken_of(sale, held_only=True)
    for few in (taken[:2], taken[2:]):
        with shop.writing("Maeve") as work:
            sale = send_off(work, sale.id, Sending(few, parcels=1), new_key())
        clock.forward(days=2)
    with shop.writing("Maeve") as work:
        assert [len(one.on_the_way) for one in on_the_way(sale)] == [2, len(taken) - 2]
        with pytest.raises(InvalidInput, match="Which of them"):
            note_arrival(work, sale.id, work.today, new_key())
        with pytest.raises(InvalidInput, match="cannot have arrived"):
            note_arrival(work, sale.id, date(2026, 11, 26), new_key(), 2)
    with shop.writing("Maeve") as work:
        sale = note_arrival(work, sale.id, date(2026, 11, 26), new_key(), 1)  # A day before the second was sent.
    assert {item.number for item in sale.goods if item.received_on} == {one.number for one in taken[:2]}
    assert (sale.received_on, sale.state) == (None, "on_its_way")
    with shop.writing("Maeve") as work:
        with pytest.raises(InvalidInput, match="Which of them"):
            note_arrival(work, sale.id, work.today, new_key(), 1)
        sale = note_arrival(work, sale.id, work.today, new_key())
    received = {item.received_on for item in sale.goods if item.number in {one.number for one in taken}}
    assert received == {date(2026, 11, 26), date(2026, 11, 29)}


def test_of_what_is_sized_at_the_shop_another_size_may_be_given(shop: Shop) -> None:
    sale = bought(shop, extras=["helmet"])
    helmet = next(item for item in sale.goods if item.slot == "helmet")
    with shop.reading() as work:
        other = next(part.sku for part in work.shelf.free_in("helmet") if part.sku != helmet.sku)
        before = load_on_hand(work.session)
    taken = tuple(
        replace(one, sku=other) if one.number == helmet.number else one for one in taken_of(sale, held_only=True)
    )
    if helmet.number not in {one.number for one in taken}:
        taken = (*taken, Taken(helmet.number, sku=other))
    now = handed(shop, sale, taken=taken)
    with shop.reading() as work:
        after, held = load_on_hand(work.session), load_held(work.session, work.now)
    assert now.item(helmet.number).sku == other  # type: ignore[union-attr]
    assert (before[other] - after[other], before[helmet.sku] - after[helmet.sku]) == (1, 0)
    assert held.get(helmet.sku, 0) == 0
