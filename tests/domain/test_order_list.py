"""The order list: which days tell about which season, sizes by what they join, lines worked out, and the order of each maker."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from types import MappingProxyType

import pytest

from server.domain.order_list import (
    OwnChoice,
    Terms,
    There,
    Wanted,
    by_maker,
    counter_sales,
    meant_of,
    order_line,
    unlisted_line,
    usual_price,
    wanted_sizes,
)
from server.domain.ordering import Share, Stakes
from server.domain.policy import SEASONAL, Policy
from server.domain.seasons import Days, coming_season, days_to_count, season_of
from server.domain.size_classes import Asked
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


def test_this_season_is_the_one_that_goes_on_or_was_last() -> None:
    assert season_of(date(2026, 11, 25)) == Days(date(2026, 4, 1), date(2026, 9, 30))
    assert season_of(date(2027, 3, 31)) == Days(date(2026, 4, 1), date(2026, 9, 30))
    assert season_of(date(2027, 4, 1)) == Days(date(2027, 4, 1), date(2027, 4, 1))


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


def test_the_part_that_is_meant_is_at_its_plain_price_then_sold_most_and_then_the_cheapest() -> None:
    dear, cheap = part("board", "A", cost=900_00), part("board", "B", cost=800_00)
    cleared = part("board", "C", cost=700_00, price=2_000_00, markdown=1_500_00)
    assert meant_of((dear, cheap), {}, TODAY).sku == "B"
    assert meant_of((dear, cheap, cleared), {"A": 1, "C": 9}, TODAY).sku == "A"
    assert meant_of((cleared,), {}, TODAY).sku == "C"


def test_what_came_back_over_the_counter_leaves_no_size_with_less_than_nothing_sold() -> None:
    [one] = [one for one in wanted_sizes("mast", MASTS[:1], [], {}, {"C72": -1}) if one.parts]
    assert one.counter == counter_sales(one.parts, {"C72": -1}) == 0
    # Pieces of one size are netted first: two sold of one part and one of another that came back are one.
    assert counter_sales(MASTS[:2], {"C72": 2, "C85": -1}) == 1
    assert order_line(one, TERMS, NOTHING, {"C72": -1}, None) is not None


BOARDS = tuple(part("board", f"B{litres}", volume_l=litres) for litres in (158, 160, 165))
BEYOND = [
    # Missed, and nothing stocked would suit: beyond, though the nearest is less than a whole step of misfit away.
    (Asked("board", 176.8, "B165", True, 168.0, 212.2), "board:over"),
    # Missed only because none was free: an order for the size helps.
    (Asked("board", 166.0, "B165", True, 157.7, 199.2), "board:158"),
    # What suited is not known any more: half a step of misfit either way.
    (Asked("board", 176.8, is_unmet=True), "board:over"),
    (Asked("board", 166.0, is_unmet=True), "board:158"),
    # Not missed, so that something near did: only a whole step off is beyond.
    (Asked("board", 176.8, "B165", low=168.0, high=212.2), "board:158"),
    (Asked("board", 182.0, "B165"), "board:over"),
    (Asked("board", 150.0, "", True, 142.5, 155.0), "board:under"),
]


@pytest.mark.parametrize(("asked", "key"), BEYOND)
def test_a_size_missed_that_nothing_stocked_fits_is_beyond_what_is_stocked(asked: Asked, key: str) -> None:
    assert [one.key for one in wanted_sizes("board", BOARDS, [asked], {}, {}) if one.asked] == [key]


def test_a_size_in_a_gap_that_nothing_stocked_fits_is_between() -> None:
    wings = (part("hand_wing", "W4", area_m2=4.0), part("hand_wing", "W6", area_m2=6.0))
    asked = [Asked("hand_wing", 5.0, "W6", True, 4.7, 5.4)]
    assert [one.key for one in wanted_sizes("hand_wing", wings, asked, {}, {}) if one.asked] == ["hand_wing:between"]


def test_a_size_that_is_not_listed_suggests_nothing_and_says_what_to_ask_for() -> None:
    asked = [Asked("board", litres, "", True, litres * 0.95, litres * 1.2) for litres in (180.0, 176.8, 177.2)]
    [over] = [one for one in wanted_sizes("board", BOARDS, asked, {}, {}) if one.asked]
    line = unlisted_line(over, TERMS, None)
    assert line is not None
    assert (line.pieces, line.size, line.wanted.unmet, line.demand.mean) == (0, 177.2, 3, 1.5)
    chosen = unlisted_line(over, TERMS, OwnChoice(2))
    assert chosen is not None
    assert chosen.pieces == 2
    assert unlisted_line(replace(over, asked=0), TERMS, None) is None


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
