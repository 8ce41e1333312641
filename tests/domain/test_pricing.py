"""Money against arithmetic written out, and the rules that no price may break."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Part, Shelf
from server.domain.deposits import PaidLesson
from server.domain.policy import IncludedLessons, Policy, Tier
from server.domain.prices import PricePoint
from server.domain.pricing import (
    Breakdown,
    Line,
    Margin,
    bought_one_by_one,
    delivery_fee,
    extra_for,
    lesson_words,
    margin_of,
    price_core,
    price_kit,
    tier_for,
)
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from tests.domain.builders import LESSONS, SHOP, TODAY, ZONES, answers, catalogue, extra, lesson, part, shelf, whole_kit
from tests.domain.by_hand import half_up

FOIL = ("mast", "fuselage", "front_foil", "tail")
CENTS = {
    "board": 1_899_99,
    "mast": 649_50,
    "fuselage": 249_33,
    "front_foil": 899_01,
    "tail": 299_05,
    "hand_wing": 1_249_07,
}
ODD_KIT = [part(slot, price=price) for slot, price in CENTS.items()]


def only(*slots: str) -> list[Part]:
    return [piece for piece in ODD_KIT if piece.slot in slots]


def priced(
    bought: Sequence[Part],
    *others: Part,
    lessons: Sequence[PaidLesson] = (),
    free: dict[str, int] | None = None,
    policy: Policy | None = None,
    **told: Any,
) -> Breakdown:
    on = shelf(*bought, *others, free=free, policy=policy)
    return price_kit(bought, answers(on.catalogue, **told), lessons, on, TODAY)


def line_of(breakdown: Breakdown, slot: str) -> Line:
    (line,) = [line for line in breakdown.lines if line.slot == slot]
    return line


def charged(lines: Sequence[Line]) -> dict[str, int]:
    return {line.slot: line.charged for line in lines}


# --- Tiers -----------------------------------------------------------------------------------------------------------

# Slots bought, per cent of the tier that holds under the ordinary terms.
TIERS: list[tuple[tuple[str, ...], int | None]] = [
    (CORE_SLOTS, 22),
    (tuple(slot for slot in CORE_SLOTS if slot != "board"), 16),
    (tuple(slot for slot in CORE_SLOTS if slot != "tail"), 16),
    (FOIL, 10),
    (("board", "mast", "fuselage", "front_foil"), None),
    (("board", "hand_wing"), None),
    ((), None),
]


@pytest.mark.parametrize(("slots", "percent"), TIERS)
def test_a_tier_holds_by_how_many_of_its_parts_are_bought(slots: tuple[str, ...], percent: int | None) -> None:
    tier = tier_for(slots, Policy())
    assert (tier.percent if tier else None) == percent


def test_of_tiers_that_hold_the_highest_percentage_applies() -> None:
    policy = Policy(tiers=(Tier("low", FOIL, 4, 5), Tier("high", FOIL, 3, 12), Tier("mid", FOIL, 4, 8)))
    tier = tier_for(FOIL, policy)
    assert tier is not None
    assert tier.name == "high"


def test_all_six_are_22_per_cent_off_and_the_lines_add_up_to_the_cent() -> None:
    lines, tier = price_core(ODD_KIT, Policy(), TODAY)
    # Own arithmetic: 22 % of 5,245.95 is 1,154.109; the exact shares leave 0.78 of a cent with the board and 0.54 with the
    # hand wing as the largest remainders, so these two get the cents left over.
    assert tier is not None
    assert (tier.name, tier.percent, tier.discount) == ("Whole kit", 22, 1_154_11)
    assert [line.discount for line in lines] == [418_00, 142_89, 54_85, 197_78, 65_79, 274_80]
    assert sum(line.charged for line in lines) == 5_245_95 - 1_154_11
    assert [line.slot for line in lines] == list(CORE_SLOTS)


def test_five_are_16_per_cent_off() -> None:
    lines, tier = price_core(only(*CORE_SLOTS[:2], *CORE_SLOTS[3:]), Policy(), TODAY)
    # Own arithmetic: 16 % of 4,996.62 is 799.4592; remainders of 0.84 (board) and 0.80 (tail) are the largest.
    assert tier is not None
    assert (tier.percent, tier.discount) == (16, 799_46)
    assert [line.discount for line in lines] == [304_00, 103_92, 143_84, 47_85, 199_85]


def test_the_foil_alone_is_10_per_cent_off() -> None:
    lines, tier = price_core(only(*FOIL), Policy(), TODAY)
    # Own arithmetic: 10 % of 2,096.89 is 209.689; the tail has the largest remainder.
    assert tier is not None
    assert (tier.percent, tier.discount) == (10, 209_69)
    assert [line.discount for line in lines] == [64_95, 24_93, 89_90, 29_91]


def test_less_than_a_tier_is_at_list_price() -> None:
    lines, tier = price_core(only("board", "hand_wing"), Policy(), TODAY)
    assert tier is None
    assert [line.charged for line in lines] == [1_899_99, 1_249_07]


def test_of_equal_remainders_the_earlier_lines_get_the_cents() -> None:
    # Own arithmetic: 22 % of 6 × 1.03 is 1.3596, so 1.36: 22 cents each and four over.
    lines, _ = price_core([part(slot, price=1_03) for slot in CORE_SLOTS], Policy(), TODAY)
    assert [line.discount for line in lines] == [23, 23, 23, 23, 22, 22]


# --- Markdowns -------------------------------------------------------------------------------------------------------


def with_markdown(now: int, ties: bool = True, price: int = 1_250_00) -> tuple[list[Line], int]:
    """The lines of six parts with a marked-down hand wing, and the tier's part of the discount."""
    kit = whole_kit(hand_wing=part("hand_wing", price=price, markdown=now))
    lines, tier = price_core(kit, Policy(markdown_wins_ties=ties), TODAY)
    assert tier is not None
    return lines, tier.discount


def test_a_markdown_that_beats_the_tier_is_what_its_line_costs() -> None:
    lines, tier_discount = with_markdown(974_99)
    # Own arithmetic: 78 % of 1,250.00 is 975.00; 22 % of the other five, 3,995.00, is 878.90.
    assert lines[-1].charged == 974_99
    assert lines[-1].list == 1_250_00
    assert lines[-1].discount == 275_01
    assert tier_discount == 878_90


def test_a_markdown_equal_to_the_tier_wins_unless_the_owner_says_otherwise() -> None:
    lines, tier_discount = with_markdown(975_00)
    assert (lines[-1].charged, tier_discount) == (975_00, 878_90)
    lines, tier_discount = with_markdown(975_00, ties=False)
    assert (lines[-1].charged, tier_discount) == (975_00, 878_90 + 275_00)


def test_a_markdown_that_loses_to_the_tier_does_not_count_and_does_not_stack() -> None:
    lines, tier_discount = with_markdown(975_01)
    assert lines[-1].list == 1_250_00
    assert lines[-1].charged == 975_00
    assert tier_discount == 1_153_90


def test_markdown_and_tier_are_compared_exactly_not_after_rounding() -> None:
    # Own arithmetic: 78 % of 3.33 is 2.5974; a markdown to 2.60 loses though both round to 2.60, one to 2.59 wins.
    kit = [part(slot, price=3_33, markdown=2_60) for slot in CORE_SLOTS]
    lines, tier = price_core(kit, Policy(), TODAY)
    assert tier is not None
    # Own arithmetic: 22 % of 19.98 is 4.3956.
    assert tier.discount == 4_40
    assert sum(line.charged for line in lines) == 15_58
    kit = [part(slot, price=3_33, markdown=2_59) for slot in CORE_SLOTS]
    lines, tier = price_core(kit, Policy(), TODAY)
    assert tier is not None
    assert tier.discount == 0
    assert [line.charged for line in lines] == [2_59] * 6


def test_without_a_tier_a_markdown_is_what_a_part_costs() -> None:
    lines, tier = price_core([part("board", markdown=1_500_00)], Policy(), TODAY)
    assert tier is None
    assert lines[0].charged == 1_500_00


def test_a_line_says_what_its_part_costs_by_itself_and_a_former_price_only_where_the_law_lets_it() -> None:
    # Dir. 98/6/EC, Art. 6a: the mast was marked down for less than the 30 days before, so that nothing may be said of it.
    mast = part("mast", "M", price=500_00, markdown=300_00, since=TODAY)
    tail = part("tail", "T", price=400_00, markdown=300_00, since=TODAY)
    pump = extra("pump", "P")
    days = {ago: TODAY - timedelta(days=ago) for ago in (90, 20, 10)}
    history = {
        "M": [PricePoint("M", days[90], 500_00), PricePoint("M", days[20], 300_00), PricePoint("M", days[10], 500_00)],
        "T": [PricePoint("T", days[90], 400_00), PricePoint("T", days[20], 350_00), PricePoint("T", days[10], 400_00)],
    }
    on = shelf(mast, tail, pump, history=history)
    kit = [mast, tail]
    lines = {line.sku: line for line in price_kit(kit, answers(on.catalogue, extras=["pump"]), (), on, TODAY).lines}
    assert (lines["M"].alone, lines["M"].off, lines["M"].prior, lines["M"].percent_reduced) == (300_00, 0, None, 0)
    # Own arithmetic: from 350.00 to 300.00 is 14.3 %; the list price of 400.00 is not what decides.
    assert (lines["T"].alone, lines["T"].off, lines["T"].prior, lines["T"].percent_reduced) == (300_00, 0, 350_00, 14)
    assert (lines["P"].alone, lines["P"].off, lines["P"].prior) == (50_00, 0, None)


def test_a_markdown_of_tomorrow_does_not_count_today() -> None:
    board = part("board", price=1_000_00, markdown=1_00, since=TODAY + timedelta(days=1))
    lines, _ = price_core([board], Policy(), TODAY)
    assert lines[0].charged == 1_000_00
    lines, _ = price_core([board], Policy(), TODAY + timedelta(days=1))
    assert lines[0].charged == 1_00


# --- Extras and lessons ----------------------------------------------------------------------------------------------

INCLUDED = [
    extra("pump", "PUMP", 59_00),
    extra("board_leash", "BOARD-LEASH", 39_00),
    extra("wing_leash", "WING-LEASH", 35_00),
    extra("covers", "COVERS", 89_00, markdown=79_00),
    extra("tool_kit", "TOOL-KIT", 29_00),
]


def test_extras_of_the_tier_are_included_at_nothing_and_show_their_worth_today() -> None:
    breakdown = priced(whole_kit(), *INCLUDED)
    included = [line for line in breakdown.lines if line.slot in EXTRA_SLOTS]
    assert [line.slot for line in included] == ["pump", "board_leash", "wing_leash", "covers", "tool_kit"]
    assert all(line.list == line.charged == line.discount == 0 for line in included)
    assert [line.worth for line in included] == [59_00, 39_00, 35_00, 79_00, 29_00]
    assert breakdown.notes == ()


def test_included_lessons_are_one_line_for_all_of_them() -> None:
    line = line_of(priced(whole_kit(), *INCLUDED), "lesson")
    assert (line.sku, line.label, line.quantity) == ("private", "3 private lessons", 3)
    assert (line.list, line.charged, line.worth) == (0, 0, 345_00)


def test_five_parts_come_with_less() -> None:
    breakdown = priced(only(*CORE_SLOTS[1:]), *INCLUDED)
    assert [line.slot for line in breakdown.lines if line.slot in EXTRA_SLOTS] == ["pump", "board_leash", "wing_leash"]
    assert line_of(breakdown, "lesson").label == "1 private lesson"
    assert [line.slot for line in priced(only(*FOIL), *INCLUDED).lines] == list(FOIL)


def test_an_included_extra_out_of_stock_follows_and_never_blocks_a_kit() -> None:
    breakdown = priced(whole_kit(), *INCLUDED, free={"PUMP": 0})
    assert line_of(breakdown, "pump").worth == 59_00
    (note,) = breakdown.notes
    assert "pump" in note
    assert "follows" in note


def test_an_included_extra_that_is_not_listed_is_told() -> None:
    (note,) = priced(whole_kit(), *INCLUDED[1:]).notes
    assert "no pump" in note


def test_an_extra_beyond_those_included_is_paid_at_todays_price() -> None:
    travel_bag = extra("travel_bag", "BAG", 120_00, markdown=99_00)
    breakdown = priced(whole_kit(), *INCLUDED, travel_bag, extras=["pump", "travel_bag"])
    line = line_of(breakdown, "travel_bag")
    assert (line.list, line.charged, line.discount, line.worth) == (120_00, 99_00, 21_00, 0)
    assert line_of(breakdown, "pump").charged == 0
    assert breakdown.charged == breakdown.core_charged + 99_00
    # Own arithmetic: 78 % of 5,244.00.
    assert breakdown.core_charged == 4_090_32


def test_a_wanted_extra_out_of_stock_is_not_charged() -> None:
    bag = extra("travel_bag", "BAG", 120_00)
    breakdown = priced(only("board"), bag, free={"BAG": 0}, extras=["travel_bag"])
    assert [line.slot for line in breakdown.lines] == ["board"]
    assert any("travel bag" in note and "not charged" in note for note in breakdown.notes)


@pytest.mark.parametrize("slot", ["helmet", "buoyancy_vest", "wetsuit"])
def test_what_is_sized_by_the_body_is_sized_at_the_shop(slot: str) -> None:
    breakdown = priced(only("board"), extra(slot, "SIZED"), extra("pump", "PUMP"), extras=[slot, "pump"])
    assert line_of(breakdown, slot).label.endswith("size at the shop")
    assert "size at the shop" not in line_of(breakdown, "pump").label


# Extras of one slot as (SKU, price, from kg, to kg, free), the one for a learner of 80 kg.
SIZES_OF_AN_EXTRA: list[tuple[list[tuple[str, int, float, float, int]], str | None]] = [
    ([("S", 10, 35, 79.9, 5), ("M", 20, 80, 100, 5)], "M"),
    ([("S", 10, 35, 80, 5), ("M", 20, 81, 100, 5)], "S"),
    # In stock first, then cheapest, then SKU.
    ([("CHEAP", 10, 35, 160, 0), ("DEAR", 20, 35, 160, 1)], "DEAR"),
    ([("B", 20, 35, 160, 1), ("A", 30, 35, 160, 9)], "B"),
    ([("B", 20, 35, 160, 1), ("A", 20, 35, 160, 1)], "A"),
    ([("B", 20, 35, 160, 0), ("A", 30, 35, 160, 0)], "B"),
    ([("S", 10, 35, 70, 5)], None),
    ([], None),
]


@pytest.mark.parametrize(("sizes", "sku"), SIZES_OF_AN_EXTRA)
def test_of_an_extras_sizes_the_one_for_the_learners_mass_is_taken(
    sizes: list[tuple[str, int, float, float, int]], sku: str | None
) -> None:
    parts = [extra("covers", name, price, mass_from_kg=least, mass_to_kg=most) for name, price, least, most, _ in sizes]
    on = shelf(*parts, free={name: free for name, *_, free in sizes})
    chosen = extra_for("covers", 80, on, TODAY)
    assert (chosen.sku if chosen else None) == sku


def test_an_extra_without_a_mass_range_suits_everyone_and_a_markdown_makes_it_cheaper() -> None:
    on = shelf(extra("pump", "A", 60_00), extra("pump", "B", 70_00, markdown=50_00), extra("pump", "C", 1, sold=False))
    chosen = extra_for("pump", 160, on, TODAY)
    assert chosen is not None
    assert chosen.sku == "B"


@pytest.mark.parametrize(
    ("number", "title", "words"),
    [(1, "Private lesson", "1 private lesson"), (3, "Private lesson", "3 private lessons"), (2, "Tows", "2 tows")],
)
def test_lessons_are_told_in_words(number: int, title: str, words: str) -> None:
    assert lesson_words(number, title) == words


def test_lessons_of_a_kind_that_is_not_listed_are_included_all_the_same() -> None:
    policy = Policy(tiers=(Tier("Whole", CORE_SLOTS, 6, 22, (), IncludedLessons("night", 2)),))
    line = line_of(priced(whole_kit(), policy=policy), "lesson")
    assert (line.label, line.worth, line.quantity) == ("2 night lessons", 0, 2)


# --- Delivery --------------------------------------------------------------------------------------------------------

# Slots bought, answers, fee.
DELIVERIES: list[tuple[tuple[str, ...], dict[str, Any], int]] = [
    (CORE_SLOTS, {}, 0),
    (CORE_SLOTS, {"zone": "Far islands"}, 55_00),
    (CORE_SLOTS[1:], {}, 35_00),
    (CORE_SLOTS[1:], {"zone": "Far islands"}, 55_00),
    (CORE_SLOTS[1:], {"delivery": "collect", "zone": "Far islands"}, 0),
    (("board",), {"delivery": "collect"}, 0),
]


@pytest.mark.parametrize(("slots", "told", "fee"), DELIVERIES)
def test_a_full_kit_is_brought_home_free_and_collection_costs_nothing(
    slots: tuple[str, ...], told: dict[str, Any], fee: int
) -> None:
    assert delivery_fee(slots, answers(**told), SHOP) == fee


def test_a_zone_without_a_fee_in_the_table_is_free() -> None:
    assert delivery_fee(("board",), answers(), catalogue(zones={})) == 0


def test_where_nothing_is_bought_nothing_is_delivered() -> None:
    assert priced([]).delivery == 0
    assert priced([]).balance == 0


# --- A whole price ---------------------------------------------------------------------------------------------------

A_BOARD_TO_TRADE = {"slot": "board", "price_new": 1_000_00, "months": 12, "condition": "good"}


def test_a_whole_price_adds_up_as_written_out() -> None:
    bag = extra("travel_bag", "BAG", 120_00)
    breakdown = priced(
        whole_kit(),
        *INCLUDED,
        bag,
        lessons=[lesson("L-1", TODAY - timedelta(days=9)), lesson("L-2", TODAY - timedelta(days=2), state="missed")],
        extras=["travel_bag"],
        zone="Far islands",
        trades=[A_BOARD_TO_TRADE],
    )
    # Own arithmetic: 5,244.00 − 22 % = 4,090.32, and the bag; 1000 × 0.68 × 0.85 × 0.85 = 491.30, so 490.00 for the board.
    assert breakdown.core_charged == 4_090_32
    assert breakdown.charged == 4_210_32
    assert (breakdown.delivery, breakdown.trade_in, breakdown.deposit_back) == (55_00, 490_00, 115_00)
    assert breakdown.balance == breakdown.due == 4_210_32 + 55_00 - 490_00 - 115_00
    assert breakdown.owed_to_customer == 0
    assert breakdown.discount == 1_153_68
    (valuation,) = breakdown.trades
    assert (valuation.base, valuation.value) == (1_000_00, 490_00)
    (share,) = breakdown.vat
    # Own arithmetic: 4,265.32 × 23 / 123 = 797.58.
    assert share.rate == 23
    assert (share.gross, share.vat) == (4_265_32, 797_58)
    assert breakdown.currency == "EUR"
    assert any("L-2" in note and "missed" in note for note in breakdown.notes)
    assert any("2 more come free" in note for note in breakdown.notes)


def test_the_full_value_of_what_is_sold_is_taxed_whatever_is_traded_in() -> None:
    # A trade-in is a supply of its own: HMRC VATVAL06110, goods at 100 with 10 allowed for the old stay at 100; Revenue, Tax
    # Briefing 30 (1998) says the same.
    plain = priced(whole_kit())
    with_trade = priced(whole_kit(), trades=[A_BOARD_TO_TRADE])
    assert with_trade.trade_in > 0
    assert with_trade.vat == plain.vat


def test_a_deposit_is_a_credit_on_the_lesson_and_leaves_the_tax_on_the_kit_as_it_is() -> None:
    with_deposit = priced(whole_kit(), lessons=[lesson("L-1", TODAY - timedelta(days=9))])
    assert with_deposit.deposit_back == 115_00
    assert with_deposit.vat == priced(whole_kit()).vat


def test_what_is_more_than_the_price_is_owed_to_the_customer() -> None:
    cheap = [part(slot, price=20_00) for slot in CORE_SLOTS]
    lessons = [lesson(f"L-{n}", TODAY - timedelta(days=n)) for n in range(3)]
    breakdown = priced(
        cheap, lessons=lessons, trades=[{"slot": "mast", "price_new": 15_00, "months": 0, "condition": "like_new"}]
    )
    # Own arithmetic: 120.00 − 22 % = 93.60; 15.00 × 0.85 = 12.75, so 10.00; three fees of 115.00.
    assert (breakdown.charged, breakdown.trade_in, breakdown.deposit_back) == (93_60, 10_00, 345_00)
    assert breakdown.balance == 0
    assert breakdown.owed_to_customer == 345_00 + 10_00 - 93_60


def test_when_the_price_is_just_paid_nobody_owes_anything() -> None:
    policy = Policy(tiers=(Tier("One", ("tail",), 1, 0, (), IncludedLessons("private", 1)),))
    breakdown = priced(
        [part("tail", price=115_00)],
        lessons=[lesson("L-1", TODAY)],
        policy=policy,
        delivery="collect",
    )
    assert (breakdown.balance, breakdown.owed_to_customer, breakdown.due) == (0, 0, 0)


def test_an_invoice_that_is_not_known_is_told() -> None:
    breakdown = priced(whole_kit(), trades=[{**A_BOARD_TO_TRADE, "invoice": "2024-0007"}])
    assert any("2024-0007" in note for note in breakdown.notes)


def test_a_trade_in_over_the_share_is_cut_and_told() -> None:
    # Own arithmetic: the tail alone costs 299.00; half is 149.50, so 145.00.
    breakdown = priced(only("tail"), part("board", price=2_000_00), trades=[A_BOARD_TO_TRADE])
    assert breakdown.trade_in == 145_00
    assert breakdown.trades[0].value == 490_00
    assert any("50 %" in note for note in breakdown.notes)


def test_what_the_parts_cost_one_by_one_is_todays_price_of_each() -> None:
    kit = whole_kit(board=part("board", price=1_899_00, markdown=1_500_00))
    # Own arithmetic: 5,244.00 − 399.00.
    assert bought_one_by_one(kit, TODAY) == 4_845_00


def test_a_price_is_in_the_shops_currency_at_the_shops_rate() -> None:
    usual = Policy()
    policy = replace(usual, shop=replace(usual.shop, currency="SEK", vat_percent=Decimal(25)))
    breakdown = priced(only("board"), policy=policy, delivery="collect")
    assert breakdown.currency == "SEK"
    # Own arithmetic: 1,899.99 × 25 / 125.
    assert breakdown.vat[0].vat == 380_00


# --- Margin ----------------------------------------------------------------------------------------------------------


def test_a_margin_is_what_is_left_without_vat_of_parts_extras_lessons_delivery_and_trade_in() -> None:
    kit = [part(slot, cost=300_00) for slot in CORE_SLOTS]
    included = [replace(piece, cost=10_00) for piece in INCLUDED]
    on = shelf(*kit, *included)
    told = answers(on.catalogue, trades=[A_BOARD_TO_TRADE])
    breakdown = price_kit(kit, told, [lesson("L-1", TODAY)], on, TODAY)
    margin = margin_of(breakdown, told, on.catalogue)
    # Own arithmetic: 4,090.32 × 100 / 123 = 3,325.46; six parts at 300.00, five extras at 10.00, three lessons at 46.00, delivery
    # at 24.00 though it is free; 10 % of the 490.00 traded in.
    assert margin.revenue == 3_325_46
    assert margin.cost == 1_800_00 + 50_00 + 138_00 + 24_00
    assert margin.trade_in_loss == 49_00
    assert margin.amount == 3_325_46 - 2_012_00 - 49_00


def test_collection_costs_the_shop_nothing() -> None:
    on = shelf(*ODD_KIT)
    margins = []
    for delivery in ("deliver", "collect"):
        told = answers(on.catalogue, delivery=delivery)
        margins.append(margin_of(price_kit(ODD_KIT, told, [], on, TODAY), told, on.catalogue))
    assert margins[0].cost - margins[1].cost == ZONES["Ireland"].cost


def test_lessons_of_a_kind_that_is_not_listed_cost_nothing_that_is_known() -> None:
    policy = Policy(tiers=(Tier("Whole", CORE_SLOTS, 6, 22, (), IncludedLessons("night", 2)),))
    on = shelf(*[part(slot, cost=300_00) for slot in CORE_SLOTS], policy=policy)
    told = answers(on.catalogue, delivery="collect")
    kit = list(on.catalogue.parts.values())
    assert margin_of(price_kit(kit, told, [], on, TODAY), told, on.catalogue).cost == 1_800_00


def test_what_is_paid_for_delivery_is_revenue_too() -> None:
    on = shelf(*only("board"))
    told = answers(on.catalogue)
    margin = margin_of(price_kit(only("board"), told, [], on, TODAY), told, on.catalogue)
    # Own arithmetic: (1,899.99 + 35.00) × 100 / 123 = 1,573.16.
    assert margin.revenue == 1_573_16


@pytest.mark.parametrize(("amount", "under"), [(49_99, True), (50_00, False), (50_01, False), (-1, True)])
def test_a_margin_under_the_floor_is_flagged(amount: int, under: bool) -> None:
    margin = Margin(revenue=1_000_00, cost=1_000_00 - amount, trade_in_loss=0)
    assert margin.amount == amount
    assert margin.is_under(Policy().margin_floor_percent) is under


# --- Rules that no price may break ------------------------------------------------------------------------------------

PERCENTS = st.integers(min_value=0, max_value=90)
PRICES = st.integers(min_value=1, max_value=5_000_00)


@st.composite
def markdowns(draw: st.DrawFn, price: int, percent: int) -> int | None:
    """A markdown about as good as the tier, or none."""
    if draw(st.booleans()):
        return None
    about = price * (100 - percent) // 100
    return max(1, min(price, about + draw(st.integers(min_value=-2, max_value=2))))


@st.composite
def purchases(draw: st.DrawFn) -> tuple[list[Part], Shelf, dict[str, Any], list[PaidLesson]]:
    """Any parts bought of a shop with any percentages, with extras, gear to trade in and lessons paid."""
    percent = draw(PERCENTS)
    included = draw(st.lists(st.sampled_from(EXTRA_SLOTS), unique=True, max_size=3))
    lessons_of_tier = draw(st.sampled_from([None, IncludedLessons("private", 2), IncludedLessons("group", 1)]))
    tiers = (
        Tier(
            "Some", CORE_SLOTS, draw(st.integers(min_value=1, max_value=6)), percent, tuple(included), lessons_of_tier
        ),
        Tier("Foil", FOIL, 4, draw(PERCENTS)),
    )
    policy = Policy(tiers=tiers, markdown_wins_ties=draw(st.booleans()))
    slots = draw(st.lists(st.sampled_from(CORE_SLOTS), unique=True))
    bought = []
    for slot in CORE_SLOTS:
        if slot in slots:
            price = draw(PRICES)
            bought.append(part(slot, price=price, markdown=draw(markdowns(price, percent))))
    extras = [extra(slot, slot, draw(PRICES)) for slot in ("pump", "helmet", "covers")]
    on = shelf(*bought, *extras, free={"pump": draw(st.integers(0, 1))}, policy=policy)
    told = {
        "extras": draw(st.lists(st.sampled_from(EXTRA_SLOTS), unique=True, max_size=3)),
        "delivery": draw(st.sampled_from(["collect", "deliver"])),
        "zone": draw(st.sampled_from(list(ZONES))),
        "trades": [
            {"slot": slot, "price_new": draw(PRICES), "months": draw(st.integers(0, 60)), "condition": "good"}
            for slot in draw(st.lists(st.sampled_from(CORE_SLOTS), max_size=3))
        ],
    }
    kinds = draw(st.lists(st.sampled_from(list(LESSONS)), max_size=3))
    lessons = [lesson(f"L-{n}", TODAY, kind=kind, paid=draw(PRICES)) for n, kind in enumerate(kinds)]
    return bought, on, told, lessons


@given(purchases())
def test_every_price_keeps_the_rules(purchase: tuple[list[Part], Shelf, dict[str, Any], list[PaidLesson]]) -> None:
    bought, on, told, lessons = purchase
    price = price_kit(bought, answers(on.catalogue, **told), lessons, on, TODAY)

    # Lines add up to the total, and each is charged its list price less its discount.
    assert all(line.charged == line.list - line.discount for line in price.lines)
    assert price.charged == sum(line.list for line in price.lines) - price.discount
    assert price.discount == sum(line.discount for line in price.lines)
    assert [line.list for line in price.lines if line.is_core] == [piece.price for piece in bought]
    assert price.core_charged == sum(line.charged for line in price.lines if line.slot in CORE_SLOTS)

    # No rule makes anything negative.
    assert all(0 <= line.charged <= line.list and line.worth >= 0 for line in price.lines)
    assert min(price.trade_in, price.deposit_back, price.delivery, price.balance, price.owed_to_customer) >= 0
    assert price.trade_in <= price.core_charged

    # What is paid and what is owed balance, and never both.
    due = price.charged + price.delivery - price.trade_in - price.deposit_back
    assert due == price.balance - price.owed_to_customer
    assert min(price.balance, price.owed_to_customer) == 0

    # All that is sold is taxed, and nothing else.
    assert sum(share.gross for share in price.vat) == price.charged + price.delivery
    for share in price.vat:
        assert share.vat == half_up(Fraction(share.gross) * Fraction(share.rate) / (100 + Fraction(share.rate)))


@given(purchases())
def test_each_line_has_the_better_of_markdown_and_tier_and_the_tier_is_rounded_once(
    purchase: tuple[list[Part], Shelf, dict[str, Any], list[PaidLesson]],
) -> None:
    bought, on, _, _ = purchase
    policy = on.catalogue.policy
    lines, tier = price_core(bought, policy, TODAY)
    percent = tier.percent if tier else 0
    in_tier = []
    for piece, line in zip(bought, lines, strict=True):
        exact = Fraction(piece.price * (100 - percent), 100)
        now = piece.markdown.price if piece.markdown else None
        if now is not None and (now < exact or (now == exact and policy.markdown_wins_ties)):
            assert line.charged == now
        else:
            in_tier.append(line)
            # Less than a cent for the spreading and half a cent for the one rounding.
            assert abs(line.charged - exact) < Fraction(3, 2)
    expected = half_up(Fraction(percent * sum(line.list for line in in_tier), 100))
    assert sum(line.discount for line in in_tier) == expected
    assert (tier.discount if tier else 0) == expected


@given(purchases())
def test_buying_together_never_costs_more_than_one_by_one(
    purchase: tuple[list[Part], Shelf, dict[str, Any], list[PaidLesson]],
) -> None:
    bought, on, _, _ = purchase
    lines, _ = price_core(bought, on.catalogue.policy, TODAY)
    assert sum(line.charged for line in lines) <= bought_one_by_one(bought, TODAY)
