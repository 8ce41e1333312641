"""The money of a sale: rounding of cash, VAT of papers that always agrees, the margin scheme, and what may be paid."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.money import vat_inside
from server.domain.sales import (
    Item,
    Mark,
    Means,
    Paper,
    PaperLine,
    Sale,
    Settlement,
    cash_rounded,
    check_payment,
    check_way_back,
    counted_label,
    margin_vat,
    margin_vat_of,
    may_be_taken_back,
    owed,
    rounding_for,
    series_faults,
    ways_paid,
    write_paper,
)
from server.domain.stock import Contact

DAY = date(2026, 11, 25)
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
VAT = Decimal(23)

# Central Bank of Ireland, rounding programme (2015): of the total only, and only of cash.
ROUNDED = {10_22: 10_20, 10_23: 10_25, 14_48: 14_50, 5_97: 5_95, 5_98: 6_00}
# Revenue: gross × 23 / 123.
INSIDE = {123_00: 23_00, 999_00: 186_80, 2499_00: 467_29}


def sale(*papers: Paper, paid: int = 0, means: Means = "terminal", items: tuple[Item, ...] = ()) -> Sale:
    entries = (Settlement(1, means, paid, DAY, NOON, "Maeve"),) if paid else ()
    return Sale(
        id=1,
        token="token",
        code="HKBN04QA",
        quote_token="",
        revision=None,
        concluded="counter",
        made_at=NOON,
        made_on=DAY,
        contact=Contact("Some One"),
        delivery="collect",
        zone="",
        address="",
        tier_name="",
        tier_percent=0,
        agreed_share=(0, 0),
        policy_version=1,
        items=items,
        papers=papers,
        settlements=entries,
    )


def invoice(gross: int, percent: Decimal = VAT) -> Paper:
    return write_paper("invoice", 1, DAY, [PaperLine("A kit", gross, percent, item=1)], ())


@pytest.mark.parametrize(("amount", "rounded"), ROUNDED.items())
def test_cash_is_rounded_to_five_cent_either_way(amount: int, rounded: int) -> None:
    assert cash_rounded(amount) == rounded
    assert cash_rounded(-amount) == -rounded
    assert rounding_for("cash", rounded, amount, True) == amount - rounded
    assert rounding_for("terminal", rounded, amount, True) == 0
    assert rounding_for("cash", rounded, amount, False) == 0
    assert rounding_for("cash", rounded - 100, amount, True) == 0, "a part is not rounded"


@pytest.mark.parametrize(("gross", "vat"), INSIDE.items())
def test_the_vat_of_an_invoice_is_the_tax_inside_its_sum(gross: int, vat: int) -> None:
    [line] = invoice(gross).vat
    assert (line.vat, line.net, line.gross) == (vat, gross - vat, gross)


def test_a_trade_in_does_not_lower_the_value_of_what_is_supplied() -> None:
    # HMRC, VATVAL06110: goods at 100 with 10 allowed for the old ones; the value of the supply stays 100.
    paper = write_paper("invoice", 1, DAY, [PaperLine("Goods", 100_00, Decimal(0))], ())
    sold = sale(paper, paid=10_00, means="trade_in")
    assert paper.gross == 100_00
    assert [line.gross for line in paper.vat] == [100_00]
    assert sold.owed == 90_00


def test_the_margin_scheme_taxes_what_was_earned_and_gives_it_back_with_the_piece() -> None:
    # Directive 2006/112/EC, Articles 313 to 319: bought at 300.00 and sold at 450.00 at 23 %: 150.00 × 23 / 123.
    assert margin_vat(450_00, 300_00, VAT) == 28_05
    assert margin_vat(300_00, 450_00, VAT) == 0
    sold = write_paper("invoice", 1, DAY, [PaperLine("A used board", 450_00, VAT, "margin", 300_00, 1)], ())
    assert sold.vat == ()
    assert sold.has_margin_lines
    assert margin_vat_of((), sold) == 28_05
    lower = write_paper("credit_note", 2, DAY, [PaperLine("A used board", -50_00, VAT, "margin", 0, 1)], (sold,))
    back = write_paper("credit_note", 3, DAY, [PaperLine("A used board", -400_00, VAT, "margin", -300_00, 1)], ())
    assert margin_vat_of((sold,), lower) == margin_vat(400_00, 300_00, VAT) - 28_05
    assert sum(margin_vat_of(before, one) for before, one in (((), sold), ((sold,), lower), ((sold, lower), back))) == 0


amounts = st.integers(min_value=1, max_value=5_000_00)
rates = st.sampled_from([Decimal(23), Decimal("13.5"), Decimal(0)])


@given(
    sold=st.lists(st.tuples(amounts, rates), min_size=1, max_size=6), shares=st.lists(st.integers(1, 100), max_size=12)
)
def test_the_vat_of_all_papers_is_the_tax_inside_what_is_left_whatever_is_credited(
    sold: list[tuple[int, Decimal]], shares: list[int]
) -> None:
    lines = [PaperLine(f"Item {n}", gross, percent, item=n) for n, (gross, percent) in enumerate(sold)]
    papers = [write_paper("invoice", 1, DAY, lines, ())]
    left = [gross for gross, _ in sold]
    for number, share in enumerate(shares, start=2):
        place = number % len(sold)
        back = left[place] * share // 100
        left[place] -= back
        credit = [PaperLine("Back", -back, sold[place][1], item=place)]
        papers.append(write_paper("credit_note", number, DAY, credit, papers, corrects=1))
    for rate in {percent for _, percent in sold}:
        gross = sum(amount for amount, (_, percent) in zip(left, sold, strict=True) if percent == rate)
        written = sum(one.vat for paper in papers for one in paper.vat if one.percent == rate)
        assert written == vat_inside(gross, rate)
    assert owed(papers, ()) == sum(left)


def test_money_goes_back_as_it_came_unless_another_way_is_agreed() -> None:
    # Directive 2011/83/EU, Article 13(1): the same means of payment, unless the consumer has expressly agreed otherwise.
    money: list[tuple[Means, int]] = [
        ("cash", 50_00),
        ("terminal", 900_00),
        ("transfer", 400_00),
        ("transfer", -400_00),
    ]
    money.append(("trade_in", 100_00))
    entries = tuple(
        Settlement(number, means, amount, DAY, NOON, "Maeve") for number, (means, amount) in enumerate(money, start=1)
    )
    mistake = Mark("entry_back", NOON, "Maeve", "typed twice", {"entry": 3, "counter": 4})
    paid_so = replace(sale(), settlements=entries, marks=(mistake,))
    assert ways_paid(paid_so) == ("terminal", "cash")
    assert check_way_back(paid_so, "cash") is None
    assert check_way_back(sale(), "transfer") is None, "nothing was paid in money"
    fault = check_way_back(paid_so, "transfer")
    assert fault is not None
    assert fault.field == "means"
    assert [one.id for one in entries if may_be_taken_back(paid_so, one)] == [1, 2]


@pytest.mark.parametrize(
    ("gross", "means", "amount", "rounds", "words"),
    [
        (100_00, "terminal", 100_01, True, "Only 100.00 is left"),
        (100_00, "terminal", -1, True, "the customer who owes"),
        (-20_00, "cash", 5_00, True, "the shop that owes"),
        (-20_00, "cash", -20_01, False, "Only 20.00 is left"),
        (0, "cash", 1, True, "Nothing is left"),
        (100_00, "cash", 0, True, "not an amount"),
        (10_23, "cash", 10_25, True, ""),
        (10_23, "cash", 10_24, True, "Only 10.23 is left"),
        (-10_23, "cash", -10_24, True, "Only 10.23 is left"),
        (10_23, "terminal", 10_25, True, "Only 10.23 is left"),
        (-20_00, "transfer", -20_00, False, ""),
    ],
)
def test_nobody_pays_more_than_is_left_on_either_side(
    gross: int, means: Means, amount: int, rounds: bool, words: str
) -> None:
    fault = check_payment(sale(invoice(gross)), means, amount, rounds)
    assert (fault is None) is (words == "")
    assert words in (fault.message if fault else "")


def test_a_state_follows_the_goods_and_the_money() -> None:
    board = Item(1, "EEL-105", "Board", "board", 100_00, 100_00)
    leash = Item(2, "LEASH", "Leash", "board_leash", 0, 0)
    there, sent = {"received_on": DAY}, {"sent_on": DAY}

    def state(paid: int, *items: Item) -> str:
        return sale(invoice(100_00), paid=paid, items=items).state

    def like(item: Item, **changed: object) -> Item:
        return Item(**{**{name: getattr(item, name) for name in Item.__slots__}, **changed})

    assert state(99_99, board, leash) == "confirmed"
    assert state(100_00, board, leash) == "paid"
    assert state(100_00, like(board, **sent), leash) == "on_its_way"
    assert state(0, like(board, **there), leash) == "handed_over", "an extra that follows does not keep it open"
    assert state(0, like(board, **there, gone="returned"), like(leash, gone="returned")) == "returned"
    assert state(0, like(board, gone="withdrawn"), like(leash, gone="withdrawn")) == "withdrawn"


def test_what_is_missing_or_double_in_a_series_is_named() -> None:
    assert series_faults([1, 2, 3], 1, 3) == ()
    assert series_faults([], 1, 0) == ()
    assert series_faults([1, 3, 3], 1, 4) == ("2 is missing", "4 is missing", "3 is there 2 times")


def test_a_label_says_how_many_once() -> None:
    assert counted_label("3 private lessons", 3) == "3 private lessons"
    assert counted_label("Fin screw", 2) == "2 × Fin screw"
    assert counted_label("Board", 1) == "Board"
