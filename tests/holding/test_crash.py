"""Servers killed under load: what was answered is there afterwards, and nothing is there by halves."""

from __future__ import annotations

from server.persistence.engine import Place
from tests.bench.crash import crash


def test_nothing_answered_is_lost_and_nothing_is_half_done_after_a_kill(
    place: Place,
) -> None:
    outcome = crash(place, 1, seed=11)
    assert outcome.violations == []
    assert outcome.done["kills"] == 1
    assert outcome.done["sent again"] > 0
