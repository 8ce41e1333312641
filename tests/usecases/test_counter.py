"""Sales over the counter: stock follows at once, one form sells once, and what is set aside stays aside."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest

from server.domain.counter import Sold
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.stock import Contact
from server.persistence.stock import load_movements
from server.usecases.counter import item_at_counter, sales_on, sell_at_counter, take_sale_back
from server.usecases.quotes import issue_quote
from server.usecases.stock import agree_to_quote, book_movement
from server.usecases.work import Shop, new_token
from tests.builders_shop import Clock, learner

PUMP, PUMP_GTIN = "WRK-PUMP1", "2160041000372"


def sold(shop: Shop, pieces: int = 1, key: str = "", sku: str = PUMP) -> Sold:
    with shop.writing("Maeve") as work:
        return sell_at_counter(work, sku, pieces, key or new_token())


def on_hand(shop: Shop, sku: str = PUMP) -> int:
    with shop.reading() as work:
        return item_at_counter(work, sku).stand.on_hand


def counted(shop: Shop, sku: str, pieces: int) -> None:
    with shop.writing("Orla") as work:
        book_movement(work, sku, "count", pieces, "counted")


def test_a_sale_and_its_taking_back_stand_in_the_ledger(shop: Shop) -> None:
    before = on_hand(shop)
    with shop.reading() as work:
        item = item_at_counter(work, "0" + PUMP_GTIN)
    assert (item.item.sku, item.stand.free) == (PUMP, before)
    sale = sold(shop, 2)
    assert (sale.amount, on_hand(shop)) == (2 * item.price, before - 2)
    for _ in range(2):
        with shop.writing("Orla") as work:
            assert take_sale_back(work, sale.id).amount == 0
    assert on_hand(shop) == before
    with shop.reading() as work:
        assert [(one.kind, one.change) for one in load_movements(work.session, PUMP)[-2:]] == [
            ("counter_sale", -2),
            ("returned", 2),
        ]
    with pytest.raises(NotFound), shop.writing() as work:
        take_sale_back(work, sale.id + 1)


def test_a_form_sells_once(shop: Shop) -> None:
    before, key = on_hand(shop), new_token()
    assert sold(shop, 1, key) == sold(shop, 1, key)
    with pytest.raises(Conflict, match="sold 1 × WRK-PUMP1 already"):
        sold(shop, 2, key)
    for sku, bad in (("NO-SUCH", new_token()), (PUMP, "short"), (PUMP, "'; --------")):
        with pytest.raises(InvalidInput):
            sold(shop, 1, bad, sku)
    assert on_hand(shop) == before - 1


def test_the_same_form_from_two_windows_at_once_sells_once(shop: Shop) -> None:
    before, key, barrier = on_hand(shop), new_token(), Barrier(4)

    def sell(_: int) -> Sold:
        barrier.wait(10)
        return sold(shop, 1, key)

    with ThreadPoolExecutor(4) as pool:
        sales = set(pool.map(sell, range(4)))
    assert len(sales) == 1
    assert on_hand(shop) == before - 1
    [sale] = sales

    def back(_: int) -> Sold:
        barrier.wait(10)
        with shop.writing("Orla") as work:
            return take_sale_back(work, sale.id)

    with ThreadPoolExecutor(4) as pool:
        assert len(set(pool.map(back, range(4)))) == 1
    assert on_hand(shop) == before


def test_the_last_piece_is_sold_to_one_of_two(shop: Shop) -> None:
    counted(shop, PUMP, 1)
    barrier = Barrier(3)

    def sell(_: int) -> bool:
        barrier.wait(10)
        try:
            sold(shop)
        except Conflict:
            return False
        return True

    with ThreadPoolExecutor(3) as pool:
        assert sorted(pool.map(sell, range(3))) == [False, False, True]
    assert on_hand(shop) == 0


def test_a_piece_set_aside_is_not_sold_and_its_quote_is_named(shop: Shop, clock: Clock) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    board = quote.kit.parts["board"].sku
    counted(shop, board, 2)
    with shop.writing() as work:
        agree_to_quote(work, quote.token, Contact("Some One", "some.one@example.org"), 1)
    sold(shop, 1, sku=board)
    with pytest.raises(Conflict, match=f"quote {quote.code[:4]} {quote.code[4:]}"):
        sold(shop, 1, sku=board)
    clock.forward(hours=3)  # A request that nobody confirmed has lapsed.
    sold(shop, 1, sku=board)
    assert on_hand(shop, board) == 0


def test_the_day_of_sales_is_the_shops_own(shop: Shop, clock: Clock) -> None:
    clock.set("2026-07-01T22:59+00:00")  # 23:59 in Dublin.
    sold(shop)
    clock.set("2026-07-01T23:00+00:00")
    sale = sold(shop)
    with shop.reading() as work:
        assert sales_on(work, work.today) == (sale,)
