"""Lesson fees at the desk, over the front door, without script: taken, given back with a kit, charged again, listed, exported."""

from __future__ import annotations

import csv
import io
from datetime import date

from fastapi import FastAPI

from server.persistence.deposits import load_lessons
from server.persistence.tables import DepositRow
from server.usecases.deposits import Fee, draw_code, take_deposit, take_fee
from server.usecases.quotes import issue_quote
from tests.builders_http import Client
from tests.builders_shop import Clock, agreed, learner, number_of
from tests.pages.reader import FORM, Reader, text_of

FEE = 123_00
NEW = {"kind": "private", "day": "2026-11-20", "state": "taken", "amount": "123.00", "method": "cash"}


def paid(app: FastAPI, day: str = "2026-11-20", note: str = "", method: str = "cash") -> str:
    """The code of a lesson that was paid for and taken."""
    with app.state.shop.writing("Maeve") as work:
        code = draw_code(work)
        return take_fee(work, "private", "taken", date.fromisoformat(day), Fee(FEE, method, note), code).code


def quoted(app: FastAPI, *codes: str) -> str:
    """The code of a quote for the recommended kit that names paid lessons."""
    with app.state.shop.writing() as work:
        return issue_quote(work, learner(deposit_codes=list(codes))).code


def spaced(code: str) -> str:
    """A code as it is shown."""
    return f"{code[:4]} {code[4:]}"


def test_a_fee_is_taken_once_and_found_by_its_code(app: FastAPI, staff: Client) -> None:
    desk = Reader(staff).open("/desk/deposits")
    assert "No fee was taken or given back today" in desk.text
    address, body = desk.sending("Record the fee", **NEW)
    desk.press("Record the fee", **NEW)
    code = desk.address.rsplit("/", 1)[-1]
    assert f"Lesson {spaced(code)}" in desk.text
    assert "€123.00 of its fee is with us" in desk.text
    assert "Private lesson, Fri 20 Nov 2026, taken." in desk.text
    assert "The window is open until Mon 4 Jan 2027" in desk.text
    assert staff.post(address, content=body, headers=FORM).headers["location"].endswith(code), "the form records once"
    desk.open("/desk/deposits")
    assert "Today: +€123.00" in desk.text
    assert desk.open(f"/desk/deposits?code={code.lower()}").address == f"/desk/deposits/{code}"
    for typed in ("00000000", "what"):
        desk.open(f"/desk/deposits?code={typed}")
        assert desk.status == 422
        assert desk.by_id("lesson-code").get("value") == typed


def test_what_is_wrong_with_a_fee_is_said_at_its_fields_and_nothing_is_kept(app: FastAPI, staff: Client) -> None:
    desk = Reader(staff).open("/desk/deposits")
    desk.press("Record the fee", **(NEW | {"day": "never", "amount": "much", "paid_for_voucher": "5"}))
    assert desk.status == 422
    for words in ("This is not a day", "This is not an amount", "Nothing is paid by voucher here"):
        assert words in desk.text
    assert desk.by_id("amount").get("value") == "much"
    desk.press("Record the fee", **(NEW | {"kind": "", "state": "", "method": "", "paid_for_voucher": ""}))
    assert (desk.status, desk.by_id("day").get("value")) == (422, "2026-11-20")
    with app.state.shop.reading() as work:
        assert number_of(work.session, DepositRow) == 0


def test_a_fee_is_given_back_with_a_kit_and_charged_again_after_the_amounts_were_shown(
    app: FastAPI, staff: Client
) -> None:
    code, other = paid(app), paid(app, "2026-09-01")
    quote = quoted(app, code)
    page = Reader(staff).open(f"/desk/deposits/{code}")
    assert page.open(f"/desk/deposits/{code}?quote=00000000&together=").status == 422
    assert "There is no quote with this code" in page.text
    page.open(f"/desk/deposits/{code}?quote={quote}&together=")
    assert "Whole kit, with 3 private lessons" in page.text
    assert "€123.00 would go back. Nobody has agreed to this quote" in page.text
    assert not [form for form in page.page.iter("form") if form.get("action", "").endswith("/give-back")]
    agreed(app.state.shop, quote)
    page.open(f"/desk/deposits/{code}?quote={quote}&together=")
    again = page.sending("Give back €123.00")
    page.press("Give back €123.00")
    assert f"given back with quote {spaced(quote)}" in page.text
    figures = [text_of(cell) for cell in page.page.iter("td") if cell.get("class") == "figure"][:4]
    assert figures == ["+€123.00", "balance €123.00", "−€123.00", "balance €0.00"]
    twice = staff.post(again[0], content=again[1], headers=FORM)
    assert (twice.status_code, "names no paid lesson" in twice.text) == (409, True)
    assert "does not name this lesson" in Reader(staff).open(f"/desk/deposits/{other}?quote={quote}").text
    page.press("The kit came back: charge €123.00 again", charge_why="")
    assert (page.status, "Say why" in page.text) == (422, True)
    page.press("The kit came back: charge €123.00 again", charge_why="Sent back.")
    assert "€123.00 of its fee is with us" in page.text
    with app.state.shop.reading() as work:
        entries = load_lessons(work.session, [code])[code].entries
    assert [(entry.kind, entry.quote, entry.why) for entry in entries] == [
        ("paid", "", ""),
        ("given_back", quote, ""),
        ("charged_again", quote, "Sent back."),
    ]


def test_a_staged_purchase_says_what_is_missing_and_until_when(app: FastAPI, staff: Client) -> None:
    code = paid(app)
    keeps = [
        {"slot": "hand_wing", "area_m2": 5.5},
        {"slot": "board", "volume_l": 110, "width_cm": 76, "track": "twin-track"},
    ]
    with app.state.shop.writing() as work:
        foil = issue_quote(work, learner(deposit_codes=[code], keeps=keeps)).code
    rest = agreed(app.state.shop, quoted(app, code))
    page = Reader(staff).open(f"/desk/deposits/{code}?quote={foil}")
    assert "Still missing for lessons, to be bought until Mon 4 Jan 2027: Kit with one part of your own" in page.text
    assert "buy the rest within the window" in page.text
    page.open(f"/desk/deposits/{code}?quote={rest}&together={foil}")
    assert f"with {foil}" in page.text
    assert "Give back €123.00" in page.text


def test_a_window_is_extended_and_money_handed_back_each_with_a_reason(
    staff: Client, app: FastAPI, clock: Clock
) -> None:
    code = paid(app, "2026-09-01")
    page = Reader(staff).open(f"/desk/deposits/{code}")
    assert "The window closed on Fri 16 Oct 2026" in page.text
    page.press("Extend the window", until="2026-12-20", window_why="")
    assert (page.status, page.by_id("until").get("value")) == (422, "2026-12-20")
    page.press("Extend the window", until="2026-12-20", window_why="The bay was closed")
    assert "extended until 20 December 2026: The bay was closed." in page.text
    page.press("Hand it back", refund="200", refund_why="Cut short")
    assert (page.status, "123.00 is left of what was paid" in page.text) == (409, True)
    sending = page.sending("Hand it back", refund="61.50", refund_why="Cut short")
    page.press("Hand it back", refund="61.50", refund_why="Cut short")
    assert "€61.50 of its fee is with us" in page.text
    assert staff.post(sending[0], content=sending[1], headers=FORM).status_code == 409, "the form hands back once"
    page.press("Record the fee", amount="10", method="voucher", paid_for_voucher="4", note="")
    assert "Voucher worth 10.00, for which 4.00 was paid." in page.text
    assert "€65.50 of its fee is with us" in page.text


def test_the_books_agree_and_their_export_opens_nothing_in_a_spreadsheet(
    app: FastAPI, staff: Client, clock: Clock
) -> None:
    code = paid(app, note='=HYPERLINK("x"), a "note"')
    with app.state.shop.writing("Orla") as work:
        take_deposit(work, "private", 115_00, "taken", date(2026, 11, 20))
    for path in ("days", "months"):
        page = Reader(staff).open(f"/desk/deposits/{path}")
        sums = [text_of(row) for row in page.page.findall(".//dl/div")]
        assert [row.endswith("€238.00") for row in sums] == [True, True]
        assert "They agree" in page.text
    assert Reader(staff).open("/desk/deposits/days?from=never").status == 422
    assert staff.get("/desk/deposits/export.csv?from=never").status_code == 422
    asked = f"from={clock.now.date()}&to={clock.now.date()}"
    answer = staff.get(f"/desk/deposits/export.csv?{asked}")
    assert answer.headers["content-disposition"].startswith("attachment; filename=")
    assert answer.content.startswith(b"\xef\xbb\xbfday,code,")
    rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"), newline="")))
    # 123.00 at 23 % holds 23.00; 115.00 holds 115 × 23 / 123 = 21.50.
    assert [(row["gross"], row["vat_percent"], row["vat"], row["net"]) for row in rows] == [
        ("123.00", "23", "23.00", "100.00"),
        ("115.00", "23", "21.50", "93.50"),
    ]
    assert (rows[0]["code"], rows[0]["method"], rows[0]["why"]) == (code, "cash", '\'=HYPERLINK("x"), a "note"')
    vat = staff.get(f"/desk/deposits/vat.csv?{asked}").content.decode("utf-8-sig").splitlines()
    assert vat == ["vat_percent,gross,vat,net", "23,238.00,44.50,193.50"]


def test_months_are_listed_whole_whatever_days_are_asked(app: FastAPI, staff: Client, clock: Clock) -> None:
    for moment, amount in (("2026-11-10T12:00+00:00", 30_00), ("2026-11-25T12:00+00:00", 40_00)):
        clock.set(moment)
        with app.state.shop.writing("Orla") as work:
            take_deposit(work, "private", amount, "booked", date(2026, 12, 5))
    page = Reader(staff).open("/desk/deposits/months?from=2026-11-20&to=2026-11-25")
    assert "Sun 1 Nov 2026 to Mon 30 Nov 2026" in page.text
    assert [text_of(row)[-6:] for row in page.page.findall(".//dl/div")] == ["€70.00"] * 2
    assert Reader(staff).open("/desk/deposits/months?from=9999-12-01&to=9999-12-31").status == 200
    page.open("/desk/deposits/days?from=2026-11-20&to=2026-11-25")
    assert [text_of(row)[-6:] for row in page.page.findall(".//dl/div")] == ["€40.00"] * 2
