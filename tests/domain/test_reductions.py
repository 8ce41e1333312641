"""What a markdown may be called, and the day it may hold from: Directive 98/6/EC, Article 6a, from what was charged."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.money import Cents
from server.domain.prices import Markdown, PricePoint, began_on, history_after, reduction_from
from server.domain.reductions import Verdict, called_words, judge_markdown, moved_words
from tests.domain.builders import TODAY, catalogue, part

SKU = "GWT-1"


def day(days_ago: int) -> date:
    return TODAY - timedelta(days=days_ago)


def points(*told: tuple[int, Cents]) -> list[PricePoint]:
    return [PricePoint(SKU, day(ago), price) for ago, price in told]


def judged(
    history: list[PricePoint], now: tuple[int, int | None], was: tuple[int, int | None] | None = None, price: int = 1000
) -> Verdict:
    """A markdown as (price, days ago), what it was before, and the list price."""

    def made(marked: tuple[int, int | None] | None) -> tuple[int | None, date | None]:
        if marked is None:
            return None, None
        return marked[0], None if marked[1] is None else day(marked[1])

    before, after = (part("tail", SKU, price=price, markdown=m, since=d) for m, d in (made(was), made(now)))
    verdict = judge_markdown(before, after, history, TODAY)
    assert verdict is not None
    return verdict


# Published examples of Art. 6a. History as (days ago, price), markdown as (price, days ago), list price → prior, per cent.
PUBLISHED = [
    # EU campaign: lowest of the 30 days 20, last price 40, "50 % off": prior 20, new price 10.
    ([(90, 40), (20, 20), (10, 40)], (10, 0), 40, 20, 50.0),
    # Published Irish legal note: 550 three weeks ago, 800 last week, now 500: prior 550, 9.09 %; before, at 800.
    ([(90, 800), (21, 550), (7, 800)], (500, 0), 800, 550, 9.09),
]


@pytest.mark.parametrize(("history", "now", "price", "prior", "percent"), PUBLISHED)
def test_the_published_examples(
    history: list[tuple[int, int]], now: tuple[int, int], price: int, prior: int, percent: float
) -> None:
    verdict = judged(points(*history), now, price=price)
    assert verdict.moved == ""
    assert verdict.reduction is not None
    assert (verdict.reduction.prior, round(verdict.reduction.percent, 2)) == (prior, percent)
    assert verdict.reduction.whole_percent == int(percent), "as it is said: rounded down"
    assert verdict.decides == PricePoint(SKU, verdict.reduction.decided_on, prior)


# What is known of the price, the markdown now and before → why its day is moved to today, and whether it is called reduced.
JUDGED = [
    ("from today", [(90, 1000)], (800, 0), None, "", True),
    ("from a day to come", [(90, 1000)], (800, -4), None, "", True),
    ("from a day past on which it cost more", [(90, 1000)], (800, 5), None, "past", True),
    ("a day past, and the price raised to be marked down", [(90, 700), (3, 1000)], (800, 5), None, "past", False),
    ("grows and keeps its day", [(90, 1000), (20, 900)], (800, 20), (900, 20), "", True),
    ("grows and begins anew", [(90, 1000), (20, 900)], (800, 0), (900, 20), "", True),
    ("becomes smaller and keeps its day", [(90, 1000), (20, 700)], (800, 20), (700, 20), "smaller", False),
    ("marked down again too soon", [(90, 1000), (20, 800), (10, 1000)], (800, 0), None, "", False),
    ("marked down again under its day of then", [(90, 1000), (20, 800), (10, 1000)], (800, 20), None, "past", False),
    ("marked down again, the thirtieth day still low", [(90, 1000), (50, 800), (29, 1000)], (800, 0), None, "", False),
    ("marked down again, thirty days whole", [(90, 1000), (50, 800), (30, 1000)], (800, 0), None, "", True),
    ("taken off by mistake today, and put back", [(90, 1000), (20, 800), (0, 1000)], (800, 20), None, "", True),
    ("no day", [(90, 1000)], (800, None), None, "", False),
    ("nothing known", [], (800, 5), None, "", False),
    ("new today", [(0, 1000)], (800, 5), None, "", False),
]


@pytest.mark.parametrize(
    ("history", "now", "was", "moved", "is_reduced"), [case[1:] for case in JUDGED], ids=[case[0] for case in JUDGED]
)
def test_a_markdown_is_judged_by_what_was_charged(
    history: list[tuple[int, int]],
    now: tuple[int, int | None],
    was: tuple[int, int | None] | None,
    moved: str,
    is_reduced: bool,
) -> None:
    verdict = judged(points(*history), now, was)
    assert (verdict.moved, verdict.reduction is not None) == (moved, is_reduced)
    if moved:
        assert verdict.markdown == Markdown(now[0], TODAY)
        assert verdict.until_today is not None


def test_a_reduction_that_grows_is_compared_with_the_prices_before_its_first_day() -> None:
    # Art. 6a (5): the prior price is the one before the reduction was first applied.
    verdict = judged(points((90, 1000), (20, 900), (10, 850)), (800, 20), (850, 20))
    assert verdict.reduction is not None
    assert (verdict.reduction.prior, verdict.reduction.since) == (1000, day(20))


def test_whatever_the_record_says_a_reduction_that_was_broken_off_begins_anew() -> None:
    broken_off = points((90, 1000), (20, 800), (10, 1000), (0, 800))
    assert began_on(broken_off, day(20)) == TODAY
    assert reduction_from(broken_off, Markdown(800, day(20))) is None
    piece = part("tail", SKU, price=1000, markdown=800, since=day(20))
    assert catalogue([piece], history={SKU: broken_off}).reduction_of(piece, TODAY) is None


def test_a_markdown_marked_down_ended_and_marked_down_again_within_thirty_days_is_not_called_reduced() -> None:
    known = points((90, 1000))
    marks: list[tuple[int, Markdown | None]] = [(25, Markdown(800, day(25))), (12, None), (0, Markdown(790, TODAY))]
    for ago, markdown in marks[:2]:
        change = history_after(SKU, 1000, markdown, known, day(ago))
        known = [*(point for point in known if point.since not in change.gone), *change.put]
    assert [(point.since, point.price) for point in known] == [(day(90), 1000), (day(25), 800), (day(12), 1000)]
    again, further = judged(known, (800, 0)), judged(known, (790, 0))
    assert again.reduction is None
    assert again.decides == PricePoint(SKU, day(25), 800)
    assert further.reduction is not None
    assert further.reduction.prior == 800, "of the list price of 1000 nothing may be said"


def test_it_says_in_words_which_day_decides() -> None:
    def money(cents: Cents) -> str:
        return f"{cents} c"

    refused = judged(points((90, 1000), (20, 800), (10, 1000)), (800, 20))
    assert moved_words(refused, money, str) == (
        f"Until yesterday it cost 1000 c, since {day(10)}: a markdown begins today or later."
    )
    assert called_words(refused, money, str) == (
        f"Not called reduced: on {day(20)} it was 800 c, the lowest price of the 30 days before, which decides."
    )
    assert called_words(judged(points((90, 1000)), (800, 0)), money, str) == (
        f"Called reduced by 20 %: on {day(30)} it was 1000 c, the lowest price of the 30 days before, which decides."
    )


days = st.integers(0, 60)
prices = st.integers(1, 5)


@given(st.dictionaries(days, prices, max_size=6), prices, st.integers(0, 40), st.none() | st.tuples(prices, days))
def test_what_is_called_reduced_was_dearer_on_every_day_of_the_thirty_before_it_began(
    known: dict[int, int], price: int, since: int, was: tuple[int, int] | None
) -> None:
    verdict = judged(points(*known.items()), (price, since), was, price=9)
    if verdict.reduction is None:
        return
    began = (TODAY - verdict.reduction.since).days
    for ago in range(began + 1, began + 31):
        earlier = [days_ago for days_ago in known if days_ago >= ago]
        assert not earlier or known[min(earlier)] > price
