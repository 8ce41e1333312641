"""The frontier holds every sound kit that no other beats, and no more; checked against every combination there is."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.domain.catalogue import Part, Shelf
from server.domain.frontier import Option, join, settle, thin
from server.domain.policy import FitTerms, Policy, Tier
from server.domain.racks import exact_cost
from server.domain.slots import CORE_SLOTS
from tests.domain.builders import TODAY, fitter, part, shelf, sized
from tests.domain.by_hand import SLOTS, half_up, literal_frontier, prices_and_skus, undominated
from tests.domain.random_shelves import case
from tests.pace import examples

SEEDS = range(600)


def frontier_of(on: Shelf, **told: object) -> list[Option]:
    return fitter(on, **told).frontier()


def usual(*without: str) -> list[Part]:
    """One usual part of every slot but these."""
    return [part(slot) for slot in CORE_SLOTS if slot not in without]


# --- Against every combination ---------------------------------------------------------------------------------------


def test_the_frontier_is_the_one_found_by_trying_every_combination() -> None:
    for seed in SEEDS:
        one = case(seed)
        points = one.fitter.frontier()
        assert [(point.price, point.skus) for point in points] == prices_and_skus(one.frontier), f"seed {seed}"
        for point, by_hand in zip(points, one.frontier, strict=True):
            assert point.misfit == pytest.approx(by_hand.misfit, abs=1e-9), f"seed {seed}"
            assert point.free == by_hand.least_free or not any(point.skus), f"seed {seed}"


def test_along_the_frontier_more_money_always_fits_better() -> None:
    for seed in SEEDS:
        points = case(seed).fitter.frontier()
        for cheaper, dearer in pairwise(points):
            assert cheaper.price < dearer.price, f"seed {seed}"
            assert cheaper.misfit > dearer.misfit, f"seed {seed}"


def test_the_way_every_combination_is_sifted_is_the_definition_itself() -> None:
    for seed in SEEDS:
        one = case(seed)
        if len(one.every_kit) <= 150:
            sound = [kit for kit in one.every_kit if kit.worst <= one.by_hand.wanted.cap + 1e-9]
            sifted = {(kit.price, round(kit.misfit, 7)) for kit in undominated(sound)}
            assert sifted == literal_frontier(sound), f"seed {seed}"


def test_the_shelves_tried_are_odd_enough() -> None:
    cases = [case(seed) for seed in SEEDS]
    assert sum(len(one.frontier) > 3 for one in cases) > 50
    assert sum(len(one.every_kit) > 300 for one in cases) > 40
    assert sum(bool(one.every_kit) and not one.frontier for one in cases) > 20
    assert sum(not one.every_kit for one in cases) > 50
    assert {slot for one in cases for slot in one.by_hand.kept} == set(SLOTS)
    assert sum(bool(one.frontier) and len(one.by_hand.kept) == 1 for one in cases) > 15
    assert sum(bool(one.frontier) and len(one.by_hand.kept) > 3 for one in cases) > 5
    ties = 0
    for one in cases:
        for best in one.frontier:
            equal = [kit for kit in one.every_kit if kit.price == best.price and abs(kit.misfit - best.misfit) <= 1e-9]
            ties += len(equal) > 1
    assert ties > 100


# --- Which of equal kits stays ---------------------------------------------------------------------------------------


def test_of_equal_kits_the_one_with_more_left_stays() -> None:
    twins = [sized("mast", 72, "A-MAST"), sized("mast", 72, "B-MAST")]
    on = shelf(*usual("mast"), *twins, free={"A-MAST": 1, "B-MAST": 2})
    (point,) = frontier_of(on)
    assert "B-MAST" in point.skus
    assert point.free == 2


def test_what_is_left_of_a_kit_is_the_least_of_its_parts() -> None:
    twins = [sized("mast", 72, "A-MAST"), sized("mast", 72, "B-MAST")]
    on = shelf(*usual("mast"), *twins, free={"A-MAST": 2, "B-MAST": 9, "TAIL-300": 2})
    # Both kits have two left, since there are only two tails; so the SKU decides.
    (point,) = frontier_of(on)
    assert "A-MAST" in point.skus
    assert point.free == 2


def test_of_kits_equal_in_all_the_first_skus_in_slot_order_stay() -> None:
    twins = [sized("board", 104, sku) for sku in ("Z-BOARD", "M-BOARD")]
    twins += [sized("hand_wing", 5.5, sku) for sku in ("Q-WING", "K-WING")]
    (point,) = frontier_of(shelf(*usual("board", "hand_wing"), *twins))
    assert point.skus == ("M-BOARD", "MAST-72", "FUSELAGE-70", "FRONT_FOIL-1600", "TAIL-300", "K-WING")


def test_the_board_is_compared_before_the_hand_wing() -> None:
    # The same price and misfit by either pair: A-BOARD with the dearer wing, Z-BOARD with the cheaper one.
    parts = [
        sized("board", 104, "A-BOARD", price=1_000_00),
        sized("board", 104, "Z-BOARD", price=1_000_00),
        sized("hand_wing", 5.5, "A-WING"),
        sized("hand_wing", 5.5, "Z-WING"),
    ]
    on = shelf(*usual("board", "hand_wing"), *parts, free={"A-WING": 1, "A-BOARD": 1})
    (point,) = frontier_of(on)
    assert (point.skus[0], point.skus[-1]) == ("Z-BOARD", "Z-WING")


# Price of a mast that is three centimetres off and of one that is ideal, in cents; those left.
@pytest.mark.parametrize(
    ("off", "ideal", "left"),
    [(649_01, 649_02, ["OFF", "IDEAL"]), (649_02, 649_03, ["IDEAL"]), (649_03, 649_03, ["IDEAL"])],
)
def test_the_better_fit_stays_where_rounding_makes_the_prices_equal(off: int, ideal: int, left: list[str]) -> None:
    # Own arithmetic: 22 % off 5,244.01, 5,244.02 and 5,244.03, rounded once, leave 4,090.33, 4,090.34 and 4,090.34.
    masts = [sized("mast", 75, "OFF", price=off), sized("mast", 72, "IDEAL", price=ideal)]
    points = frontier_of(shelf(*usual("mast"), *masts))
    assert [point.skus[1] for point in points] == left
    assert points[-1].price == {649_02: 4_090_34, 649_03: 4_090_34}[ideal]


def test_a_tail_further_off_is_found_where_it_is_cheaper_by_one_cent_though_its_twin_is_not() -> None:
    tails = [sized("tail", 274, "NEAR", price=300_00), sized("tail", 285, "FAR", price=299_99)]
    tails.append(sized("tail", 285, "TWIN", price=300_00))
    # 290 √(1600/1800) = 273.4 cm² is the ideal, so both are on its far side.
    # Own arithmetic: 22 % off 5,245.00 and 5,244.99, rounded once, leave 4,091.10 and 4,091.09.
    on = shelf(*usual("tail"), *tails, free={"TWIN": 9, "FAR": 1})
    assert [point.skus[4] for point in frontier_of(on)] == ["FAR", "NEAR"]


def test_misfits_that_differ_by_noise_are_equal() -> None:
    # 66 and 78 cm are equally far from 72 cm, whatever the arithmetic makes of it.
    twins = [sized("mast", 66, "Z-MAST"), sized("mast", 78, "A-MAST")]
    (point,) = frontier_of(shelf(*usual("mast"), *twins))
    assert "A-MAST" in point.skus


# --- What is never in it ---------------------------------------------------------------------------------------------


def test_only_parts_sold_and_free_are_offered() -> None:
    cheap = [sized("mast", 72, sku, price=1_00, sold=sku != "NOT-SOLD") for sku in ("NOT-SOLD", "GONE")]
    on = shelf(*usual(), *cheap, free={"GONE": 0})
    (point,) = frontier_of(on)
    assert "MAST-72" in point.skus


def test_a_slot_that_misses_by_more_than_the_cap_makes_no_sound_kit_however_cheap() -> None:
    # (length − 72)/6 squared: 2.5 at 81.49 cm.
    on = shelf(*usual("mast"), sized("mast", 81.4, "JUST", price=600_00), sized("mast", 81.6, "OVER", price=1_00))
    assert [point.skus[1] for point in frontier_of(on)] == ["JUST"]


def test_the_owner_may_move_the_cap() -> None:
    on = shelf(*usual("mast"), sized("mast", 78), policy=Policy(fit=FitTerms(misfit_cap=0.99)))
    assert frontier_of(on) == []
    at_the_cap = shelf(*usual("mast"), sized("mast", 78), policy=Policy(fit=FitTerms(misfit_cap=1.0)))
    assert len(frontier_of(at_the_cap)) == 1


def test_parts_that_do_not_join_are_never_offered_together() -> None:
    other_mount = [part(slot, f"{slot}-BOLT", mount="bolt", price=1_00) for slot in ("mast", "tail", "fuselage")]
    other_track = [part("board", "BOARD-PLATE", track="plate", price=1_00)]
    (point,) = frontier_of(shelf(*usual(), *other_mount, *other_track))
    assert not any("BOLT" in sku or "PLATE" in sku for sku in point.skus)


def test_tail_and_fuselage_that_rock_are_never_offered_together() -> None:
    # Steady: 0.80 × 290 × √(1600/1800) × 70 = 15311 cm³; 235 × 65 = 15275 is under it, 235 × 66 is not.
    on = shelf(*usual("tail", "fuselage"), sized("tail", 235), sized("fuselage", 65, price=1_00), sized("fuselage", 66))
    assert [point.skus[2] for point in frontier_of(on)] == ["FUSELAGE-66"]


def test_without_a_part_for_a_slot_there_is_no_kit() -> None:
    for slot in CORE_SLOTS:
        assert frontier_of(shelf(*usual(slot))) == []


def test_a_tail_is_judged_beside_the_front_foil_of_the_same_kit() -> None:
    # 290 √(S/1800): 273 cm² goes with 1600 cm², 328 cm² with 2300 cm²; both foils are far from the 1721 cm² ideal.
    parts = [sized("front_foil", 1600), sized("front_foil", 2050), sized("tail", 273), sized("tail", 310)]
    points = frontier_of(shelf(*usual("front_foil", "tail"), *parts))
    assert points[-1].skus[3:5] == ("FRONT_FOIL-1600", "TAIL-273")
    points = frontier_of(shelf(*usual("front_foil", "tail", "board"), *parts, sized("board", 143)), mass_kg=105)
    assert points[-1].skus[3:5] == ("FRONT_FOIL-2050", "TAIL-310")


def test_kept_gear_is_in_every_kit_and_costs_nothing() -> None:
    keeps = [{"slot": "mast", "length_cm": 74, "track": "slide", "mount": "cone"}]
    (point,) = frontier_of(shelf(*usual()), keeps=keeps)
    assert point.skus[1] == ""
    # Own arithmetic: five parts bought, 16 % off 4,595.00.
    assert point.price == 4_595_00 - 735_20
    keeps_nothing = frontier_of(shelf(*usual()))[0]
    assert point.misfit - keeps_nothing.misfit == pytest.approx((2 / 6) ** 2)


# --- The price of one part -------------------------------------------------------------------------------------------

# List, markdown, per cent, hundredths of a cent where equal goes to the markdown, where it does not.
COSTS: list[tuple[int, int | None, int, int, int]] = [
    (333, None, 22, 333 * 78, 333 * 78),
    (333, 259, 22, 25900, 25900),
    (333, 260, 22, 25974, 25974),
    (350, 273, 22, 27300, 27300),
    (1_000_00, 1_000_00, 0, 1_000_00_00, 1_000_00_00),
    (1_000_00, 1_100_00, 0, 1_000_00_00, 1_000_00_00),
]


@pytest.mark.parametrize(("price", "markdown", "percent", "wins", "loses"), COSTS)
def test_a_part_adds_the_better_of_markdown_and_tier_compared_exactly(
    price: int, markdown: int | None, percent: int, wins: int, loses: int
) -> None:
    piece = part("mast", price=price, markdown=markdown)
    assert exact_cost(piece, percent, TODAY) == wins
    assert exact_cost(piece, percent, TODAY, markdown_wins_ties=False) == loses


def test_a_markdown_of_tomorrow_is_none_today() -> None:
    piece = part("mast", price=100_00, markdown=1_00, since=TODAY + timedelta(days=1))
    assert exact_cost(piece, 22, TODAY) == 100_00 * 78
    assert exact_cost(piece, 22, TODAY + timedelta(days=1)) == 1_00_00


@given(st.integers(min_value=0, max_value=10**7), st.integers(min_value=0, max_value=90))
def test_the_price_of_a_point_is_the_list_less_the_discount_rounded_half_up(listed: int, percent: int) -> None:
    price = Option(listed * (100 - percent), 0.0, 1, ()).price
    assert price == listed - half_up(Fraction(listed * percent, 100))


# --- Thinning keeps what may matter ----------------------------------------------------------------------------------

options = st.lists(
    st.builds(
        Option,
        cost=st.integers(min_value=0, max_value=450),
        misfit=st.sampled_from([0.0, 0.5, 0.5 + 1e-12, 1.0, 1.5]),
        free=st.integers(min_value=1, max_value=3),
        skus=st.tuples(st.sampled_from("ABCDEFGH")),
    ),
    min_size=1,
    max_size=7,
    unique_by=lambda option: option.skus,
)


def all_pairs(left: Sequence[Option], right: Sequence[Option]) -> list[Option]:
    return [
        Option(a.cost + b.cost, a.misfit + b.misfit, min(a.free, b.free), a.skus + b.skus) for a in left for b in right
    ]


def seen(points: Sequence[Option]) -> list[tuple[int, float, int, tuple[str, ...]]]:
    return [(point.price, round(point.misfit, 8), point.free, point.skus) for point in points]


@settings(max_examples=examples(150))
@given(options)
def test_thinning_leaves_the_frontier_as_it_is(of: list[Option]) -> None:
    assert seen(settle(thin(of))) == seen(settle(of))
    assert set(thin(of)) <= set(of)


@settings(max_examples=examples(150))
@given(options, options, options)
def test_thinning_early_loses_nothing_that_a_later_part_could_make_good(
    a: list[Option], b: list[Option], c: list[Option]
) -> None:
    early = settle(join(thin(join(thin(a), thin(b))), thin(c)))
    assert seen(early) == seen(settle(all_pairs(all_pairs(a, b), c)))


def test_a_tier_of_the_owner_is_the_one_prices_are_compared_under() -> None:
    policy = Policy(tiers=(Tier("Half", CORE_SLOTS, 6, 50),))
    by_tier = sized("mast", 72, "PLAIN", price=650_00)
    marked_down = sized("mast", 72, "DOWN", price=800_00, markdown=330_00)
    on = shelf(*usual("mast"), by_tier, marked_down, policy=policy)
    (point,) = frontier_of(on)
    # Half of 650.00 is less than the markdown to 330.00.
    assert "PLAIN" in point.skus
