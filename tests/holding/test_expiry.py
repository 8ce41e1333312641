"""A hold that expires at the very moment somebody touches it ends once, and only once."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from server.domain.errors import NotFound
from server.domain.stock import Contact
from server.persistence.stock import load_movements
from server.usecases.quotes import issue_quote
from server.usecases.stock import agree_to_quote, confirm_hold, release_hold, release_lapsed
from server.usecases.work import Shop, Work
from tests.builders_shop import Clock, learner

LATER_SECONDS = 0.3
Touch = Callable[[Work, str], object]


def _take_back(work: Work, token: str) -> None:
    release_hold(work, token, "taken back")


def _confirm(work: Work, token: str) -> None:
    confirm_hold(work, token)


@pytest.mark.parametrize("touch", [_take_back, _confirm])
def test_who_comes_while_the_sweep_ends_a_hold_finds_it_ended(shop: Shop, clock: Clock, touch: Touch) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
        _, hold = agree_to_quote(work, quote.token, Contact("Some One", "some.one@example.org"), 1)
    just_before = hold.expires_at - timedelta(microseconds=1)

    def come() -> None:
        with Shop(shop.sessions, lambda: just_before).writing() as late:
            touch(late, quote.token)

    clock.now = hold.expires_at
    with ThreadPoolExecutor(1) as pool:
        with shop.writing("sweep") as work:
            assert release_lapsed(work) == 1
            work.session.flush()
            coming = pool.submit(come)
            time.sleep(LATER_SECONDS)
            work.commit()
        with pytest.raises(NotFound):
            coming.result()
    with shop.reading() as work:
        kinds = Counter(movement.kind for movement in load_movements(work.session, hold.skus[0]) if movement.hold)
    assert kinds == {"hold": 1, "release": 1}
