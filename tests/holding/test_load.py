"""People who ask without thinking, over two processes behind a proxy: all that was answered is there, and nothing twice."""

from __future__ import annotations

from server.persistence.engine import Place
from tests.bench.load import load
from tests.pace import only_in_ci

SECONDS, PEOPLE = 2, 3


@only_in_ci("starts two servers behind a proxy and keeps them busy, seven seconds of a processor")
def test_what_people_were_answered_under_load_is_in_the_books(place: Place) -> None:
    is_for_one_machine = not place.url
    shape = {"number": 1, "workers": 2} if is_for_one_machine else {"number": 2, "workers": 1}
    outcome = load(place, SECONDS, PEOPLE, **shape)
    assert outcome.violations == []
    assert (
        min(len(outcome.waited[kind]) for kind in ("first page", "step in part", "kit page", "swap", "keep")) >= PEOPLE
    )
    assert outcome.bytes_end > outcome.processes * 10_000_000, "memory is really looked at"
