"""The till's day is booked once, whole or not at all, part by part, and taken back in the counter's list of its day."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from itertools import accumulate

import pytest

from server.domain.errors import Conflict, InvalidInput
from server.persistence.stock import load_movements, load_on_hand
from server.usecases.counter import sales_on, take_sale_back
from server.usecases.stock import book_movement
from server.usecases.till import MOST_BYTES, TillDay, book_till, counter_days, left_to_look_at, read_till
from server.usecases.work import Shop
from tests.builders_shop import Clock

HEADER = "receipt,day,code,pieces,price\n"
DAY = date(2026, 11, 24)
FILE = (
    HEADER
    + "1,2026-11-24,WRK-PUMP1,1,55.00\n"
    + "1,2026-11-24,2160041000372,1,\n"
    + "2,2026-11-24,WRK-FIRST,2,100.00\n"
    + "3,2026-11-24,WRK-PUMP1,-1,59.00\n"
).encode()
FAULTY = [
    ("1,2026-11-24,NO-SUCH,1,", 2, "code", "has no NO-SUCH"),
    ("1,2026-11-24,2160041000373,1,", 2, "code", "is no GTIN"),
    ("1,2026-11-24,WRK-PUMP1,0,", 2, "pieces", "not accepted"),
    ("1,2026-11-24,WRK-PUMP1,1,-5", 2, "price", "not accepted"),
    ("1,2026-11-26,WRK-PUMP1,1,", 2, "day", "still to come"),
    ("1,24.11.2026,WRK-PUMP1,1,", 2, "day", "not accepted"),
    (",2026-11-24,WRK-PUMP1,1,", 2, "receipt", "blank"),
]


def looked_at(shop: Shop, content: bytes = FILE) -> TillDay:
    with shop.reading("Orla") as work:
        return read_till(work, content)


def booked(shop: Shop, content: bytes = FILE, shown: str = "") -> TillDay:
    shown = shown or looked_at(shop, content).digest
    with shop.writing("Orla") as work:
        return book_till(work, content, shown)


def on_hand(shop: Shop) -> Mapping[str, int]:
    with shop.reading() as work:
        return load_on_hand(work.session)


def test_a_day_is_booked_by_part_once_and_stands_in_its_days_list(shop: Shop) -> None:
    before = on_hand(shop)
    day = looked_at(shop)
    assert [(line.item.sku, line.pieces, line.price) for line in day.lines] == [
        ("WRK-PUMP1", 1, 55_00),
        ("WRK-PUMP1", 1, 59_00),
        ("WRK-FIRST", 2, 100_00),
        ("WRK-PUMP1", -1, 59_00),
    ]
    assert {one.part.sku: (one.sold, one.back) for one in day.changes} == {
        "WRK-BLM": (2, 0),
        "WRK-PUMP1": (2, 1),
        "WRK-TK2": (2, 0),
        "WRK-WLM": (2, 0),
    }
    assert sum(one.amount for one in day.changes) == day.amount == 255_00
    assert on_hand(shop) == before
    booked(shop)
    after = on_hand(shop)
    assert {sku: before[sku] - after[sku] for sku in before if before[sku] != after[sku]} == {
        "WRK-BLM": 2,
        "WRK-PUMP1": 1,
        "WRK-TK2": 2,
        "WRK-WLM": 2,
    }
    again = booked(shop)
    assert (again.lines, again.known) == ((), 4)
    assert on_hand(shop) == after
    with shop.reading() as work:
        acts = sales_on(work, DAY)
        assert [(act.sku, act.pieces, act.amount) for act in acts][1] == ("WRK-FIRST", 2, 200_00)
        assert sum(act.amount for act in acts) == 255_00
        assert [(one.sales, one.amount) for one in counter_days(work)][:3] == [(0, 0), (4, 255_00), (0, 0)]
    for act in acts:
        with shop.writing("Maeve") as work:
            take_sale_back(work, act.id)
    assert on_hand(shop) == before
    assert booked(shop).known == 4


def test_the_rest_of_a_day_is_booked_when_the_file_has_grown(shop: Shop) -> None:
    booked(shop)
    day = booked(shop, FILE + b"9,2026-11-24,WRK-HM,1,\n1,2026-11-24,WRK-PUMP1,1,\n")
    assert (day.known, [line.receipt for line in day.lines]) == (4, ["9", "1"])


@pytest.mark.parametrize(("row", "number", "column", "words"), FAULTY)
def test_one_fault_keeps_all_of_it_out(shop: Shop, row: str, number: int, column: str, words: str) -> None:
    content = (HEADER + row + "\n5,2026-11-24,WRK-HM,1,\n").encode()
    [fault] = looked_at(shop, content).faults
    assert (fault.row, fault.column) == (number, column)
    assert words in fault.message
    before = on_hand(shop)
    with pytest.raises(InvalidInput):
        booked(shop, content)
    assert on_hand(shop) == before


def test_a_line_that_was_booked_as_something_else_is_a_fault(shop: Shop) -> None:
    booked(shop)
    [fault] = looked_at(shop, FILE.replace(b"WRK-FIRST,2,100.00", b"WRK-FIRST,1,100.00")).faults
    assert (fault.row, "booked as 2 × WRK-FIRST for 200.00" in fault.message) == (4, True)


def test_what_changed_since_it_was_shown_is_shown_again(shop: Shop) -> None:
    shown = looked_at(shop).digest
    with shop.writing() as work:
        book_movement(work, "WRK-PUMP1", "count", 0, "counted")
    with pytest.raises(Conflict, match="something else"):
        booked(shop, FILE, shown)


def test_more_sold_than_the_ledger_has_is_booked_as_found_first(shop: Shop, clock: Clock) -> None:
    clock.forward(days=2)
    with shop.writing() as work:
        book_movement(work, "WRK-PUMP1", "count", 0, "counted")
    day = booked(shop, FILE.replace(b"11-24", b"11-26"))
    assert {one.part.sku: one.missing for one in day.changes if one.missing} == {"WRK-PUMP1": 2}
    with shop.reading() as work:
        last = [(one.kind, one.change) for one in load_movements(work.session, "WRK-PUMP1")[-4:]]
        assert [(one.part.sku, one.found) for one in left_to_look_at(work, ["WRK-PUMP1", "WRK-HM", "?"])] == [
            ("WRK-PUMP1", 2)
        ]
    assert last == [("count", 2), ("counter_sale", -1), ("counter_sale", -1), ("returned", 1)]
    assert on_hand(shop)["WRK-PUMP1"] == 1
    assert {one.part.sku for one in day.changes if one.counted_at} == {"WRK-PUMP1"}, "the shelf was counted since"


@pytest.mark.parametrize(
    "rows", [("12:00,WRK-PUMP1,1", "11:00,WRK-PUMP1,-1"), ("11:00,WRK-PUMP1,1", "12:00,WRK-PUMP1,-1")]
)
def test_the_ledger_is_never_below_zero_while_a_day_is_booked(shop: Shop, rows: tuple[str, str]) -> None:
    with shop.writing() as work:
        book_movement(work, "WRK-PUMP1", "count", 0, "counted")
    text = "receipt,time,code,pieces\n" + "".join(f"{n},2026-11-24 {row}\n" for n, row in enumerate(rows))
    booked(shop, text.encode())
    with shop.reading() as work:
        changes = [one.change for one in load_movements(work.session, "WRK-PUMP1")]
    assert min(accumulate(changes)) >= 0


def test_what_is_counted_by_hand_wants_no_look_any_more(shop: Shop) -> None:
    booked(shop, (HEADER + "1,2026-11-24,WRK-PUMP1,200,\n").encode())
    with shop.writing() as work:
        assert [one.part.sku for one in left_to_look_at(work, ["WRK-PUMP1"])] == ["WRK-PUMP1"]
        book_movement(work, "WRK-PUMP1", "count", 3, "on the shelf")
    with shop.reading() as work:
        assert left_to_look_at(work, ["WRK-PUMP1"]) == ()


def test_the_file_may_come_as_a_spreadsheet_saves_it(shop: Shop) -> None:
    text = "\ufeffreceipt;line;time;code;pieces;price\r\n7;1;2026-11-24 15:30;wrk-pump1;1;54,90\r\n"
    [line] = looked_at(shop, text.encode()).lines
    assert (line.price, line.at.isoformat()) == (54_90, "2026-11-24T15:30:00+00:00")
    twice = text + "7;1;2026-11-24 15:31;WRK-HM;1;\r\n"
    assert [fault.column for fault in looked_at(shop, twice.encode()).faults] == ["line"]
    with pytest.raises(InvalidInput, match="too large"):
        looked_at(shop, b"x" * (MOST_BYTES + 1))
