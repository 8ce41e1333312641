"""The order list: which days tell about which season, sizes by what they join, lines worked out, and the order of each maker."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from types import MappingProxyType

import pytest

from server.domain.order_list import (
    Asked,
    Days,
    OwnChoice,
    Terms,
    There,
    Wanted,
    by_maker,
    coming_season,
    days_to_count,
    meant_of,
    order_line,
    usual_price,
    wanted_sizes,
)
from server.domain.ordering import Share, Stakes
from server.domain.policy import SEASONAL, Policy
from tests.domain.builders import TODAY, part

SEASONS = [
    (date(2026, 11, 25), date(2027, 4, 1)),
    (date(2027, 3, 31), date(2027, 4, 1)),
    (date(2027, 4, 1), date(2027, 4, 1)),
    (date(2027, 4, 2), date(2028, 4, 1)),
]
POLICY = replace(Policy(), end_of_season_value=MappingProxyType(dict.fromkeys(SEASONAL, Decimal("0.45"))))
TERMS = Terms(Share(0.5), 1.0, 0, POLICY, TODAY)
NOTHING = There({}, {}, {})


@pytest.mark.parametrize(("today", "first"), SEASONS)
def test_the_coming_season_is_the_next_that_has_not_begun(today: date, first: date) -> None:
    season = coming_season(today)
    assert season == Days(first, date(first.year, 9, 30))
    assert season.number == 183


COUNTED = [
    # Quotes were kept in the season before: the same days.
    (date(2026, 11, 25), date(2026, 5, 1), Days(date(2026, 4, 1), date(2026, 9, 30))),
    # None was: as many days up to today.
    (date(2026, 11, 25), date(2026, 10, 1), Days(date(2026, 5, 27), date(2026, 11, 25))),
    (date(2026, 11, 25), None, Days(date(2026, 5, 27), date(2026, 11, 25))),
    # The season before is not over yet: as far as it has come.
    (date(2027, 6, 30), date(2026, 5, 1), Days(date(2027, 4, 1), date(2027, 6, 30))),
]


@pytest.mark.parametrize(("today", "oldest", "days"), COUNTED)
def test_the_same_days_a_year_before_tell_about_a_season_if_there_was_anything(
    today: date, oldest: date | None, days: Days
) -> None:
    assert days_to_count(coming_season(today), today, oldest) == days


def test_the_usual_price_is_after_the_discount_or_the_markdown_and_extras_have_none() -> None:
    off = replace(TERMS, discount_percent=22)
    assert usual_price(part("board", price=2_000_00), off) == 1_560_00
    assert usual_price(part("board", price=2_000_00, markdown=1_500_00), off) == 1_500_00
    assert usual_price(part("pump", price=59_00), off) == 59_00


def test_the_part_that_is_meant_is_the_one_sold_most_and_then_the_cheapest() -> None:
    dear, cheap = part("board", "A", cost=900_00), part("board", "B", cost=800_00)
    assert meant_of((dear, cheap), {}).sku == "B"
    assert meant_of((dear, cheap), {"A": 1}).sku == "A"


MASTS = (
    part("mast", "C72", length_cm=72, mount="cone"),
    part("mast", "C85", length_cm=85, mount="cone"),
    part("mast", "S70", length_cm=70, mount="saddle"),
)


def test_a_size_is_asked_for_with_the_joins_of_the_part_that_was_offered() -> None:
    asked = [
        Asked("mast", 72, "C72"),
        Asked("mast", 72, "S70", is_unmet=True),
        Asked("mast", 76, "S70"),
        Asked("mast", 72, "gone"),
        Asked("mast", 30, "C72"),
    ]
    wanted = wanted_sizes("mast", MASTS, asked, {one.sku: one for one in MASTS}, {"C85": 2})
    told = {one.key: (one.asked, one.unmet, one.counter, len(one.parts)) for one in wanted if one.asked or one.parts}
    assert told == {
        "mast:72/slide/cone": (2, 0, 0, 1),
        "mast:85/slide/cone": (0, 0, 2, 1),
        "mast:70/slide/saddle": (1, 1, 0, 1),
        # A mast of 76 cm with a saddle is a whole misfit longer than the only one there is.
        "mast:over/slide/saddle": (1, 0, 0, 0),
        "mast:under/slide/cone": (1, 0, 0, 0),
    }


def test_boards_are_ordered_by_size_alone_whatever_their_track() -> None:
    boards = (part("board", "A", volume_l=100, track="slide"), part("board", "B", volume_l=102, track="box"))
    [one] = [one for one in wanted_sizes("board", boards, [], {}, {}) if one.parts]
    assert (one.key, len(one.parts)) == ("board:100", 2)


def test_what_is_held_is_spoken_for_and_what_is_due_counts() -> None:
    # 8 asked, half of them buy: 4 wanted with a variance of 4 + 0.25 × 8 = 6. Under 40.00, over 15.00: 8/11; the negative binomial
    # of mean 4 and variance 6 has its 0.727 quantile at 5 (scipy.stats.nbinom.ppf(8/11, 8, 2/3)).
    board = part("board", "A", price=123_00, cost=60_00)
    wanted = Wanted("board:104", "board", 8, 0, 0, (board,))
    line = order_line(wanted, TERMS, There({"A": 3}, {"A": 2}, {"A": 1}), {}, None)
    assert line is not None
    assert (line.stakes, line.suggestion.wanted, line.pieces) == (Stakes(40_00, 15_00), 5, 3)
    assert line.cost == 180_00
    assert order_line(replace(wanted, parts=()), TERMS, NOTHING, {}, None) is None


def test_the_owners_word_stands_over_what_is_suggested_and_another_part_has_its_own_stakes() -> None:
    parts = (part("board", "A", price=123_00, cost=60_00), part("board", "B", price=123_00, cost=90_00))
    wanted = Wanted("board:104", "board", 8, 0, 0, parts)
    line = order_line(wanted, TERMS, NOTHING, {}, OwnChoice(2, "B"))
    assert line is not None
    assert (line.part.sku, line.meant.sku, line.pieces, line.cost) == ("B", "A", 2, 180_00)
    assert line.stakes.under == 10_00
    stale = order_line(wanted, TERMS, NOTHING, {}, OwnChoice(2, "GONE"))
    assert stale is not None
    assert stale.part.sku == "A"


def test_each_maker_has_one_order_and_a_part_stands_in_it_once() -> None:
    lines = [
        order_line(
            Wanted(f"board:{number}", "board", 0, 0, 0, (part("board", sku, maker=maker, cost=10_00),)),
            TERMS,
            NOTHING,
            {},
            OwnChoice(pieces),
        )
        for number, (sku, maker, pieces) in enumerate(
            [("Z", "Dunlin", 2), ("B", "Godwit", 1), ("Z", "Dunlin", 3), ("A", "Dunlin", 0)]
        )
    ]
    makers = by_maker([line for line in lines if line is not None])
    assert [(one.maker, [(sold.sku, pieces) for sold, pieces in one.parts], one.cost) for one in makers] == [
        ("Dunlin", [("Z", 5)], 50_00),
        ("Godwit", [("B", 1)], 10_00),
    ]
