"""Classes of sizes: every size in one, every stocked size in its own, borders where two are equally near."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.fit import squared_log
from server.domain.size_classes import STEP, all_classes, class_of, classes_of
from server.domain.slots import CORE_SLOTS

stocked = st.lists(st.integers(10, 4000).map(float), min_size=1, max_size=30)


def test_a_few_boards_make_the_classes_of_the_docstring() -> None:
    under, small, large, over, between = classes_of("board", [96, 80, 82])
    assert (small.first, small.last) == (80, 82)
    assert [round(one.high, 1) for one in (under, small, large)] == [72.7, 88.7, 105.6]
    assert [one.key for one in (under, small, large, over)] == ["board:under", "board:80", "board:96", "board:over"]
    assert between.key == "board:between"


def test_where_nothing_is_stocked_every_size_is_one_class() -> None:
    assert {len(some) for some in all_classes({}).values()} == {1}
    assert class_of(classes_of("mast", []), 72).where == "any"


@pytest.mark.parametrize("slot", CORE_SLOTS)
@given(sizes=stocked, asked=st.floats(1, 10_000))
def test_every_size_belongs_to_the_nearest_that_is_stocked(slot: str, sizes: list[float], asked: float) -> None:
    *classes, between = classes_of(slot, sizes)
    assert between.where == "between"
    assert all(below.high == above.low for below, above in itertools.pairwise(classes))
    assert (classes[0].low, classes[-1].high) == (0, math.inf)
    size = class_of(classes, asked)
    nearest = min(abs(math.log(asked / one)) for one in sizes)
    if size.where == "in":
        own = [one for one in sizes if size.first <= one <= size.last]
        assert min(abs(math.log(asked / one)) for one in own) == pytest.approx(nearest, abs=1e-9)
        assert size.last <= size.first * math.sqrt(STEP[slot]) * (1 + 1e-12)
    else:
        # Beyond all that is stocked even the nearest is a misfit of 1 or more.
        assert squared_log(math.exp(nearest), 1, STEP[slot]) >= 1 - 1e-9
    for one in sizes:
        found = class_of(classes, one)
        assert found.first <= one <= found.last
