"""One kit for two riders: held against every combination worked out the long way, against cases by hand, and its properties."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product
from random import Random
from time import perf_counter
from typing import Any

import pytest

from server.domain.catalogue import Gear, Part, Shelf
from server.domain.kits import Fitter, Kit
from server.domain.policy import Policy
from server.domain.shared import NOT_SOUND, SHARED_SLOTS, NotShared, OwnPart, Shared, share
from server.domain.slots import CORE_SLOTS
from tests.bench.shelves import shelf as shelf_of_many
from tests.domain.builders import LIVELY, STRONG, TODAY, fitter, part, shelf, sized, trade_shelf, whole_kit
from tests.domain.by_hand import FOIL, SLOTS, ByHand
from tests.domain.random_shelves import case

SEEDS = range(90)


# --- the long way


@dataclass(frozen=True)
class HandShared:
    """A shared kit worked out by hand: SKUs of the five shared parts and both hand wings, empty where kept."""

    misfit: float
    price: int
    skus: tuple[str, ...]
    worst: float


class TwoByHand:
    """Two riders before one shelf, and every kit they could share."""

    def __init__(self, one: Fitter, other: Fitter) -> None:
        self.riders = [ByHand(rider.answers, rider.shelf, TODAY) for rider in (one, other)]
        self.policy, self.free = one.shelf.catalogue.policy, one.shelf.free

    def _choices(self, slot: str) -> list[tuple[str, Gear, Part | None]]:
        both = self.riders
        own = [rider.kept[slot] for rider in both if slot in rider.kept]
        own = [piece for piece in own if not any(rider.wanted.refuses(piece) for rider in both)]
        if own:
            return [("", piece, None) for piece in own]
        on_sale = both[0].on_sale[slot]
        return [(one.sku, one.gear, one) for one in on_sale if not any(r.wanted.refuses(one.gear) for r in both)]

    def _wings(self, rider: ByHand) -> list[tuple[str, Gear, Part | None]]:
        if "hand_wing" in rider.kept:
            return [("", rider.kept["hand_wing"], None)]
        return [(one.sku, one.gear, one) for one in rider.on_sale["hand_wing"]]

    def _price(self, bought: list[Part], wings: list[Part | None]) -> int:
        ways = []
        for mine, other in (wings, wings[::-1]):
            buyer = ByHand(self.riders[0].said, self.riders[0].shelf, TODAY)
            parts = [*bought, *([mine] if mine else [])]
            buyer.to_buy = [one.slot for one in parts]
            buyer.tier = buyer._tier()
            beside = (buyer.marked_down(other) or other.price) if other else 0
            ways.append(buyer.price_of(parts) + beside)
        return min(ways)

    def every(self) -> Iterator[tuple[float, float, tuple[tuple[str, Gear, Part | None], ...]]]:
        """Summed misfit, worst misfit and the seven pieces of each kit with nothing refused."""
        weights = self.policy.fit.weights
        cores = []
        for chosen in product(*(self._choices(slot) for slot in SLOTS[:5])):
            known = {slot: piece.measures for slot, (_, piece, _) in zip(SLOTS, chosen, strict=False)}
            if known["board"]["track"] != known["mast"]["track"] or len({known[slot]["mount"] for slot in FOIL}) > 1:
                continue
            foil, tail = float(known["front_foil"]["area_cm2"]), float(known["tail"]["area_cm2"])
            length = float(known["fuselage"]["length_cm"])
            if any(rider.wanted.rocks(tail, length, foil) for rider in self.riders):
                continue
            misfits = [
                (weights[piece.slot], rider.wanted.misfit(piece, foil))
                for _, piece, _ in chosen
                for rider in self.riders
            ]
            cores.append((sum(w * m for w, m in misfits), max(m for _, m in misfits), chosen))
        pairs = []
        for mine, theirs in product(self._wings(self.riders[0]), self._wings(self.riders[1])):
            if mine[0] and mine[0] == theirs[0] and self.free[mine[0]] < 2:
                continue
            both = [rider.wanted.misfit(wing[1], 1) for rider, wing in zip(self.riders, (mine, theirs), strict=True)]
            pairs.append((weights["hand_wing"] * sum(both), max(both), (mine, theirs)))
        for core, pair in product(cores, pairs):
            yield core[0] + pair[0], max(core[1], pair[1]), (*core[2], *pair[2])

    def best(self) -> HandShared | None:
        """The kit of least summed misfit, among those within the cap where there are any."""
        kits = list(self.every())
        cap = self.policy.fit.misfit_cap
        kits = [kit for kit in kits if kit[1] <= cap + 1e-9] or kits
        least = min((kit[0] for kit in kits), default=math.inf)
        told = []
        for misfit, worst, chosen in kits:
            if misfit <= least + 1e-9:
                price = self._price(
                    [piece for _, _, piece in chosen[:5] if piece], [piece for _, _, piece in chosen[5:]]
                )
                told.append(HandShared(misfit, price, tuple(sku for sku, _, _ in chosen), worst))
        return min(told, key=lambda kit: (kit.price, kit.skus), default=None)


def two_riders(seed: int) -> tuple[Fitter, Fitter]:
    """The rider of a random shelf, and another who is often near in size; both without trade-ins and lessons."""
    draw = Random(f"two riders {seed}")
    one = case(seed)
    mass = round(one.said.mass_kg * draw.choice([1.0, 1.0, 0.97, 1.04, 0.9, 1.12]), 1)
    like = {"quick": "average", "average": "quick", "slow": "average"}[one.said.to_feet]
    told = replace(
        one.said,
        mass_kg=mass,
        to_feet=draw.choice([one.said.to_feet, like]),
        min_depth_m=draw.choice([one.said.min_depth_m, None, 1.15]),
        foil_stage=draw.choice([one.said.foil_stage, one.said.foil_stage, "short_flights", "turning"]),
        usual_wind_kn=draw.choice([one.said.usual_wind_kn, 15.0, 22.0]),
        keeps=draw.choice([(), one.said.keeps]),
        trades=(),
    )
    first = Fitter.of(replace(one.said, trades=()), one.shelf, TODAY)
    riders = (first, Fitter.of(told, one.shelf, TODAY))
    return riders if draw.random() < 0.5 else (riders[1], riders[0])


def skus_of(shared: Shared) -> tuple[str, ...]:
    """The SKUs of the five shared parts and both hand wings, empty where kept."""
    core = [shared.parts[slot].sku if slot in shared.parts else "" for slot in SHARED_SLOTS]
    wings = [side.kit.bought["hand_wing"].sku if "hand_wing" in side.kit.bought else "" for side in shared.sides]
    return (*core, *wings)


def told(answer: Shared | NotShared) -> Shared:
    """A kit that must be shared."""
    assert isinstance(answer, Shared), answer
    return answer


@pytest.mark.parametrize("seed", SEEDS)
def test_it_is_the_kit_that_the_long_way_finds(seed: int) -> None:
    one, other = two_riders(seed)
    found, by_hand = share(one, other), TwoByHand(one, other).best()
    if by_hand is None:
        assert isinstance(found, NotShared)
        assert found.reason.endswith(".")
        return
    shared = told(found)
    assert skus_of(shared) == by_hand.skus
    assert shared.misfit == pytest.approx(by_hand.misfit, abs=1e-8)
    assert shared.price == by_hand.price
    assert shared.is_sound == (by_hand.worst <= one.shelf.catalogue.policy.fit.misfit_cap + 1e-9)
    assert (NOT_SOUND in shared.notes) == (not shared.is_sound)
    assert all(not side.kit.refusals for side in shared.sides)


def test_the_random_pairs_meet_every_kind_of_answer() -> None:
    answers = [share(*two_riders(seed)) for seed in SEEDS]
    kits = [answer for answer in answers if isinstance(answer, Shared)]
    assert len(kits) < len(answers)
    assert {kit.is_sound for kit in kits} == {True, False}
    assert {owner for kit in kits for owner in kit.kept_by.values()} == {0, 1}
    assert any("hand_wing" in side.kit.kept for kit in kits for side in kit.sides)
    assert any(one.part is None for kit in kits for one in kit.instead)
    assert sum(len(kit.instead) for kit in kits) > 20
    assert any(kit.short_of for kit in kits)


# --- properties


@pytest.mark.parametrize("seed", SEEDS)
def test_whoever_comes_first_the_shared_parts_and_the_price_are_the_same(seed: int) -> None:
    one, other = two_riders(seed)
    there, back = share(one, other), share(other, one)
    if isinstance(there, NotShared):
        assert back == there
        return
    back = told(back)
    assert skus_of(there)[:5] == skus_of(back)[:5]
    assert there.price == back.price
    assert there.misfit == pytest.approx(back.misfit)


@pytest.mark.parametrize("seed", SEEDS)
def test_two_riders_who_say_the_same_share_what_each_would_have_alone(seed: int) -> None:
    one = two_riders(seed)[0]
    alone = one.recommended()
    if alone is None or one.answers.keeps:
        return
    shared = told(share(one, one))
    plenty = replace(one, shelf=Shelf(one.shelf.catalogue, {sku: 2 for sku, free in one.shelf.free.items() if free}))
    told_plenty = told(share(plenty, plenty))
    for slot in SHARED_SLOTS:
        assert told_plenty.sides[0].kit.gear_in(slot).size == alone.gear_in(slot).size
    assert [side.misfit_given_up for side in told_plenty.sides] == pytest.approx([0, 0], abs=1e-8)
    assert shared.misfit >= 2 * alone.misfit - 1e-8


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_given_up_adds_up_and_an_own_part_wins_what_it_says(seed: int) -> None:
    answer = share(*two_riders(seed))
    for side in answer.sides if isinstance(answer, Shared) else ():
        if side.own is not None:
            assert sum(one.misfit for one in side.given_up) == pytest.approx(side.misfit_given_up, abs=1e-8)
    for one in answer.instead if isinstance(answer, Shared) else ():
        assert isinstance(answer, Shared)
        assert one.misfit_won > 0
        assert one.instead_of is answer.sides[one.rider].kit
        assert not one.kit.refusals
        changed = [slot for slot in CORE_SLOTS if one.kit.gear_in(slot) != one.instead_of.gear_in(slot)]
        assert changed == [one.slot]
        best = min(other.misfit for other in with_each(two_riders(seed)[one.rider], one))
        assert one.kit.misfit == pytest.approx(best, abs=1e-8)


def with_each(rider: Fitter, one: OwnPart) -> Iterator[Kit]:
    """The shared kit with each part of the shelf in one slot, where nothing is refused; and with the rider's own piece."""
    kept = {slot: piece for slot, piece in one.instead_of.kept.items() if slot != one.slot}
    bought = {slot: piece for slot, piece in one.instead_of.bought.items() if slot != one.slot}
    own = rider.fitting.kept.get(one.slot)
    for piece in rider.shelf.core[one.slot]:
        yield from sound_or_not(rider, kept, {**bought, one.slot: piece})
    if own is not None:
        yield from sound_or_not(rider, {**kept, one.slot: own}, bought)


def sound_or_not(rider: Fitter, kept: dict[str, Gear], bought: dict[str, Part]) -> Iterator[Kit]:
    kit = replace(rider, fitting=replace(rider.fitting, kept=kept)).kit(bought)
    if not kit.refusals:
        yield kit


# --- by hand


def sizes(shared: Shared, place: int = 0) -> dict[str, float]:
    """The sizes of a rider's side."""
    return {slot: shared.sides[place].kit.gear_in(slot).size for slot in CORE_SLOTS}


def test_the_heavier_ones_float_floor_decides_the_board() -> None:
    # 80 kg in the sea: 99.05 l (see the docstring of `float_floor_l`); 65 kg alone would have 85 l.
    shared = told(share(fitter(trade_shelf(), mass_kg=65), fitter(trade_shelf(), mass_kg=80)))
    assert (
        told(share(fitter(trade_shelf(), mass_kg=65), fitter(trade_shelf(), mass_kg=65))).parts["board"].gear.size == 85
    )
    assert shared.parts["board"].gear.size >= 99.05
    heavier = shared.sides[1].kit
    assert heavier.float_margin_l >= 2  # The reserve of the ordinary terms, within a litre of the board's own mass.
    assert shared.sides[0].margin_change_l == pytest.approx(shared.parts["board"].gear.size - 85, abs=1.5)


def test_each_has_a_hand_wing_by_their_own_mass() -> None:
    shared = told(share(fitter(trade_shelf(), mass_kg=60), fitter(trade_shelf(), mass_kg=85)))
    alone = [fitter(trade_shelf(), mass_kg=mass).recommended() for mass in (60, 85)]
    wings = [kit.gear_in("hand_wing").size for kit in alone if kit]
    assert [sizes(shared, place)["hand_wing"] for place in (0, 1)] == wings
    assert wings[0] < wings[1]
    assert all(side.wing_is_unchanged for side in shared.sides)


def test_a_board_built_for_lighter_riders_is_not_shared_with_a_heavier_one() -> None:
    boards = [sized("board", 120, "WEAK", rider_max_kg=85), sized("board", 132, "STRONG")]
    on = shelf(*(piece for piece in whole_kit() if piece.slot != "board"), *boards)
    assert told(share(fitter(on, mass_kg=80), fitter(on, mass_kg=84))).parts["board"].sku == "WEAK"
    assert told(share(fitter(on, mass_kg=80), fitter(on, mass_kg=86))).parts["board"].sku == "STRONG"


def test_the_shallower_water_of_the_two_decides_the_mast() -> None:
    masts = [sized("mast", 72), sized("mast", 62)]
    on = shelf(*(piece for piece in whole_kit() if piece.slot != "mast"), *masts)
    assert told(share(fitter(on), fitter(on))).parts["mast"].gear.size == 72
    # 0.72 m and 0.35 m under it make 1.07 m.
    assert told(share(fitter(on), fitter(on, min_depth_m=1.05))).parts["mast"].gear.size == 62


def test_the_guard_of_the_steadier_rider_holds_for_both() -> None:
    # By hand for 1600 cm²: steady 0.80 × 290 × √(1600/1800) × 70 = 15 311 cm³, lively 0.75 × 230 × √(1600/1800) × 60 = 9758 cm³.
    # On 60 cm a tail of 235 cm² makes 14 100 cm³, one of 300 cm² makes 18 000 cm³.
    changed = ("tail", "fuselage")
    rest = [piece for piece in whole_kit() if piece.slot not in changed]
    on = shelf(*rest, sized("fuselage", 60), sized("tail", 235), sized("tail", 300))
    lively, steady = fitter(on, mass_kg=78, **LIVELY), fitter(on, mass_kg=78)
    assert told(share(lively, lively)).parts["tail"].gear.size == 235
    for pair in ((lively, steady), (steady, lively)):
        assert told(share(*pair)).parts["tail"].gear.size == 300


@pytest.mark.parametrize(("free", "wings"), [(2, ("NEAR", "NEAR")), (1, ("FAR", "NEAR"))])
def test_one_hand_wing_is_taken_twice_only_where_two_are_free(free: int, wings: tuple[str, str]) -> None:
    near, far = sized("hand_wing", 5.5, "NEAR"), sized("hand_wing", 5.0, "FAR")
    parts = [piece for piece in whole_kit() if piece.slot != "hand_wing"]
    on = shelf(*parts, near, far, free={"NEAR": free})
    shared = told(share(fitter(on, mass_kg=79), fitter(on, mass_kg=85)))
    assert skus_of(shared)[5:] == wings


def test_one_hand_wing_in_all_is_none_for_two() -> None:
    on = shelf(*whole_kit(), free={"HAND_WING-5.5": 1})
    answer = share(fitter(on), fitter(on))
    assert isinstance(answer, NotShared)
    assert "two hand wings" in answer.reason
    kept = {"keeps": [{"slot": "hand_wing", "area_m2": 5.5}]}
    assert skus_of(told(share(fitter(on, **kept), fitter(on))))[5:] == ("", "HAND_WING-5.5")


def test_the_price_is_one_kit_and_the_other_hand_wing_at_its_price_today() -> None:
    wing = part("hand_wing", "WING", price=1_000_00, markdown=900_00)
    on = shelf(*whole_kit(hand_wing=wing))
    shared = told(share(fitter(on), fitter(on)))
    # Six core parts take the whole kit's tier; the marked-down wing is 100 off alone, and less in the kit only if the tier says so.
    alone = shared.sides[0].own
    assert alone is not None
    assert shared.price == alone.price.core_charged + 900_00
    assert shared.two_kits == 2 * alone.price.core_charged


def test_of_equal_kits_the_cheaper_then_the_first_by_sku() -> None:
    others = [part("mast", sku, price=price) for sku, price in (("Z", 600_00), ("B", 600_00), ("A", 600_01))]
    on = shelf(*(piece for piece in whole_kit() if piece.slot != "mast"), *others)
    assert told(share(fitter(on), fitter(on))).parts["mast"].sku == "B"


def test_gear_of_one_rider_serves_both_unless_it_is_refused_for_the_other() -> None:
    own = {"slot": "board", "volume_l": 104, "width_cm": 85, "track": "slide"}
    on = shelf(*whole_kit(), sized("board", 130))
    both = told(share(fitter(on, mass_kg=75), fitter(on, mass_kg=80, keeps=[own])))
    assert both.kept_by == {"board": 1}
    assert "board" not in both.parts
    assert [side.kit.kept["board"].size for side in both.sides] == [104, 104]
    assert "board" not in both.sides[0].kit.bought
    heavy = told(share(fitter(on, mass_kg=98), fitter(on, mass_kg=80, keeps=[own])))
    assert heavy.kept_by == {}
    assert heavy.parts["board"].gear.size == 130
    own_again = [one for one in heavy.instead if (one.rider, one.slot) == (1, "board")]
    assert [(one.part, one.price) for one in own_again] == [(None, 0)]


def test_where_both_keep_a_piece_the_one_of_least_summed_misfit_serves() -> None:
    def keeping(length: float) -> dict[str, Any]:
        return {"keeps": [{"slot": "mast", "length_cm": length, "track": "slide", "mount": "cone"}]}

    on = shelf(*whole_kit())
    one, other = fitter(on, **keeping(74)), fitter(on, **keeping(69))
    shared = told(share(one, other))
    assert (sizes(shared)["mast"], shared.kept_by) == (74, {"mast": 0})
    assert told(share(other, one)).kept_by == {"mast": 1}


def test_gear_of_both_that_does_not_join_is_named() -> None:
    mast = {"slot": "mast", "length_cm": 72, "track": "slide", "mount": "cone"}
    tail = {"slot": "tail", "area_cm2": 300, "mount": "bolt"}
    on = shelf(*whole_kit())
    answer = share(fitter(on, keeps=[mast]), fitter(on, keeps=[tail]))
    assert isinstance(answer, NotShared)
    assert "the mast and the tail that you have already do not fit together" in answer.reason


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"board": sized("board", 60)}, "no board in stock"),
        ({"board": part("board", track="plate")}, "same track"),
        ({"tail": part("tail", mount="bolt")}, "same mount"),
        ({"tail": sized("tail", 150)}, "hold a front foil level"),
    ],
)
def test_why_no_kit_can_be_shared(changed: dict[str, Part], words: str) -> None:
    on = shelf(*whole_kit(**changed))
    answer = share(fitter(on), fitter(on, mass_kg=78))
    assert isinstance(answer, NotShared)
    assert words in answer.reason


def test_riders_far_apart_get_the_nearest_with_a_note() -> None:
    on = trade_shelf()
    shared = told(share(fitter(on, mass_kg=50), fitter(on, mass_kg=95)))
    assert not shared.is_sound
    assert shared.notes == (NOT_SOUND,)
    assert all(not side.kit.refusals for side in shared.sides)
    assert shared.sides[0].misfit_given_up > shared.sides[1].misfit_given_up
    own_board = next(one for one in shared.instead if (one.rider, one.slot) == (0, "board"))
    assert own_board.part is not None
    assert own_board.part.gear.size == 72
    assert own_board.price == own_board.part.price


def test_a_tail_that_is_over_the_cap_for_one_alone_is_not_called_sound() -> None:
    # By hand for 1600 cm²: ideal tails of 273 cm² (steady) and 217 cm² (lively); 345 cm² is 1.05 and 2.08 sizes off.
    tuned = Policy(fit=replace(Policy().fit, misfit_cap=2.0, weights={**Policy().fit.weights, "tail": 0.1}))
    mild = [sized("mast", 78), sized("fuselage", 65), sized("board", 102), sized("front_foil", 1600)]
    on = shelf(*mild, sized("tail", 345), *(sized("hand_wing", size) for size in (5.0, 5.5)), policy=tuned)
    shared = told(share(fitter(on, mass_kg=78), fitter(on, mass_kg=78, **LIVELY)))
    misfits = [side.kit.misfits for side in shared.sides]
    assert misfits[0]["tail"] == pytest.approx(1.05**2, rel=0.02)
    assert misfits[1]["tail"] == pytest.approx(2.08**2, rel=0.02)
    assert [[slot for slot, misfit in kit.items() if misfit > 2] for kit in misfits] == [[], ["tail"]]
    assert shared.notes == (NOT_SOUND,)


def test_two_whole_kits_that_need_the_same_last_piece_say_so() -> None:
    on = shelf(*whole_kit(), free={"BOARD-104": 1})
    shared = told(share(fitter(on), fitter(on)))
    assert shared.short_of == ("board",)


@pytest.mark.parametrize("riders", [({"mass_kg": 60}, {"mass_kg": 90}), ({**STRONG, **LIVELY}, {"mass_kg": 70})])
def test_it_is_quick_on_a_shelf_as_large_as_the_seeds(riders: tuple[dict[str, Any], dict[str, Any]]) -> None:
    on = shelf_of_many(186)
    one, other = (fitter(on, **said) for said in riders)
    took = []
    for _ in range(3):
        begun = perf_counter()
        told(share(one, other))
        took.append(perf_counter() - begun)
    assert min(took) < 0.2
