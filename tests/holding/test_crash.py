"""Servers killed under load: what was answered is there afterwards, and nothing is there by halves."""

from __future__ import annotations

import pytest

from server.persistence.engine import Place
from tests.bench.crash import crash


def test_nothing_answered_is_lost_and_nothing_is_half_done_after_a_kill(
    place: Place, request: pytest.FixtureRequest
) -> None:
    kills = 1 if place.url else 2
    outcome = crash(place, kills, seed=11)
    assert outcome.violations == []
    assert outcome.done["kills"] == kills
