"""Anything at any time over the whole life of a quote, on both databases: the ledgers agree after every step."""

from __future__ import annotations

from hypothesis import HealthCheck, settings
from hypothesis.stateful import run_state_machine_as_test

from server.usecases.work import Shop
from tests.builders_shop import Clock
from tests.holding.sale_life import Life
from tests.pace import examples

LIVES = {"sqlite": examples(12), "postgresql": 30}
"""Few in the quick loop, more where it does not matter how long they take."""


def test_the_ledgers_of_a_sale_agree_whatever_is_done_with_it(shop: Shop, clock: Clock) -> None:
    Life.shop, Life.clock = shop, clock
    with shop.reading() as work:
        lives = LIVES[work.session.get_bind().dialect.name]
    run_state_machine_as_test(
        Life,
        settings=settings(
            max_examples=lives,
            stateful_step_count=22,
            deadline=None,
            suppress_health_check=list(HealthCheck),
            database=None,
        ),
    )
