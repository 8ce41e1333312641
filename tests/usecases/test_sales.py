"""Contracts: made with a payment, once, from what was agreed to; paid in parts; papers in one unbroken series."""

from __future__ import annotations

from datetime import timedelta

import pytest

from server.domain.errors import Conflict, InvalidInput, Outdated
from server.domain.stock import Contact
from server.persistence.stock import load_free, load_on_hand
from server.usecases.deposits import take_deposit
from server.usecases.messages import message_texts
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote
from server.usecases.sales import Payment, Terms, list_sales, make_contract
from server.usecases.stock import agree_to_quote, confirm_hold, open_hold, release_hold
from server.usecases.work import Shop
from tests.builders_sales import agreed_quote, bought, new_key, paid, sale_now
from tests.builders_shop import Clock, learner

TRADED = {"slot": "board", "price_new": 1200_00, "months": 24, "condition": "good"}


def test_a_contract_is_made_with_a_payment_and_its_invoice_is_the_whole_price(shop: Shop) -> None:
    quote = agreed_quote(shop)
    with shop.writing("Maeve") as work:
        sale = make_contract(work, quote.code, 1, Terms("distance"), Payment(500_00, "terminal"), new_key())
    price = quote.kit.price
    assert [paper.number for paper in sale.papers] == [1]
    assert sale.papers[0].gross == price.charged + price.delivery
    assert sale.owed == price.balance - 500_00
    assert sale.state == "confirmed"
    assert paid(shop, sale.id, sale.owed).state == "paid"


def test_vat_on_the_invoice_is_the_tax_inside_the_full_price_whatever_was_traded_in(shop: Shop) -> None:
    # Irish Revenue, Tax Briefing 30 (1998): a trade-in is a supply of its own; the VAT is on the full value of the new goods.
    sale = bought(shop, trades=[TRADED])
    (vat,) = sale.papers[0].vat
    assert vat.gross == sale.papers[0].gross
    assert vat.vat == round(vat.gross * 23 / 123)
    assert any(one.means == "trade_in" and one.amount > 0 for one in sale.settlements)
    assert sale.owed == 0


def test_the_same_form_sent_again_makes_no_second_contract_and_no_second_payment(shop: Shop) -> None:
    quote = agreed_quote(shop)
    key = new_key()
    for _ in range(2):
        with shop.writing("Maeve") as work:
            sale = make_contract(work, quote.code, 1, Terms("counter"), Payment(100_00, "cash"), key)
    assert len(sale.papers) == 1
    assert [one.amount for one in sale.settlements if one.means == "cash"] == [100_00]
    again = new_key()
    before = sale_now(shop, sale.id).owed
    for _ in range(2):
        paid(shop, sale.id, 50_00, key=again)
    assert sale_now(shop, sale.id).owed == before - 50_00


def test_nothing_is_made_without_a_payment_or_of_an_older_revision(shop: Shop) -> None:
    quote = agreed_quote(shop)
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="made with a payment"):
        make_contract(work, quote.code, 1, Terms("counter"), None, new_key())
    with shop.writing("Maeve") as work, pytest.raises(Outdated):
        make_contract(work, quote.code, 2, Terms("counter"), Payment(1_00, "cash"), new_key())
    much = Payment(quote.kit.price.balance + 10, "terminal")
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="is left"):
        make_contract(work, quote.code, 1, Terms("counter"), much, new_key())
    # Numbers of what was rolled back are given again: the series stays unbroken.
    assert [paper.number for paper in bought(shop, mass_kg=75).papers] == [1]


def test_every_fault_of_the_terms_comes_at_once(shop: Shop) -> None:
    quote = agreed_quote(shop, delivery="deliver")
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput) as caught:
        make_contract(work, quote.code, 1, Terms("by owl"), Payment(0, "shells"), new_key())  # type: ignore[arg-type]
    assert {fault.field for fault in caught.value.faults} == {"concluded", "address", "means", "amount"}


def test_what_was_bought_stays_as_it_is_and_stays_aside(shop: Shop, clock: Clock) -> None:
    sale = bought(shop)
    sku = next(item.sku for item in sale.items if item.is_held)
    with shop.reading() as work:
        free = load_free(work.session, work.now)[sku]
    clock.forward(days=300)
    with shop.writing("sweep") as work:
        sweep(work)
    with shop.reading() as work:
        assert load_free(work.session, work.now)[sku] == free < load_on_hand(work.session)[sku]
        assert list_sales(work, serial="\0") == ([], False), "a sign that no serial number can have finds nothing"
        assert open_hold(work, sale.quote_token) is not None
    with shop.writing() as work, pytest.raises(Conflict, match="was bought"):
        release_hold(work, sale.quote_token, "changed my mind")
    with shop.writing() as work, pytest.raises(Conflict, match="was bought"):
        agree_to_quote(work, sale.quote_token, Contact("Other", "o@example.org"), 1)
    with shop.writing() as work, pytest.raises(Conflict, match="was bought"):
        issue_quote(work, learner(), revises=sale.quote_token)


def test_lesson_fees_are_given_back_as_of_the_day_of_agreeing(shop: Shop, clock: Clock) -> None:
    with shop.writing("Maeve") as work:
        lesson = take_deposit(work, "private", 115_00, "taken", work.today - timedelta(days=44))
    quote = agreed_quote(shop, deposit_codes=[lesson.code])
    with shop.writing("Maeve") as work:
        confirm_hold(work, quote.token)
    clock.forward(days=5)  # The window of 45 days has closed since.
    with shop.writing("Maeve") as work:
        sale = make_contract(work, quote.code, 1, Terms("counter"), Payment(100_00, "terminal"), new_key())
    assert [one.amount for one in sale.settlements if one.means == "lesson_fee"] == [115_00]


def test_cash_is_rounded_in_the_end_and_only_where_it_settles_all(shop: Shop) -> None:
    # Central Bank of Ireland, rounding (2015): 10.22 is settled by 10.20, 10.23 by 10.25; cards are exact.
    sale = bought(shop, paid=100_00)
    sale = paid(shop, sale.id, sale.owed - 10_22)
    assert sale.owed == 10_22
    sale = paid(shop, sale.id, 10_20, "cash")
    assert sale.owed == 0
    assert [one.amount for one in sale.settlements if one.means == "rounding"] == [2]


def test_the_customer_is_told_once(shop: Shop) -> None:
    sale = bought(shop)
    with shop.reading() as work:
        (told,) = message_texts(work, f"sale:{sale.id}")
    assert told.name == "contract_made"
    assert sale.token in told.text.body
