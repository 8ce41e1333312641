"""A part swapped for another size, worked out by hand; days and fees are the shop's own policy."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Literal

import pytest

from server.domain.policy import Policy
from server.domain.sales import Mark
from server.domain.swaps import last_day_to_swap, may_be_swapped, nearest_sizes, price_in_kit, work_out_swap
from tests.builders_returns import AT, NUMBER, RECEIVED, TODAY, VAT, kit_sold, sold
from tests.domain.builders import gear, part

WING = NUMBER["hand_wing"]


@pytest.mark.parametrize(
    ("lessons", "last"),
    [
        ([], "2026-07-08"),  # Handed over 8 June, 30 days.
        (["2026-06-20"], "2026-07-08"),  # One lesson is not the second.
        (["2026-05-20", "2026-07-05"], "2026-07-12"),  # The second on 5 July, and 7 days.
        (["2026-05-20", "2026-05-27"], "2026-07-08"),  # Both before: the later day holds.
    ],
)
def test_the_window_is_the_later_of_days_and_lessons(lessons: list[str], last: str) -> None:
    item = kit_sold().items[0]
    days = [date.fromisoformat(day) for day in lessons]
    assert last_day_to_swap(item, Policy().sales, days) == date.fromisoformat(last)
    assert last_day_to_swap(replace(item, received_on=None), Policy().sales, days) is None


@pytest.mark.parametrize(
    ("list_price", "marked_down", "agreed", "price"),
    [
        (1200_00, None, (1, 1), 936_00),  # 1,200.00 less 22 %.
        (1200_00, 900_00, (1, 1), 900_00),  # Marked down further than the kit's discount.
        (1200_00, None, (9, 10), 842_40),  # A tenth let off by hand: 936.00 x 0.9.
        (999_99, None, (1, 1), 779_99),  # 779.9922.
    ],
)
def test_the_new_part_costs_what_it_would_in_the_kit(
    list_price: int, marked_down: int | None, agreed: tuple[int, int], price: int
) -> None:
    wing = part("hand_wing", price=list_price, markdown=marked_down, since=date(2026, 1, 1))
    assert price_in_kit(wing, 22, agreed, TODAY) == price


def test_a_swap_is_the_difference_and_the_fee_and_keeps_the_discount() -> None:
    # The old wing 780.00 back, the new one 1,200.00 less 22 % is 936.00, the fee for a wing 55.00: 211.00 to pay.
    sale = kit_sold()
    old = sale.items[WING - 1]
    swap = work_out_swap(sale, old, part("hand_wing", price=1200_00), Policy(), Decimal(23), TODAY)
    assert swap.total == 780_00 - 936_00 - 55_00
    assert sum(line.gross for line in (*swap.credit, *swap.invoice)) == -swap.total
    assert (swap.new.takes_place_of, swap.new.is_tiered, swap.new.received_on) == (WING, True, TODAY)
    # To a smaller one of 800.00: 624.00 and the fee: 101.00 back.
    smaller = work_out_swap(sale, old, part("hand_wing", price=800_00), Policy(), VAT, TODAY)
    assert smaller.total == 780_00 - 624_00 - 55_00


@pytest.mark.parametrize("kind", ["returned", "withdrawn"])
def test_what_came_back_as_faulty_still_counts_for_the_discount_of_a_swap(
    kind: Literal["returned", "withdrawn"],
) -> None:
    sale = kit_sold()
    old = sale.items[WING - 1]
    wing = part("hand_wing", price=1200_00)
    whole = work_out_swap(sale, old, wing, Policy(), VAT, TODAY)
    less = replace(sale, items=(replace(sale.items[0], gone=kind), *sale.items[1:]))
    told = Mark(kind, AT, "Maeve", about={"kind": "fault", "items": [1]})
    assert work_out_swap(replace(less, marks=(told,)), old, wing, Policy(), VAT, TODAY).total == whole.total
    assert work_out_swap(less, old, wing, Policy(), VAT, TODAY).total < whole.total


def test_whether_the_new_part_has_the_discount_follows_from_its_own_price() -> None:
    # The old wing was marked down to 700.00 and had no kit discount; the new one has, and loses it with the kit.
    items = list(kit_sold().items)
    items[WING - 1] = replace(items[WING - 1], charged=700_00, alone=700_00, is_tiered=False)
    sale = sold(items)
    swap = work_out_swap(sale, items[WING - 1], part("hand_wing", price=1200_00), Policy(), VAT, TODAY)
    assert (swap.new.charged, swap.new.is_tiered) == (936_00, True)
    down = part("hand_wing", price=1200_00, markdown=900_00, since=date(2026, 1, 1))
    assert not work_out_swap(kit_sold(), kit_sold().items[WING - 1], down, Policy(), VAT, TODAY).new.is_tiered


def test_what_is_left_to_pay_with_a_swap_includes_what_was_owed_before() -> None:
    owing = replace(kit_sold(), settlements=())
    wing = part("hand_wing", price=1200_00)
    assert work_out_swap(kit_sold(), kit_sold().items[WING - 1], wing, Policy(), VAT, TODAY).left == 211_00
    assert work_out_swap(owing, owing.items[WING - 1], wing, Policy(), VAT, TODAY).left == 3900_00 + 211_00


def test_only_a_new_core_part_that_the_customer_has_is_swapped() -> None:
    wing = kit_sold().items[WING - 1]
    assert may_be_swapped(wing)
    for other in (
        replace(wing, takes_place_of=2),
        replace(wing, gone="returned"),
        replace(wing, received_on=None),
        replace(wing, piece=3),
    ):
        assert not may_be_swapped(other)
    assert not may_be_swapped(replace(wing, slot="pump"))
    assert RECEIVED < TODAY
    assert sold([wing]).state == "handed_over"


def test_the_nearest_sizes_join_what_is_left_of_the_kit() -> None:
    sizes = [part("mast", length_cm=size) for size in (65, 68, 80, 90)]
    other = part("mast", "OTHER", length_cm=74, track="deep")
    found = nearest_sizes(gear("mast", length_cm=72), [*sizes, other], [gear("board")])
    assert [one.sku for one in found] == ["MAST-68", "MAST-80"]
