"""A part's prices with their days, and how a change of price changes them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.prices import (
    NOT_SOLD,
    HistoryChange,
    Markdown,
    PricePoint,
    deciding_day,
    history_after,
    reduction_from,
    spells_of,
)

SKU = "DUN-72"
TODAY = date(2026, 11, 25)


def ago(days: int, price: int) -> PricePoint:
    return PricePoint(SKU, TODAY - timedelta(days=days), price)


def test_the_day_that_decides_is_the_first_of_the_thirty_on_which_the_lowest_price_was_in_force() -> None:
    # 550 three weeks ago, 800 last week, now 500: the 550 decides (published Irish legal note on Dir. 98/6/EC, Art. 6a).
    assert deciding_day([ago(90, 900), ago(21, 550), ago(7, 800)], TODAY) == ago(21, 550)
    assert deciding_day([ago(90, 500)], TODAY) == ago(30, 500), "a price from before counts from the first of the days"
    assert deciding_day([ago(40, 500), ago(30, 700)], TODAY) == ago(30, 700), "the 31st day before does not"
    assert deciding_day([ago(0, 500)], TODAY) is None


def test_a_history_is_prices_with_their_days() -> None:
    spells = spells_of([ago(7, 800), ago(21, 550), ago(14, 550)])
    assert [(spell.price, spell.since, spell.until) for spell in spells] == [
        (550, TODAY - timedelta(days=21), TODAY - timedelta(days=8)),
        (800, TODAY - timedelta(days=7), None),
    ]
    assert spells_of([]) == ()


@pytest.mark.parametrize(
    ("known", "price", "markdown", "put", "gone"),
    [
        ([], 100, None, [ago(0, 100)], []),
        ([ago(9, 100)], 100, None, [], []),
        ([ago(9, 100)], 120, None, [ago(0, 120)], []),
        ([ago(9, 100), ago(0, 120)], 130, None, [ago(0, 130)], []),
        ([ago(9, 100), ago(0, 120)], 100, None, [], [ago(0, 0).since]),
        ([ago(9, 100)], 100, Markdown(80, ago(3, 0).since), [ago(0, 80)], []),
        ([ago(9, 100)], 100, Markdown(80), [ago(0, 80)], []),
        ([ago(9, 100), ago(3, 80)], 100, Markdown(70, ago(3, 0).since), [ago(0, 70)], []),
        ([ago(9, 100), ago(3, 80)], 100, None, [ago(0, 100)], []),
        ([ago(9, 100)], 100, Markdown(80, ago(-4, 0).since), [ago(-4, 80)], []),
        ([ago(9, 100), ago(-4, 80)], 100, Markdown(80, ago(-4, 0).since), [], []),
        ([ago(9, 100), ago(-4, 80)], 100, None, [], [ago(-4, 0).since]),
    ],
    ids=[
        "the first price",
        "the same price",
        "another price",
        "another price on the same day",
        "put right on the same day",
        "said to be marked down since a day past",
        "marked down since nobody knows when",
        "marked down further",
        "no longer marked down",
        "marked down from a day to come",
        "announced already",
        "announced no more",
    ],
)
def test_a_change_of_price_is_put_down_for_its_day(
    known: list[PricePoint], price: int, markdown: Markdown | None, put: list[PricePoint], gone: list[date]
) -> None:
    assert history_after(SKU, price, markdown, known, TODAY) == HistoryChange(tuple(put), tuple(gone))


days = st.integers(-20, 60)
prices = st.integers(1, 5)


@given(
    st.dictionaries(days, prices, max_size=6),
    prices,
    st.none() | st.tuples(prices, st.none() | days),
)
def test_after_a_change_the_history_says_what_is_charged_today_and_a_second_time_nothing_changes(
    known: dict[int, int], price: int, marked: tuple[int, int | None] | None
) -> None:
    points = {point.since: point for point in (ago(*one) for one in known.items())}
    markdown = None
    if marked is not None:
        markdown = Markdown(marked[0], None if marked[1] is None else ago(marked[1], 0).since)
    change = history_after(SKU, price, markdown, points.values(), TODAY)
    after = {since: point for since, point in points.items() if since not in change.gone}
    after |= {point.since: point for point in change.put}
    charged = markdown.price if markdown is not None and markdown.holds_on(TODAY) else price
    assert spells_of(p for p in after.values() if p.since <= TODAY)[-1].price == charged
    assert history_after(SKU, price, markdown, after.values(), TODAY) == HistoryChange()
    past = {since: point for since, point in points.items() if since < TODAY}
    assert past.items() <= after.items()


def test_a_markdown_from_before_the_shop_kept_its_prices_is_put_down_for_its_day() -> None:
    marked = Markdown(80, ago(3, 0).since)
    change = history_after(SKU, 100, marked, [ago(9, 100)], TODAY, was_watched=False)
    assert change == HistoryChange((ago(3, 80),))


# What was known, what is charged now, the lowest at which it was offered today → points put and days taken out.
OF_ONE_DAY = {
    "lowered, seen and raised again": ([ago(9, 100), ago(0, 50)], 100, 50, [ago(-1, 100)], []),
    "lowered, seen and raised to less": ([ago(9, 100), ago(0, 50)], 80, 50, [ago(-1, 80)], []),
    "lowered and raised again before anybody saw it": ([ago(9, 100), ago(0, 50)], 100, None, [], [ago(0, 0).since]),
    "offered before it was lowered only": ([ago(9, 100), ago(0, 50)], 100, 100, [], [ago(0, 0).since]),
    "raised again already": ([ago(9, 100), ago(0, 50), ago(-1, 100)], 100, None, [], []),
    "raised again, and lowered after all": (
        [ago(9, 100), ago(0, 50), ago(-1, 100)],
        50,
        50,
        [],
        [ago(-1, 0).since],
    ),
    "taken off sale": ([ago(9, 100)], None, 100, [ago(0, NOT_SOLD)], []),
    "put on sale again": ([ago(9, 100), ago(5, NOT_SOLD)], 100, None, [ago(0, 100)], []),
}


@pytest.mark.parametrize(("known", "price", "offered", "put", "gone"), OF_ONE_DAY.values(), ids=OF_ONE_DAY)
def test_the_lowest_price_at_which_a_part_was_offered_stays_the_price_of_the_day(
    known: list[PricePoint], price: int | None, offered: int | None, put: list[PricePoint], gone: list[date]
) -> None:
    assert history_after(SKU, price, None, known, TODAY, offered=offered) == HistoryChange(tuple(put), tuple(gone))


def test_a_price_nobody_was_asked_for_decides_nothing() -> None:
    marked = Markdown(2000, TODAY)
    assert reduction_from([ago(90, 2589), ago(40, NOT_SOLD), ago(0, 2000)], marked) is None
    partly = reduction_from([ago(90, 2589), ago(20, NOT_SOLD), ago(0, 2000)], marked)
    assert partly is not None
    assert (partly.prior, partly.decided_on) == (2589, ago(30, 0).since)


def test_less_than_thirty_known_days_let_nothing_be_called_reduced() -> None:
    # Dir. 98/6/EC, Art. 6a (2): a period of time not shorter than 30 days.
    marked = Markdown(150, TODAY)
    assert reduction_from([ago(29, 300), ago(0, 150)], marked) is None
    assert reduction_from([ago(30, 300), ago(0, 150)], marked) is not None
