"""Used pieces: put up, looked over, set aside for one person only, sold once under a contract of their own."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from threading import Barrier

import pytest

from server.domain.errors import Conflict, InvalidInput, TooMany
from server.domain.pieces import Piece
from server.domain.stock import Contact
from server.outside.photos import Photo
from server.persistence.pieces import pieces_from_sale, save_piece
from server.persistence.sales import save_item
from server.persistence.stock import load_free, load_on_hand
from server.usecases.expected import book_arrival, call_delivery_off, change_delivery
from server.usecases.messages import outbox
from server.usecases.photos import photos_of
from server.usecases.pieces import (
    PhotoChanges,
    about_piece,
    change_piece,
    inspect_piece,
    read_piece,
    sell_piece,
    sell_reserved,
    suggest_price,
    throw_away,
)
from server.usecases.privacy import sweep
from server.usecases.reservations import (
    confirm_reservation,
    let_go_of_piece,
    open_reservations,
    read_reservation,
    release_reservation,
    reservation_for,
    reserve_delivery,
    reserve_piece,
    take_reservation_back,
)
from server.usecases.sales import held_by
from server.usecases.work import Shop
from tests.builders_accounts import load_deeds
from tests.builders_pieces import DEMO_SKU, DUE, SOMEBODY, bought_piece, delivery, demo_piece, selling
from tests.builders_sales import ADDRESS, bought, new_key, sale_now
from tests.builders_shop import Clock

TRADED = {"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}
LOOKED = {"condition": "good", "hours": 80}


def told(shop: Shop) -> list[str]:
    """The kinds of the messages in the outbox, newest first."""
    with shop.reading() as work:
        return [one.name for one in outbox(work)]


def gear_of(shop: Shop, sale: int) -> Piece:
    """The old gear that is to come with a sale."""
    with shop.reading() as work:
        (piece,) = pieces_from_sale(work.session, sale)
    return piece


def somebody(number: int) -> Contact:
    """Somebody else."""
    return Contact(f"Someone {number}", f"someone{number}@example.org")


def test_a_piece_is_promised_to_one_of_many_who_ask_at_once(shop: Shop) -> None:
    piece, many = bought_piece(shop), 8
    barrier = Barrier(many)

    def ask(number: int) -> bool:
        barrier.wait()
        with shop.writing() as work:
            try:
                reserve_piece(work, piece.id, somebody(number), new_key())
            except Conflict:
                return False
            return True

    with ThreadPoolExecutor(many) as people:
        assert sum(people.map(ask, range(many))) == 1
    with shop.reading() as work:
        assert len(open_reservations(work)) == 1


def test_a_reserved_piece_is_sold_to_whom_it_is_held_for_once(shop: Shop) -> None:
    piece = bought_piece(shop)
    with shop.writing() as work:
        one = reserve_piece(work, piece.id, SOMEBODY, new_key())
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="set aside for somebody"):
        sell_piece(work, piece.id, selling(450_00), new_key())
    with shop.writing("Maeve") as work:
        confirm_reservation(work, one.id)
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="is left"):
        sell_piece(work, piece.id, selling(450_00, 451_00, reservation=one.id), new_key())
    key = new_key()
    for _ in range(2):
        with shop.writing("Maeve") as work:
            sale = sell_piece(work, piece.id, selling(450_00, 200_00, reservation=one.id), key)
    (item,), (paper,) = sale.items, sale.papers
    assert (item.piece, item.scheme, item.bought, item.is_goods, item.is_held) == (
        piece.id,
        "margin",
        300_00,
        True,
        False,
    )
    # Directive 2006/112/EC, Art. 325: under the margin scheme no VAT is shown on the invoice.
    assert (paper.gross, paper.vat, paper.has_margin_lines) == (450_00, (), True)
    assert (sale.owed, sale.state, len(sale_now(shop, sale.id).settlements)) == (250_00, "confirmed", 1)
    with shop.reading() as work:
        assert read_piece(work, piece.id).state == "sold"
        assert reservation_for(work, one.token).reservation.state_at(work.now) == "bought"
    with shop.writing("Maeve") as work, pytest.raises(Conflict):
        sell_piece(work, piece.id, selling(450_00), new_key())
    assert told(shop) == ["piece_bought", "piece_held"]


def test_a_demonstration_piece_leaves_the_stock_and_its_invoice_shows_the_whole_vat(shop: Shop) -> None:
    with shop.reading() as work:
        before = load_on_hand(work.session)[DEMO_SKU]
    piece = demo_piece(shop)
    with shop.reading() as work:
        assert load_on_hand(work.session)[DEMO_SKU] == before - 1
        assert (piece.scheme, piece.bought) == ("standard", work.catalogue.parts[DEMO_SKU].cost)
        suggested = suggest_price(work, piece, months=12)
        zone = next(zone for zone in work.catalogue.zones.values() if zone.fee)
    assert suggested is not None
    assert suggested.price_new > suggested.price > 0
    sent = replace(selling(300_00, 300_00 + zone.fee, concluded="distance"), zone=zone.zone)
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="where to"):
        sell_piece(work, piece.id, sent, new_key())
    with shop.writing("Maeve") as work:
        sale = sell_piece(work, piece.id, replace(sent, address=ADDRESS), new_key())
    gross = 300_00 + zone.fee
    assert sale.papers[0].gross == gross
    assert [one.vat for one in sale.papers[0].vat] == [round(gross * 23 / 123)]
    assert (sale.state, sale.delivery, sale.address) == ("paid", "deliver", ADDRESS)


def test_a_request_lapses_by_the_clock_and_its_contact_is_forgotten(shop: Shop, clock: Clock) -> None:
    piece = bought_piece(shop)
    with shop.writing() as work:
        one = reserve_piece(work, piece.id, SOMEBODY, new_key())
    clock.forward(hours=3)
    with shop.writing() as work:
        again = reserve_piece(work, piece.id, somebody(2), new_key())
    with shop.writing() as work:
        take_reservation_back(work, again.token)
    clock.forward(days=91)
    with shop.writing("sweep") as work:
        sweep(work)
    with shop.reading() as work:
        assert {read_reservation(work, number).contact for number in (one.id, again.id)} == {Contact("")}
        assert read_reservation(work, one.id).state_at(work.now) == "lapsed"


def test_nobody_asks_for_more_than_two_and_the_desk_lets_go_with_a_reason(shop: Shop) -> None:
    pieces = [bought_piece(shop) for _ in range(3)]
    for piece in pieces[:2]:
        with shop.writing() as work:
            one = reserve_piece(work, piece.id, SOMEBODY, new_key())
    with shop.writing() as work, pytest.raises(TooMany):
        reserve_piece(work, pieces[2].id, SOMEBODY, new_key())
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput):
        release_reservation(work, one.id, " ")
    with shop.writing("Maeve") as work:
        release_reservation(work, one.id, "You told us that you have found another.")
    with shop.writing() as work:
        assert reserve_piece(work, pieces[2].id, SOMEBODY, new_key()).id > one.id
    assert told(shop) == ["piece_let_go"]
    with shop.writing("Maeve") as work:
        let_go_of_piece(work, pieces[2].id, "Its owner has it back.")
        let_go_of_piece(work, pieces[2].id, "Its owner has it back.")
        throw_away(work, pieces[2].id, "Zebedee Quirke says that it leaks")
    assert told(shop) == ["piece_let_go", "piece_let_go"]
    with shop.reading() as work:
        deeds = [deed.what for deed in load_deeds(work.session)]
    assert deeds[-2:] == [f"let go of reservation {one.id}", f"threw away piece {pieces[2].id}"], (
        "a reason may name somebody"
    )


def test_what_is_set_aside_for_somebody_gets_no_dearer(shop: Shop) -> None:
    piece = bought_piece(shop)
    with shop.writing() as work:
        reserve_piece(work, piece.id, SOMEBODY, new_key())
    raw = {"name": piece.name, "condition": "good", "price": 500_00}
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="at this price"):
        change_piece(work, piece.id, raw, None)


def test_photographs_are_put_in_order_deleted_and_never_too_many(shop: Shop) -> None:
    piece = bought_piece(shop)
    raw = {"name": piece.name, "condition": "good", "price": 450_00}
    new = tuple(Photo(bytes([number]), 4, 3) for number in range(4))
    with shop.writing("Maeve") as work:
        change_piece(work, piece.id, raw, None, PhotoChanges(new))
    with shop.reading() as work:
        first = [photo.token for photo in photos_of(work, about_piece(piece.id))]
    changes = PhotoChanges(new[:1], drop=(first[0],), places={first[3]: 1, first[1]: 2, first[2]: 3})
    with shop.writing("Maeve") as work:
        change_piece(work, piece.id, raw, None, changes)
    with shop.reading() as work:
        after = [photo.token for photo in photos_of(work, about_piece(piece.id))]
    assert after[:3] == [first[3], first[1], first[2]]
    assert len(after) == 4
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="4 photographs are kept"):
        change_piece(work, piece.id, raw, None, PhotoChanges(new[:3]))


def test_a_delivery_is_promised_piece_by_piece_and_what_comes_is_set_aside_in_that_order(shop: Shop) -> None:
    coming = delivery(shop, pieces=2)
    with shop.reading() as work:
        before = load_free(work.session, work.now).get(DEMO_SKU, 0)
    asked = []
    for number in range(2):
        with shop.writing() as work:
            asked.append(reserve_delivery(work, coming.id, somebody(number), new_key()))
    with shop.writing() as work, pytest.raises(Conflict, match="set aside for others"):
        reserve_delivery(work, coming.id, somebody(3), new_key())
    for one in asked:
        with shop.writing("Maeve") as work:
            assert confirm_reservation(work, one.id).expires_at.date() > DUE
    with shop.writing("Maeve") as work:
        change_delivery(work, coming.id, DUE.replace(day=20), "")
    with shop.writing("Maeve") as work:
        assert read_reservation(work, asked[0].id).expires_at.date() > DUE.replace(day=20)
        book_arrival(work, coming.id, 1, 0)
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="came meanwhile"):
        book_arrival(work, coming.id, 1, 0)
    with shop.reading() as work:
        assert [read_reservation(work, one.id).hold is not None for one in asked] == [True, False]
        assert load_free(work.session, work.now).get(DEMO_SKU, 0) == before
    with shop.writing("Maeve") as work:
        call_delivery_off(work, coming.id)
    price = 0
    with shop.reading() as work:
        assert read_reservation(work, asked[1].id).state_at(work.now) == "ended"
        price = work.catalogue.parts[DEMO_SKU].price_on(work.today)
    with shop.writing("Maeve") as work:
        sale = sell_reserved(work, asked[0].id, selling(price, who=somebody(0)), new_key())
    with shop.reading() as work:
        assert held_by(work, sale) == read_reservation(work, asked[0].id).hold
        assert load_free(work.session, work.now).get(DEMO_SKU, 0) == before
    assert sale.items[0].is_held
    assert sorted(told(shop)) == sorted(
        [*["piece_held"] * 2, *["piece_due"] * 2, "piece_arrived", "piece_let_go", "piece_bought"]
    )


def test_old_gear_counts_for_less_once_it_was_looked_at_and_the_customer_is_told_why(shop: Shop) -> None:
    sale = bought(shop, trades=[TRADED])
    piece = gear_of(shop, sale.id)
    key, less = new_key(), piece.bought - 60_00
    raw = {**LOOKED, "value": less, "why": "The track box is worn."}
    for _ in range(2):
        with shop.writing("Maeve") as work:
            inspect_piece(work, piece.id, raw, key)
    after = sale_now(shop, sale.id)
    assert after.owed == sale.owed + 60_00
    assert [one.amount for one in after.settlements if one.means == "trade_in"] == [piece.bought, -60_00]
    assert after.done("traded_in") is not None
    assert told(shop)[0] == "gear_valued"
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="looked at already"):
        inspect_piece(work, piece.id, {**raw, "condition": "worn"}, new_key())
    with shop.reading() as work:
        assert (read_piece(work, piece.id).state, read_piece(work, piece.id).bought) == ("for_sale", less)
        suggested = suggest_price(work, read_piece(work, piece.id))
        assert suggested is not None
        assert (suggested.price_new, suggested.months) == (1200_00, 24)
    # Sold on and come back from whoever bought it, it is looked over like any other piece: the first sale is left alone.
    with shop.writing("Maeve") as work:
        save_piece(work.session, replace(read_piece(work, piece.id), state="to_inspect"), work.now)
        work.commit()
    with shop.writing("Maeve") as work:
        assert inspect_piece(work, piece.id, {**LOOKED, "condition": "worn"}, new_key()).bought == less
    assert sale_now(shop, sale.id).owed == after.owed


def test_unsafe_gear_counts_nothing_and_is_never_sold_on(shop: Shop) -> None:
    sale = bought(shop, trades=[TRADED])
    piece = gear_of(shop, sale.id)
    with shop.writing("Maeve") as work:
        change_piece(work, piece.id, {"name": "Old board", "condition": "good", "price": 400_00}, DUE)
    with shop.writing() as work:
        one = reserve_piece(work, piece.id, SOMEBODY, new_key())
    with shop.writing("Maeve") as work:
        inspect_piece(work, piece.id, {**LOOKED, "faults": ["delaminated"]}, new_key())
    assert sale_now(shop, sale.id).owed == sale.owed + piece.bought
    with shop.reading() as work:
        assert read_piece(work, piece.id).state == "scrapped"
        assert read_reservation(work, one.id).state_at(work.now) == "ended"
    with shop.writing("Maeve") as work, pytest.raises(Conflict):
        sell_piece(work, piece.id, selling(400_00), new_key())


def test_old_gear_of_a_sale_that_has_ended_is_not_taken_in(shop: Shop) -> None:
    sale = bought(shop, trades=[TRADED])
    piece = gear_of(shop, sale.id)
    with shop.writing("Maeve") as work:
        for item in sale.goods:
            save_item(work.session, sale.id, replace(item, gone="withdrawn"))
        work.commit()
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="has ended meanwhile"):
        inspect_piece(work, piece.id, {**LOOKED, "value": piece.bought}, new_key())
    assert gear_of(shop, sale.id).state == "expected"
