"""What old gear is worth against a new kit, by arithmetic written out."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Catalogue
from server.domain.learner import SAFETY_FAULTS, Trade
from server.domain.policy import Policy, Tier, TradeInTerms
from server.domain.slots import CORE_SLOTS
from server.domain.trade_in import base_of, fetches, take_in, valuation_steps, value_trade, worth
from tests.domain.builders import catalogue, part

ONE = Decimal(1)
NOTHING = Decimal(0)
DEAR = catalogue(part(slot, price=10_000_00) for slot in CORE_SLOTS)
LOSSES = {"board": 0.22, "mast": 0.15, "fuselage": 0.18, "front_foil": 0.18, "tail": 0.18, "hand_wing": 0.35}
CONDITIONS = {"like_new": 1.0, "good": 0.85, "worn": 0.6, "poor": 0.3}

trades = st.builds(
    Trade,
    slot=st.sampled_from(CORE_SLOTS),
    price_new=st.integers(min_value=0, max_value=9_000_00),
    months=st.integers(min_value=0, max_value=240),
    condition=st.sampled_from(list(CONDITIONS)),
)


def trade(slot: str = "board", price_new: int = 1_000_00, months: int = 0, **said: Any) -> Trade:
    return Trade(slot, price_new, months, **{"condition": "like_new", **said})


# --- Declining balance -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("years", "left"),
    [(0, "100000"), (1, "80000"), (2, "64000"), (3, "51200"), (4, "40960"), (5, "32768"), (6, "26214.40")],
)
def test_a_declining_balance_is_that_of_the_textbook(years: int, left: str) -> None:
    # Panneerselvam, Engineering Economics, Ex 9.3: 100,000 at 20 % a year.
    assert worth(Decimal(100_000), Decimal("0.20"), 12 * years, ONE, NOTHING) == Decimal(left)


@pytest.mark.parametrize(("years", "left"), [(6, 10_047.55), (10, 4_000.00)])
def test_a_declining_balance_at_an_odd_rate_is_that_of_the_textbook(years: int, left: float) -> None:
    # Murphy and McKay, Energy Management, Ex 3.5: 40,000 falls to 4,000 in ten years at 0.205672 a year.
    balance = worth(Decimal(40_000), Decimal("0.205672"), 12 * years, ONE, NOTHING)
    assert float(balance) == pytest.approx(left, abs=0.05)


# Months, what is left of 1000.00 at 22 % a year and 10 % more in the first; own arithmetic.
@pytest.mark.parametrize(
    ("months", "left"),
    [
        (0, 1000.0),
        (12, 680.0),
        (24, 680 * 0.78),
        (36, 680 * 0.78**2),
        (6, 1000 * math.sqrt(0.68)),
        (18, 680 * 0.78**0.5),
    ],
)
def test_the_first_year_costs_more_than_the_later_ones(months: int, left: float) -> None:
    assert float(worth(Decimal(1000), Decimal("0.22"), months, ONE, Decimal("0.10"))) == pytest.approx(left, rel=1e-12)


# --- One piece -------------------------------------------------------------------------------------------------------

# Slot, price new, months, condition, value in whole steps of 5.00; own arithmetic, the exact value beside it.
VALUES = [
    ("board", 1_000_00, 0, "like_new", 850_00),  # 1000 × 0.85
    ("board", 1_000_00, 12, "good", 490_00),  # 1000 × 0.68 × 0.85 × 0.85 = 491.30
    ("board", 1_000_00, 24, "good", 380_00),  # 491.30 × 0.78 = 383.21
    ("board", 1_000_00, 6, "like_new", 700_00),  # 1000 × √0.68 × 0.85 = 700.93
    ("hand_wing", 1_200_00, 18, "worn", 270_00),  # 1200 × 0.55 × √0.65 × 0.6 × 0.85 = 271.37
    ("mast", 600_00, 36, "like_new", 275_00),  # 600 × 0.75 × 0.85² × 0.85 = 276.36
    ("front_foil", 900_00, 60, "good", 210_00),  # 900 × 0.72 × 0.82⁴ × 0.7225 = 211.67
    ("fuselage", 300_00, 12, "poor", 55_00),  # 300 × 0.72 × 0.3 × 0.85 = 55.08
    ("tail", 300_00, 0, "poor", 75_00),  # 300 × 0.3 × 0.85 = 76.50
    ("tail", 19_00, 0, "poor", 0),  # 4.85 is no whole step
    ("fuselage", 100_00, 240, "poor", 0),
    ("board", 0, 0, "like_new", 0),
]


@pytest.mark.parametrize(("slot", "price_new", "months", "condition", "value"), VALUES)
def test_a_piece_is_worth_its_base_less_age_wear_and_handling(
    slot: str, price_new: int, months: int, condition: str, value: int
) -> None:
    valuation = value_trade(trade(slot, price_new, months, condition=condition), DEAR)
    assert (valuation.slot, valuation.base, valuation.value) == (slot, price_new, value)
    assert valuation.because.endswith("An estimate until we have seen it.")


@given(trades)
def test_the_value_of_a_piece_is_the_formula_rounded_down_to_five(one: Trade) -> None:
    loss = LOSSES[one.slot]
    years_first, years_later = min(one.months, 12) / 12, max(one.months - 12, 0) / 12
    base = min(one.price_new, 7_800_00)
    exact = base * (1 - loss - 0.10) ** years_first * (1 - loss) ** years_later * CONDITIONS[one.condition] * 0.85
    value = value_trade(one, DEAR).value
    assert value % 5_00 == 0
    assert value - 1e-6 <= exact < value + 5_00 + 1e-6


@pytest.mark.parametrize("fault", SAFETY_FAULTS)
def test_gear_with_a_safety_fault_is_worth_nothing(fault: str) -> None:
    valuation = value_trade(trade(faults=(fault,)), DEAR)
    assert valuation.value == 0
    assert valuation.base == 1_000_00
    assert "unsafe" in valuation.because


def test_safety_faults_are_those_that_make_gear_unsafe() -> None:
    assert set(SAFETY_FAULTS) == {
        *("delaminated", "cracked", "loose_track_box", "seized_bolts", "corroded_bolts", "leaking_bladder")
    }


@given(trades, st.integers(min_value=1, max_value=60))
def test_older_gear_is_never_worth_more(one: Trade, months: int) -> None:
    older = trade(one.slot, one.price_new, one.months + months, condition=one.condition)
    assert value_trade(older, DEAR).value <= value_trade(one, DEAR).value


def test_the_shops_own_terms_are_used() -> None:
    terms = TradeInTerms(handling=Decimal("0.5"), step=1_00, first_year_extra_loss=Decimal(0))
    shop = catalogue([part("board", price=10_000_00)], Policy(trade_in=terms))
    # Own arithmetic: 1000 × 0.78 × 0.85 × 0.5 = 331.50.
    assert value_trade(trade(months=12, condition="good"), shop).value == 331_00


# --- What the value is counted from ----------------------------------------------------------------------------------


def shop_of(*prices: int, policy: Policy | None = None, **said: Any) -> Catalogue:
    boards = [part("board", f"B{place}", price=price, **said) for place, price in enumerate(prices)]
    return catalogue(boards, policy)


def test_a_piece_counts_what_was_paid_or_the_dearest_new_one_in_a_kit_whichever_is_less() -> None:
    # Own arithmetic: 22 % off 2,000.00.
    shop = shop_of(1_200_00, 2_000_00)
    assert base_of(trade(price_new=1_559_99), shop) == 1_559_99
    assert base_of(trade(price_new=1_560_01), shop) == 1_560_00
    assert base_of(trade(price_new=9_000_00), shop) == 1_560_00
    assert "dearest new board" in value_trade(trade(price_new=9_000_00), shop).because
    assert "dearest" not in value_trade(trade(price_new=1_000_00), shop).because


def test_the_dearest_is_looked_for_among_parts_on_sale_before_any_markdown() -> None:
    assert base_of(trade(price_new=9_000_00), shop_of(2_000_00, markdown=500_00)) == 1_560_00
    with_retired = catalogue([part("board", "A", price=2_000_00), part("board", "B", price=4_000_00, sold=False)])
    assert base_of(trade(price_new=9_000_00), with_retired) == 1_560_00


def test_the_percentage_is_that_of_the_whole_kit() -> None:
    tiers = (Tier("Whole", CORE_SLOTS, 6, 30), Tier("Most", CORE_SLOTS, 5, 40))
    assert base_of(trade(price_new=9_000_00), shop_of(2_000_00, policy=Policy(tiers=tiers))) == 1_400_00
    assert base_of(trade(price_new=9_000_00), shop_of(2_000_00, policy=Policy(tiers=()))) == 2_000_00


def test_the_value_says_how_it_was_counted() -> None:
    because = value_trade(trade(months=18, condition="worn"), DEAR).because
    for words in ("18 months", "worn", "22 % a year", "10 % more in the first", "15 % for handling"):
        assert words in because


def test_a_piece_of_a_slot_that_is_not_sold_here_counts_nothing() -> None:
    assert base_of(trade("mast"), shop_of(2_000_00)) == 0
    assert value_trade(trade("mast"), shop_of(2_000_00)).value == 0


@given(st.integers(min_value=1, max_value=9_000_00), st.integers(min_value=0, max_value=90), trades)
def test_the_dearest_new_part_cannot_be_bought_in_a_kit_and_traded_back_at_a_gain(
    price: int, percent: int, one: Trade
) -> None:
    policy = Policy(tiers=(Tier("Whole", CORE_SLOTS, 6, percent),))
    shop = catalogue([part(one.slot, price=price)], policy)
    assert value_trade(one, shop).value <= price * (100 - percent) / 100


@given(trades)
def test_whoever_tells_the_price_paid_never_gains(one: Trade) -> None:
    assert value_trade(one, DEAR).value <= one.price_new


# --- All pieces together ---------------------------------------------------------------------------------------------


def test_pieces_add_up() -> None:
    taken = take_in([trade(), trade("mast", 600_00, 36)], 5_000_00, DEAR)
    assert [valuation.value for valuation in taken.valuations] == [850_00, 275_00]
    assert taken.total == 1_125_00
    assert taken.note == ""


# Core lines charged, trade-in: at most half of them, rounded down to a whole 5.00; the pieces are worth 850.00.
@pytest.mark.parametrize(
    ("core_charged", "total"),
    [(1_700_00, 850_00), (1_699_99, 845_00), (1_234_56, 615_00), (9_99, 0), (10_00, 5_00), (0, 0)],
)
def test_old_gear_pays_at_most_half_of_the_parts_bought(core_charged: int, total: int) -> None:
    taken = take_in([trade()], core_charged, DEAR)
    assert taken.total == total
    assert taken.valuations[0].value == 850_00
    assert ("at most 50 %" in taken.note) is (total < 850_00)


def test_the_share_is_the_owners() -> None:
    shop = catalogue([part("board", price=10_000_00)], Policy(trade_in=TradeInTerms(share=Decimal("0.25"))))
    assert take_in([trade()], 1_700_00, shop).total == 425_00


def test_nothing_traded_in_is_nothing() -> None:
    assert take_in([], 1_000_00, DEAR).total == 0


@given(st.lists(trades, max_size=4), st.integers(min_value=0, max_value=9_000_00))
def test_a_trade_in_is_never_negative_nor_more_than_the_pieces_or_the_share(
    pieces: list[Trade], core_charged: int
) -> None:
    taken = take_in(pieces, core_charged, DEAR)
    assert 0 <= taken.total <= sum(valuation.value for valuation in taken.valuations)
    assert taken.total <= core_charged / 2
    assert taken.total % 5_00 == 0
    assert len(taken.valuations) == len(pieces)


# --- Step by step ----------------------------------------------------------------------------------------------------


def test_a_value_is_told_step_by_step() -> None:
    """1,100.00 × 0.68 = 748.00, × 0.78^(6/12) = 660.62, × 0.85 = 561.52, × 0.85 = 477.29, down to 475.00; own arithmetic."""
    steps = valuation_steps(trade(price_new=1_100_00, months=18, condition="good"), DEAR)
    assert [amount for _, amount in steps] == [1_100_00, 748_00, 660_62, 561_52, 475_00]
    assert steps[0][0] == "counted from what was paid"


def test_unsafe_gear_has_no_steps_and_new_gear_only_those_that_change_something() -> None:
    assert valuation_steps(trade(faults=("cracked",)), DEAR) == ()
    assert [amount for _, amount in valuation_steps(trade(), DEAR)] == [1_000_00, 850_00]


@given(trades)
def test_the_last_step_is_the_value_and_no_step_goes_up(piece: Trade) -> None:
    amounts = [amount for _, amount in valuation_steps(piece, DEAR)]
    assert amounts[-1] == value_trade(piece, DEAR).value
    assert amounts == sorted(amounts, reverse=True)


# --- What such a part fetches ----------------------------------------------------------------------------------------

# Price new, slot, months, condition, what it fetches; own arithmetic, without handling and without whole steps.
FETCHED = [
    (1_000_00, "board", 0, "good", 850_00),
    (1_000_00, "board", 12, "good", 578_00),  # 1000 × 0.68 × 0.85
    (1_000_00, "board", 24, "good", 450_84),  # 578 × 0.78
    (1_000_00, "board", 6, "like_new", 824_62),  # 1000 × √0.68 = 824.6211
    (600_00, "mast", 36, "like_new", 325_13),  # 600 × 0.75 × 0.85² = 325.125, a half goes up
    (1_200_00, "hand_wing", 18, "worn", 319_27),  # 1200 × 0.55 × √0.65 × 0.6 = 319.2654
    (0, "tail", 24, "good", 0),
]


@pytest.mark.parametrize(("price_new", "slot", "months", "condition", "cents"), FETCHED)
def test_a_part_fetches_its_price_less_age_and_wear(
    price_new: int, slot: str, months: int, condition: str, cents: int
) -> None:
    assert fetches(price_new, slot, months, TradeInTerms(), condition) == cents


def test_good_condition_is_meant_where_none_is_told() -> None:
    assert fetches(1_000_00, "board", 12, TradeInTerms()) == fetches(1_000_00, "board", 12, TradeInTerms(), "good")


@given(trades)
def test_what_is_fetched_is_the_worth_to_the_half_cent(one: Trade) -> None:
    terms = TradeInTerms()
    exact = worth(
        Decimal(one.price_new),
        terms.yearly_loss[one.slot],
        one.months,
        terms.condition[one.condition],
        terms.first_year_extra_loss,
    )
    assert abs(fetches(one.price_new, one.slot, one.months, terms, one.condition) - exact) <= Decimal("0.5")


@given(trades, st.integers(min_value=1, max_value=60), st.integers(min_value=0, max_value=9_000_00))
def test_an_older_part_never_fetches_more_and_a_dearer_one_never_less(one: Trade, months: int, more: int) -> None:
    terms = TradeInTerms()
    now = fetches(one.price_new, one.slot, one.months, terms, one.condition)
    assert fetches(one.price_new, one.slot, one.months + months, terms, one.condition) <= now
    assert fetches(one.price_new + more, one.slot, one.months, terms, one.condition) >= now


@given(trades)
def test_the_shop_never_gives_more_than_the_part_fetches(one: Trade) -> None:
    assert value_trade(one, DEAR).value <= fetches(one.price_new, one.slot, one.months, TradeInTerms(), one.condition)


def test_the_owners_curve_is_the_one_used() -> None:
    terms = TradeInTerms(yearly_loss={"board": Decimal("0.5")}, first_year_extra_loss=Decimal(0))
    assert fetches(1_000_00, "board", 24, terms, "like_new") == 250_00
    with pytest.raises(KeyError):
        fetches(1_000_00, "mast", 24, terms)
