"""Requests out of the ordinary: each is answered, refused in the one shape, and a refusal changes nothing."""

from __future__ import annotations

from pathlib import Path

from server.persistence.engine import Place
from tests.bench.fuzz import fuzz
from tests.pace import examples


def test_no_request_breaks_the_server_and_no_refusal_changes_a_row(data: Path) -> None:
    outcome = fuzz(Place(data), examples(480), seed=3, described=examples(60))
    assert outcome.violations == []
    assert outcome.done["answers of 500"] == 0
    assert outcome.done["requests"] >= examples(480)
