"""The walk along racks finds the same frontier as judging every part, on shelves too large to try every combination of."""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import timedelta
from typing import Any

import pytest

from server.domain.catalogue import Shelf
from server.domain.frontier import Option
from server.domain.kits import Fitter
from server.domain.racks import MOST_KEPT, racks_of
from tests.domain.builders import STRONG, TODAY, answers, fitter, shelf, sized, sizing, whole_kit
from tests.domain.judged_all import frontier_by_judging_all
from tests.domain.wide_shelves import before_a_wide_shelf

SEEDS = range(80)


def points(options: list[Option]) -> list[tuple[int, int, tuple[str, ...]]]:
    return [(option.price, option.free, option.skus) for option in options]


@pytest.mark.parametrize("cap", [None, math.inf], ids=["sound", "nearest"])
def test_the_walk_along_racks_finds_what_judging_every_part_finds(cap: float | None) -> None:
    lengths = []
    for seed in SEEDS:
        before = before_a_wide_shelf(seed)
        walked, judged = before.frontier(cap), frontier_by_judging_all(before, cap)
        assert points(walked) == points(judged), f"seed {seed}"
        for one, other in zip(walked, judged, strict=True):
            assert one.misfit == pytest.approx(other.misfit, abs=1e-9), f"seed {seed}"
        lengths.append(len(walked))
    assert sum(length > 5 for length in lengths) > 10


def test_the_ideal_fuselage_holds_an_ideal_tail_level_whoever_the_learner_is() -> None:
    # What is shorter than that is walked by itself, from there downward only.
    flying = {"foil_stage": "turning"}
    learners: tuple[Mapping[str, Any], ...] = ({}, STRONG, flying, {**flying, "wing_handling": "none"})
    for told in learners:
        one = sizing(**told)
        assert one.ideal("fuselage") > one.fuselage_of_ideal_tail_cm


def test_racks_are_hung_once_for_a_version_a_day_and_a_discount_and_not_kept_for_ever() -> None:
    catalogue = shelf(*whole_kit()).catalogue
    hung = racks_of(catalogue, 22, TODAY)
    assert racks_of(catalogue, 22, TODAY) is hung
    assert racks_of(catalogue, 16, TODAY) is not hung
    for days in range(1, 50):
        racks_of(catalogue, 22, TODAY + timedelta(days=days))
    assert len(catalogue.workings) <= MOST_KEPT


def test_a_markdown_that_begins_tomorrow_hangs_its_part_elsewhere_tomorrow() -> None:
    off = sized("mast", 72, "OFF", price=700_00, markdown=300_00, since=TODAY + timedelta(days=1))
    on = shelf(*whole_kit(), off)
    today, tomorrow = (
        Fitter.of(answers(on.catalogue), on, day).frontier() for day in (TODAY, TODAY + timedelta(days=1))
    )
    assert "OFF" not in today[-1].skus
    assert "OFF" in tomorrow[-1].skus


def test_a_part_sold_out_since_the_racks_were_hung_is_passed_by_for_what_hangs_behind_it() -> None:
    masts = [sized("mast", 73, "NEAR", price=400_00), sized("mast", 75, "FAR", price=500_00)]
    on = shelf(*[part for part in whole_kit() if part.slot != "mast"], *masts)
    assert [point.skus[1] for point in fitter(on).frontier()] == ["NEAR"]
    without = Shelf(on.catalogue, {**on.free, "NEAR": 0})
    assert [point.skus[1] for point in fitter(without).frontier()] == ["FAR"]
