"""Where a quote stands from the day it was sent, its story, and that the shop withdraws one; what the desk then has to do."""

from __future__ import annotations

from datetime import timedelta

import pytest

from server.domain.errors import Conflict, InvalidInput
from server.domain.stock import Contact
from server.persistence.stock import load_free
from server.usecases.called_up import call_up, story_of_sale
from server.usecases.desk import find_at_desk, today_at_desk
from server.usecases.messages import message_texts
from server.usecases.papers import read_papers
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote, mark_seen, read_quote, read_quote_with_course
from server.usecases.sales import list_sales, read_sale
from server.usecases.standing import standing, standing_version, withdraw_quote
from server.usecases.stock import agree_to_quote, confirm_hold, release_hold
from server.usecases.work import Shop
from tests.builders_sales import agreed_quote, bought, paid, sale_now
from tests.builders_shop import Clock, learner


def state(shop: Shop, token: str) -> str:
    with shop.reading() as work:
        return standing(work, *read_quote_with_course(work, token)).state


def test_a_quote_stands_somewhere_from_the_day_it_is_sent_and_its_version_tells(shop: Shop, clock: Clock) -> None:
    with shop.writing() as work:
        token = issue_quote(work, learner()).token
    assert state(shop, token) == "sent"
    with shop.writing() as work:
        mark_seen(work, token, 1)
    assert state(shop, token) == "seen"
    with shop.writing() as work:
        agree_to_quote(work, token, Contact("Some One", "some.one@example.org"), 1)
    assert state(shop, token) == "agreed"
    clock.forward(days=30)
    assert state(shop, token) == "lapsed"
    with shop.reading() as work:
        before, code = standing_version(work, token), read_quote(work, token).code
    with shop.writing("Maeve") as work:
        withdraw_quote(work, code, "Sold elsewhere.")
    assert state(shop, token) == "withdrawn"
    with shop.reading() as work:
        assert standing_version(work, token) != before


def test_a_quote_is_withdrawn_with_a_reason_once_and_its_parts_are_free(shop: Shop) -> None:
    quote = agreed_quote(shop)
    board = quote.kit.parts["board"].sku
    with shop.reading() as work:
        free = load_free(work.session, work.now)[board]
    for because in ("", " \r\n", "x" * 301):
        with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="reason"):
            withdraw_quote(work, quote.code, because)
    for by in ("Maeve", "Orla"):
        with shop.writing(by) as work:
            withdrawn = withdraw_quote(work, quote.code, "The board\r\nwas damaged.")
        assert (withdrawn.by, withdrawn.because) == ("Maeve", "The board was damaged.")
    with shop.reading() as work:
        assert load_free(work.session, work.now)[board] == free + 1
        (told,) = message_texts(work, f"quote:{quote.token}")
    assert (told.name, "The board was damaged." in told.text.body) == ("quote_withdrawn", True)
    with shop.writing() as work, pytest.raises(Conflict, match="withdrawn"):
        agree_to_quote(work, quote.token, Contact("Other", "o@example.org"), 1)
    sale = bought(shop, mass_kg=75)
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="was bought"):
        withdraw_quote(work, sale.code, "No.")


def test_the_story_tells_who_did_what_and_why_newest_first(shop: Shop, clock: Clock) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner(delivery="collect"))
    contact = Contact("Some One", "some.one@example.org")
    for step in range(2):
        clock.forward(hours=1)
        with shop.writing() as work:
            agree_to_quote(work, quote.token, contact, 1)
        clock.forward(hours=1)
        with shop.writing("Maeve") as work:
            confirm_hold(work, quote.token)
        if not step:
            clock.forward(hours=1)
            with shop.writing("Orla") as work:
                release_hold(work, quote.token, "They wait for summer.")
    clock.forward(days=8)
    with shop.reading() as work:
        told = [(one.what, one.by, one.why) for one in call_up(work, quote.code).story]
    assert told == [
        ("The hold lapsed, and its parts were free again", "the clock", ""),
        ("The hold was confirmed", "Maeve", ""),
        ("Agreed to revision 1, and its parts set aside", "customer", ""),
        ("The parts were let go of", "Orla", "They wait for summer."),
        ("The hold was confirmed", "Maeve", ""),
        ("Agreed to revision 1, and its parts set aside", "customer", ""),
        ("Revision 1", "customer", ""),
    ]


def test_the_desk_sees_what_waits_finds_who_bought_and_the_books_agree(shop: Shop, clock: Clock) -> None:
    due, done = bought(shop, paid=100_00), bought(shop, mass_kg=70)
    with shop.reading("Maeve") as work:
        today = today_at_desk(work)
        assert [sale.id for sale in today.to_pay] == [due.id]
        assert [sale.id for sale in today.to_hand_over] == [done.id]
        assert today.we_owe == ()
        assert [sale.id for sale in list_sales(work, "paid")[0]] == [done.id]
        assert list_sales(work, serial="TUS-1")[0] == []
        assert [told.what for told in story_of_sale(work, done)][:2] == [
            "Paid in full",
            "Payment taken, card, on the terminal",
        ]
        book = read_papers(work, work.today, work.today)
        assert book.faults == ()
        assert book.gross == due.papers[0].gross + done.papers[0].gross
        assert [line.vat for line in book.vat] == [due.papers[0].vat[0].vat + done.papers[0].vat[0].vat]
        assert read_papers(work, work.today - timedelta(days=9), work.today - timedelta(days=1)).entries == ()
    with shop.writing("Maeve") as work:
        met = find_at_desk(work, 1, due.contact.email).met
    assert (due.id, "sale") in [(one.sale, one.met_as) for one in met]
    paid(shop, due.id, due.owed)
    assert sale_now(shop, due.id).state == "paid"
    clock.forward(days=365 * 7 + 30)  # The policy keeps names for seven years.
    with shop.writing("sweep") as work:
        sweep(work)
    with shop.reading() as work:
        kept = read_sale(work, due.id)
    assert (kept.contact.name, kept.contact.email, kept.papers[0].buyer) == ("", "", "")
    assert kept.papers[0].gross == due.papers[0].gross
