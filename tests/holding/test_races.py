"""Many at once over two servers and one database: nothing is promised twice."""

from __future__ import annotations

from server.persistence.engine import Place
from tests.bench.races import race
from tests.pace import only_in_ci


@only_in_ci("starts two servers and sets a crowd on them, ten seconds of a processor")
def test_the_last_board_one_key_and_the_limit_of_requests_hold_over_two_servers(place: Place) -> None:
    outcome = race(place, rounds=1)
    assert outcome.violations == []
    assert outcome.done["rounds of the last board"] == 1
