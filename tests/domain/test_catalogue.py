"""Parts, shelves and what may be called a reduced price."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Shelf
from server.domain.prices import PricePoint, prior_price
from tests.domain.builders import TODAY, catalogue, gear, part, shelf, spot

SKU = "GWT-1"


def days_ago(days: int, price: int, reduced_from: date = TODAY) -> PricePoint:
    return PricePoint(SKU, reduced_from - timedelta(days=days), price)


# --- Reductions: Directive 98/6/EC, Article 6a: the prior price is the lowest of the 30 days before ------------------


def test_half_price_is_half_of_the_lowest_price_of_the_thirty_days_before() -> None:
    # Example of the EU's campaign: lowest 20, last 40, "50 % off": the prior price is 20 and the new one 10.
    history = [days_ago(90, 40_00), days_ago(20, 20_00), days_ago(10, 40_00)]
    assert prior_price(history, TODAY) == 20_00
    reduced = part("tail", SKU, price=40_00, markdown=10_00, since=TODAY)
    reduction = catalogue([reduced], history={SKU: history}).reduction_of(reduced, TODAY)
    assert reduction is not None
    assert (reduction.prior, reduction.now, reduction.percent) == (20_00, 10_00, 50)


def test_a_price_raised_just_before_the_sale_does_not_count() -> None:
    # Published Irish legal note: 550 three weeks ago, 800 last week, now 500: 550 is the prior price, so 9.09 % off.
    # The note leaves open what it cost before; here it was sold at 800.
    history = [days_ago(90, 800_00), days_ago(21, 550_00), days_ago(7, 800_00)]
    assert prior_price(history, TODAY) == 550_00
    reduced = part("board", SKU, price=800_00, markdown=500_00, since=TODAY)
    reduction = catalogue([reduced], history={SKU: history}).reduction_of(reduced, TODAY)
    assert reduction is not None
    assert reduction.since == TODAY
    # Own arithmetic: 50/550.
    assert reduction.percent == pytest.approx(9.09, abs=0.005)


# History as (days before the reduction, price), prior price.
HISTORIES: list[tuple[list[tuple[int, int]], int | None]] = [
    ([], None),
    ([(0, 100)], None),
    ([(-1, 100)], None),
    ([(1, 100)], 100),
    ([(400, 100)], 100),
    # A price that ended on the thirty-first day before is forgotten; one that still held on the thirtieth counts.
    ([(60, 50), (30, 100)], 100),
    ([(60, 50), (29, 100)], 50),
    ([(31, 100), (30, 90), (29, 110)], 90),
    ([(60, 100), (0, 20)], 100),
    # The order in which the history was written does not matter.
    ([(7, 800), (21, 550)], 550),
]


@pytest.mark.parametrize(("points", "prior"), HISTORIES)
def test_the_prior_price_is_the_lowest_in_force_on_any_of_the_thirty_days(
    points: list[tuple[int, int]], prior: int | None
) -> None:
    assert prior_price([days_ago(*point) for point in points], TODAY) == prior


@given(
    st.dictionaries(st.integers(min_value=-5, max_value=70), st.integers(min_value=1, max_value=500), max_size=8),
)
def test_the_prior_price_is_found_by_asking_each_of_the_thirty_days(prices: dict[int, int]) -> None:
    def in_force(days_before: int) -> int | None:
        earlier = [days for days in prices if days >= days_before]
        return prices[min(earlier)] if earlier else None

    asked = [in_force(days_before) for days_before in range(1, 31)]
    expected = min((price for price in asked if price is not None), default=None)
    assert prior_price([days_ago(*point) for point in prices.items()], TODAY) == expected


def test_nothing_is_called_reduced_that_is_not_below_its_prior_price() -> None:
    for now, prior in ((90_00, 90_00), (95_00, 90_00)):
        piece = part("tail", SKU, price=100_00, markdown=now, since=TODAY)
        assert catalogue([piece], history={SKU: [days_ago(60, prior)]}).reduction_of(piece, TODAY) is None


def test_nothing_is_called_reduced_without_a_markdown_its_day_or_a_history() -> None:
    history = {SKU: [days_ago(60, 100_00)]}
    plain = part("tail", SKU, price=100_00)
    assert catalogue([plain], history=history).reduction_of(plain, TODAY) is None
    without_day = part("tail", SKU, price=100_00, markdown=80_00)
    assert catalogue([without_day], history=history).reduction_of(without_day, TODAY) is None
    unknown = part("tail", SKU, price=100_00, markdown=80_00, since=TODAY)
    assert catalogue([unknown]).reduction_of(unknown, TODAY) is None
    tomorrow = part("tail", SKU, price=100_00, markdown=80_00, since=TODAY + timedelta(days=1))
    assert catalogue([tomorrow], history=history).reduction_of(tomorrow, TODAY) is None


# --- Prices on a day ------------------------------------------------------------------------------------------------


def test_a_markdown_holds_from_its_day_on() -> None:
    piece = part("tail", price=100_00, markdown=80_00, since=TODAY)
    assert piece.price_on(TODAY - timedelta(days=1)) == 100_00
    assert piece.markdown_on(TODAY - timedelta(days=1)) is None
    assert piece.price_on(TODAY) == piece.markdown_on(TODAY) == 80_00


def test_a_markdown_without_a_day_holds_always() -> None:
    assert part("tail", price=100_00, markdown=80_00).price_on(date(2000, 1, 1)) == 80_00


# --- Shelves --------------------------------------------------------------------------------------------------------


def test_parts_of_a_slot_are_told_by_sku_and_only_those_on_sale() -> None:
    shop = catalogue([part("mast", "B"), part("mast", "A"), part("mast", "C", sold=False), part("tail", "D")])
    assert [piece.sku for piece in shop.sold_in("mast")] == ["A", "B"]
    assert shop.sold_in("pump") == ()


def test_the_dearest_list_price_leaves_out_what_is_not_sold_and_looks_through_markdowns() -> None:
    shop = catalogue(
        [
            part("mast", "A", price=500_00),
            part("mast", "B", price=700_00, markdown=300_00),
            part("mast", "C", price=900_00, sold=False),
        ]
    )
    assert shop.dearest_list_price("mast") == 700_00
    assert shop.dearest_list_price("board") is None


def test_a_part_is_free_while_it_is_sold_and_one_is_left() -> None:
    here, gone, held, retired = (part("mast", sku, sold=sku != "D") for sku in "ABCD")
    shop = catalogue([here, gone, held, retired])
    on = Shelf(shop, {"A": 1, "B": 0, "D": 4})
    assert [piece.sku for piece in (here, gone, held, retired) if on.is_free(piece)] == ["A"]
    assert on.core["mast"] == on.free_in("mast") == (here,)
    assert on.core["board"] == ()


def test_a_shelf_knows_the_free_extras_too() -> None:
    on = shelf(part("pump", "P1"), part("pump", "P2"), free={"P2": 0})
    assert [piece.sku for piece in on.free_in("pump")] == ["P1"]


# --- Gear and spots -------------------------------------------------------------------------------------------------


def test_gear_is_asked_for_its_measures_by_name() -> None:
    board = gear("board", volume_l=104)
    assert board.size == board.number("volume_l") == 104
    assert board.text("track") == "slide"
    assert board.text("construction") == ""
    assert board.number_or("rider_max_kg", 999) == 999
    with pytest.raises(KeyError):
        board.number("rider_max_kg")


@pytest.mark.parametrize(
    ("slot", "size"),
    [("board", 104), ("mast", 72), ("fuselage", 70), ("front_foil", 1600), ("tail", 300), ("hand_wing", 5.5)],
)
def test_each_slot_is_sized_by_its_own_measure(slot: str, size: float) -> None:
    assert gear(slot).size == size


def test_a_spots_riding_wind_comes_from_its_own_climate() -> None:
    calm, windy = spot(means_kn=(9.0,) * 12), spot(means_kn=(16.0,) * 12)
    steady_winds = spot(means_kn=(16.0,) * 12, shape=3.0)
    assert calm.riding_wind_kn < windy.riding_wind_kn
    assert steady_winds.riding_wind_kn != windy.riding_wind_kn
