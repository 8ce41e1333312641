"""The frontier beside a general solver of mixed-integer programmes, which is asked for one point of it alone.

The choice is put to the solver as well as it can be: one variable for each part that may be in the kit, joints as equal counts on
both sides, the balance of tail and fuselage in logarithms, where it is linear, and the tail's misfit, a square of a linear term, as
the least value above its tangents. Models are built beforehand, without parts that are refused or over the cap; only solving is timed.
"""

from __future__ import annotations

import math
import statistics
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_matrix

from server.domain.catalogue import Part, Shelf
from server.domain.fit import SAME, TAIL_STEP, Fits, Sizing
from server.domain.frontier import Option
from server.domain.kits import Fitter
from server.domain.learner import read_answers
from server.domain.racks import exact_cost
from server.domain.slots import CORE_SLOTS
from tests.bench.choosing import TODAY, choosing_for
from tests.bench.shelves import learners, shelf
from tests.bench.timing import RUNS, each, took

PERCENT = 22
SAME_OPTIMUM = 1e-3
STEP = 0.04  # Between the points of the tangents: they miss the square by at most (0.04 / 2)² = 0.0004.
LIMIT_SECONDS = 120.0
LEARNERS = {2_000: 200, 20_000: 10}
FOIL = ("mast", "fuselage", "front_foil", "tail")


@dataclass
class Programme:
    """The least misfit of a kit for at most an amount of money; the last variable is the tail's misfit."""

    parts: list[Part]
    objective: Any
    rows: Any
    lows: Any
    highs: Any

    def solve(self) -> tuple[str, ...]:
        """The SKUs of the best kit in slot order; empty where the solver found none in time."""
        number = len(self.parts)
        found = milp(
            self.objective,
            integrality=np.append(np.ones(number), 0),
            bounds=Bounds(np.zeros(number + 1), np.append(np.ones(number), np.inf)),
            constraints=LinearConstraint(self.rows, self.lows, self.highs),
            options={"mip_rel_gap": 1e-4, "time_limit": LIMIT_SECONDS},
        )
        if found.x is None or found.status != 0:
            return ()
        return tuple(part.sku for part, taken in zip(self.parts, found.x[:-1], strict=True) if taken > 0.5)


def programme(fitter: Fitter, most_cost: int) -> Programme:
    """What a learner asks of a shelf, for at most so many hundredths of a cent."""
    sizing, weights = fitter.fitting.sizing, fitter.fitting.sizing.terms.weights
    misfits: list[float] = []
    parts: list[Part] = []
    for slot in CORE_SLOTS:
        for part in fitter.shelf.core[slot]:
            verdict = Fits(0.0) if slot == "tail" else sizing.judge(part.gear)
            if isinstance(verdict, Fits) and not sizing.is_over_cap(verdict.misfit):
                parts.append(part)
                misfits.append(weights[slot] * verdict.misfit)
    rows: list[tuple[list[float], float, float]] = [
        ([float(part.slot == slot) for part in parts] + [0.0], 1, 1) for slot in CORE_SLOTS
    ]
    for name, slots in (("track", ("board", "mast")), ("mount", FOIL)):
        for joint in sorted({part.gear.text(name) for part in parts}):
            for left, right in pairwise(slots):
                sides = {left: 1.0, right: -1.0}
                row = [sides.get(part.slot, 0.0) if part.gear.text(name) == joint else 0.0 for part in parts]
                rows.append(([*row, 0.0], 0, 0))
    costs = [exact_cost(part, PERCENT, TODAY) / 1e6 for part in parts]
    rows.append(([*costs, 0.0], -math.inf, most_cost / 1e6))
    rows += _tail_rows(sizing, parts, weights["tail"])
    matrix = csr_matrix(np.array([row for row, _, _ in rows]))
    lows, highs = (np.array([row[side] for row in rows]) for side in (1, 2))
    return Programme(parts, np.array([*misfits, 1.0]), matrix, lows, highs)


def _tail_rows(sizing: Sizing, parts: list[Part], weight: float) -> list[tuple[list[float], float, float]]:
    """The tail's misfit above each tangent of its square, within the cap, and the balance of tail and fuselage."""
    unit = sizing.ideal_tail_cm2(1.0)
    per = math.log(TAIL_STEP)
    steps = {"tail": 1 / per, "front_foil": -0.5 / per}
    off = [steps.get(part.slot, 0.0) * math.log(part.gear.size) for part in parts]
    middle = math.log(unit) / per
    most = math.sqrt(sizing.terms.misfit_cap)
    rows = [([*off, 0.0], middle - most, middle + most)]
    for number in range(-int(most / STEP) - 1, int(most / STEP) + 2):
        at = number * STEP
        rows.append(([-2 * weight * at * one for one in off] + [1.0], weight * (-2 * at * middle - at * at), math.inf))
    lever = {"tail": 1.0, "fuselage": 1.0, "front_foil": -0.5}
    balance = [lever.get(part.slot, 0.0) * math.log(part.gear.size) for part in parts]
    rows.append(([*balance, 0.0], math.log(sizing.least_tail_times_fuselage(1.0)) - SAME, math.inf))
    return rows


def _asked_of(fitter: Fitter, points: list[Option]) -> Option:
    """The middle of a frontier: neither the cheapest kit nor the best."""
    return points[len(points) // 2]


def _compare(stocked: Shelf, number: int) -> None:
    works, programmes, wanted, fitters = [], [], [], []
    for raw in learners(number):
        fitter = Fitter.of(read_answers(raw, stocked.catalogue), stocked, TODAY)
        points = fitter.frontier()
        if points:
            wanted.append(_asked_of(fitter, points))
            fitters.append(fitter)
            works.append(choosing_for(fitter.answers, stocked))
            programmes.append(programme(fitter, wanted[-1].cost))
    ours = [
        statistics.median(one.own for one in times) for times in zip(*[each(works) for _ in range(RUNS)], strict=True)
    ]
    solved: list[tuple[str, ...]] = []
    theirs = [took(lambda one=one: solved.append(one.solve())).own for one in programmes]  # type: ignore[misc]
    listed = stocked.catalogue.parts
    same = sum(
        bool(skus)
        and abs(fitter.kit({listed[sku].slot: listed[sku] for sku in skus}).misfit - point.misfit) <= SAME_OPTIMUM
        for fitter, skus, point in zip(fitters, solved, wanted, strict=True)
    )
    ratios = sorted(their / our for our, their in zip(ours, theirs, strict=True))
    print(
        f"{len(listed):,} parts, {len(works)} learners: the whole frontier in "
        f"{1000 * statistics.median(ours):.2f} ms, one point of it by the solver in {1000 * statistics.median(theirs):.0f} ms "
        f"(medians); the same optimum within {SAME_OPTIMUM:g} for {same}; ratio median {statistics.median(ratios):,.0f}, "
        f"from {ratios[0]:,.0f} to {ratios[-1]:,.0f}",
        flush=True,
    )


def solver() -> None:
    """The whole frontier beside HiGHS (in scipy), asked for the best kit at the price of the frontier's middle."""
    for parts, number in LEARNERS.items():
        _compare(shelf(parts), number)
