"""A sale at the desk over the front door: the contract, its payments and its papers, without script."""

from __future__ import annotations

import re

from fastapi import FastAPI

from server.usecases.quotes import issue_quote
from tests.builders_http import Client
from tests.builders_paper import opened, root_of, squeezed, text_in
from tests.builders_sales import ADDRESS, agreed_quote, bought, sale_now
from tests.builders_shop import learner
from tests.pages.reader import FORM, Reader


def test_from_a_quote_to_a_contract_paid_in_parts_with_its_papers(app: FastAPI, staff: Client, client: Client) -> None:
    shop = app.state.shop
    quote = agreed_quote(shop, delivery="deliver")
    desk = Reader(staff).open(f"/desk/quotes/{quote.code}")
    assert "Agreed, parts held" in desk.text
    link = desk.by_id("make-contract").get("href", "")
    form = desk.open(link)
    assert form.by_id("amount").get("value") == f"{quote.kit.price.balance / 100:.2f}"
    wrong = form.press("Make the contract and record the payment", address="x", amount="much")
    assert wrong.status == 422
    assert wrong.by_id("amount").get("value") == "much"
    for words in ("This is not an amount.", "where to?", "How is the contract made?", "How was it paid?"):
        assert words in wrong.text, "every fault comes at once"
    address, body = form.sending(
        "Make the contract and record the payment",
        concluded="distance",
        address=ADDRESS.replace("\n", "\r\n"),  # So a browser ends the lines.
        amount="1000",
        means="terminal",
        may_write="yes",
    )
    answers = [staff.post(address, content=body, headers=FORM) for _ in range(2)]
    assert {answer.headers["location"] for answer in answers} == {"/desk/sales/1"}, "a double click makes one contract"
    sale = Reader(staff).open("/desk/sales/1")
    left = sale_now(shop, 1).owed
    assert left == quote.kit.price.balance - 1000_00
    assert f"Left to pay €{left / 100:,.2f}" in sale.text
    assert "Agreed to revision 1" in sale.text
    assert sale.by_id("next-act").get("href") == "/desk/sales/1/pay"
    pay = sale.open("/desk/sales/1/pay").press("Record the payment", amount="99999", means="terminal")
    assert (pay.status, pay.by_id("amount").get("value")) == (422, "99999")
    rest = pay.press("Record the payment", amount=f"{left / 100:.2f}", means="terminal")
    assert "Nothing is owed" in rest.text
    assert rest.by_id("next-act").get("href") == "/desk/sales/1/delivery"
    assert "Paid in full" in Reader(staff).open(f"/desk/quotes/{quote.code}").text
    token = sale_now(shop, 1).token
    theirs = Reader(client).open(f"/quotes/{quote.token}")
    assert "Bought and paid" in theirs.text
    assert f'href="/owned/{token}"' in theirs.html
    assert "Change my answers" not in theirs.text
    told = client.get(f"/api/quotes/{quote.token}").json()
    assert (told["state"], told["hold"]) == ("bought", None)
    paper = Reader(client).open(f"/owned/{token}/papers/1")
    pdf = opened(client.get(f"/owned/{token}/papers/1/pdf").content)
    for words in ("Invoice TH-000001", "IE0000000X", "1 The Strand", "Nothing is left to pay", "Day of supply"):
        assert words in paper.text
        assert squeezed(words) in text_in(pdf)
    assert root_of(pdf)["marked"]
    assert "pdfuaid" in root_of(pdf)["metadata"]
    receipt = re.search(r"/desk/sales/1/receipts/\d+", rest.open("/desk/sales/1").html)
    assert receipt
    assert "Received €1,000.00" in rest.open(receipt[0]).text
    assert rest.row("Day") == "25 November 2026"
    other = bought(shop, mass_kg=72)
    assert client.get(f"/owned/{other.token}/papers/1").status_code == 404, "another's paper"

    back = re.findall(r"/desk/sales/1/entries/\d+/take-back", staff.get("/desk/sales/1").text)[0]
    asked = sale.open(back).press("Take it back")
    assert asked.status == 422
    gone = asked.press("Take it back", why="It was another sale.")
    assert "Entry taken back, card, on the terminal: €1,000.00" in gone.text
    assert "Why: It was another sale." in gone.text
    assert sale_now(shop, 1).owed == 1000_00
    assert staff.get(back).status_code == 409, "it is taken back once"
    assert "this receipt holds no more" in gone.open(receipt[0]).text
    shown = Reader(client).open(f"/owned/{token}/papers/1")
    assert "IBAN" in Reader(client).open(f"/owned/{token}").text
    assert "Reference: " in shown.text, "while something is left to pay, the paper says where to"


def test_a_quote_nobody_agreed_to_is_sold_to_whom_the_desk_names_and_a_withdrawn_one_to_nobody(
    app: FastAPI, staff: Client, client: Client
) -> None:
    with app.state.shop.writing() as work:
        quote = issue_quote(work, learner(delivery="collect"))
        other = issue_quote(work, learner(mass_kg=72))
    form = Reader(staff).open(f"/desk/quotes/{quote.code}/contract")
    button = "Make the contract and record the payment"
    assert "A name is needed" in form.press(button, concluded="counter", means="cash").text
    made = form.press(button, concluded="counter", means="cash", name="Ines Vale", phone="020 910 0177")
    assert "Sale" in made.text
    assert "Ines Vale" in made.text
    assert Reader(staff).open(f"/desk/quotes/{quote.code}/contract").address == made.address
    asked = Reader(staff).open(f"/desk/quotes/{other.code}/withdraw")
    assert asked.press("Withdraw it").status == 422
    gone = asked.press("Withdraw it", because="The mast is recalled.")
    assert "Withdrawn" in gone.text
    assert "The mast is recalled." in gone.text
    theirs = Reader(client).open(f"/quotes/{other.token}")
    assert "We have withdrawn this quote" in theirs.text
    assert "The mast is recalled." in theirs.text
    assert "Ask to hold these parts" not in theirs.text
    assert staff.get(f"/desk/quotes/{other.code}/contract").status_code == 409


def test_the_papers_of_some_days_are_listed_with_their_vat_and_exported_without_names(
    app: FastAPI, staff: Client
) -> None:
    sale = bought(app.state.shop)
    book = Reader(staff).open("/desk/papers")
    assert "no number is missing" in book.text
    assert "Invoice TH-000001" in book.text
    table = staff.get("/desk/papers/export.csv").content.decode("utf-8-sig")
    head, row = table.splitlines()
    assert head == "number,day,paper,corrects,sale,scheme,vat_percent,gross,vat,net,margin_vat"
    vat = sale.papers[0].vat[0]
    figures = f"standard,23,{vat.gross / 100:.2f},{vat.vat / 100:.2f},{vat.net / 100:.2f},"
    assert row == f"TH-000001,2026-11-25,invoice,,{sale.code},{figures}"
    assert Reader(staff).open("/desk/papers?from=never").status == 422
