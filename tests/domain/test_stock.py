"""What is on hand is the fold of a ledger that only grows."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from server.domain.stock import Movement, counted, on_hand

counts = st.lists(st.tuples(st.sampled_from(["GWT-1", "GWT-2", "GWT-3"]), st.integers(min_value=0, max_value=50)))


def test_what_is_on_hand_is_the_sum_of_the_changes_of_each_part() -> None:
    movements = [Movement("GWT-1", "count", 5), Movement("GWT-2", "count", 2), Movement("GWT-1", "count", -3)]
    assert on_hand(movements) == {"GWT-1": 2, "GWT-2": 2}
    assert on_hand([]) == {}


def test_a_count_that_agrees_with_the_ledger_makes_no_entry() -> None:
    assert counted("GWT-1", 4, 4, "Monday's count") is None


def test_a_count_enters_the_difference_and_why() -> None:
    assert counted("GWT-1", 4, 1, "Monday's count") == Movement("GWT-1", "count", -3, "Monday's count")


@given(counts)
def test_after_any_counts_what_is_on_hand_is_what_was_found_last(found: list[tuple[str, int]]) -> None:
    ledger: list[Movement] = []
    for sku, pieces in found:
        entry = counted(sku, on_hand(ledger).get(sku, 0), pieces, "count")
        ledger += [entry] if entry else []
    assert {sku: on_hand(ledger).get(sku, 0) for sku, _ in found} == dict(found)
