"""The machine's clock, wrong in either direction: it dates no money and deletes nothing, and being put right is all it takes."""

from __future__ import annotations

import logging

import pytest

from server.app import tidy
from server.domain.clock import SETTLES
from server.domain.errors import ClockIsWrong
from server.persistence.tables import DraftRow, PaperRow, QuoteRow
from server.usecases.clock import confirm_clock, look_at_clock
from server.usecases.learner import start_draft
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.builders_sales import bought, paid, sale_now
from tests.builders_shop import NOON, Clock, number_of

THEN, FAR = "2025-11-25T12:00+00:00", "2099-01-01T00:00+00:00"


def stands(shop: Shop) -> str:
    """How the clock stands."""
    with shop.reading() as work:
        return look_at_clock(work)


def begun(shop: Shop) -> None:
    """A draft of now, as a customer leaves one."""
    with shop.writing() as work:
        start_draft(work)


def test_behind_what_was_written_no_money_is_booked_until_the_clock_is_put_right(
    shop: Shop, clock: Clock, client: Client
) -> None:
    sale = bought(shop, paid=10_000)
    before = sale_now(shop, sale.id)
    clock.set(THEN)
    with pytest.raises(ClockIsWrong, match=r"says 2025-11-25 12:00 UTC.*Put it right, and try again"):
        paid(shop, sale.id, 100)
    assert sale_now(shop, sale.id) == before
    answer = client.get("/readyz")
    assert (answer.status_code, "clock: it is behind" in answer.text) == (503, True)
    assert client.get("/").status_code == 200
    clock.now = NOON
    assert client.get("/readyz").status_code == 200
    paid(shop, sale.id, 100)
    with shop.reading() as work:
        assert number_of(work.session, PaperRow) == len(before.papers)


def test_a_clock_that_leapt_deletes_nothing_and_what_it_left_behind_is_no_hindrance(
    shop: Shop, clock: Clock, caplog: pytest.LogCaptureFixture
) -> None:
    sale = bought(shop, paid=10_000)
    clock.forward(days=20)
    begun(shop)
    clock.set(FAR)
    begun(shop)
    assert stands(shop) == "leapt"
    with shop.reading() as work:
        before = [number_of(work.session, table) for table in (DraftRow, QuoteRow)]
    with caplog.at_level(logging.WARNING, "slackwater"):
        tidy(shop)
    assert "nothing is swept by this clock" in caplog.text
    with shop.reading() as work:
        assert [number_of(work.session, table) for table in (DraftRow, QuoteRow)] == before
    clock.now = NOON
    clock.forward(days=21)
    assert stands(shop) == "right"
    paid(shop, sale.id, 100)
    tidy(shop)


def test_after_a_winter_the_sweep_waits_for_some_days_of_writing(shop: Shop, clock: Clock) -> None:
    begun(shop)
    clock.forward(days=150)
    begun(shop)
    assert stands(shop) == "leapt"
    clock.forward(days=SETTLES.days + 1)
    assert stands(shop) == "right"


@pytest.mark.parametrize("moment", [THEN, FAR])
def test_somebody_who_has_looked_says_that_the_clock_is_right(shop: Shop, clock: Clock, moment: str) -> None:
    begun(shop)
    clock.set(moment)
    assert stands(shop) != "right"
    with shop.writing("command line") as work:
        confirm_clock(work)
    assert stands(shop) == "right"
