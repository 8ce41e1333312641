"""Units of work side by side."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from threading import Event

import pytest
from sqlmodel import Session

from server.domain.catalogue import Catalogue
from server.domain.stock import Movement
from server.persistence.engine import Place, engine_for, sessions
from server.persistence.stock import save_movements
from server.usecases.quotes import issue_quote
from server.usecases.stock import book_movement
from server.usecases.work import CatalogueCache, Shop, Work
from tests.builders_shop import Clock, agreed, learner

LONG_ENOUGH = 10


@dataclass
class Held(CatalogueCache):
    """A look at the catalogue that goes on only when it is let go, as behind the database's only writer."""

    began: Event = field(default_factory=Event)
    let_go: Event = field(default_factory=Event)

    def current(self, session: Session, now: datetime) -> Catalogue:
        """The catalogue, once it is let go."""
        self.began.set()
        assert self.let_go.wait(LONG_ENOUGH)
        return super().current(session, now)


def test_a_unit_of_work_that_waits_for_its_catalogue_keeps_no_other_waiting(shop: Shop) -> None:
    held = Held()
    with shop.reading() as waiting, shop.reading() as free, ThreadPoolExecutor(2) as threads:
        behind = Work(waiting.session, waiting.now, "a", held, shop.shelves)
        first = threads.submit(lambda: behind.catalogue)
        assert held.began.wait(LONG_ENOUGH)
        second = threads.submit(lambda: Work(free.session, free.now, "b", shop.cache, shop.shelves).catalogue.version)
        assert second.result(LONG_ENOUGH) == free.catalogue.version
        held.let_go.set()
        assert first.result(LONG_ENOUGH).version == free.catalogue.version


@pytest.fixture
def other(place: Place, clock: Clock) -> Iterator[Shop]:
    """Another process over the same database: a shop with connections and memory of its own."""
    engine = engine_for(place)
    yield Shop(sessions(engine), clock)
    engine.dispose()


def free_of_board(shop: Shop) -> int:
    """How many pieces of one board are free, as a page of this process has it."""
    with shop.reading() as work:
        board = work.catalogue.sold_in("board")[0]
        return work.shelf.free.get(board.sku, 0)


def delivered(shop: Shop, pieces: int) -> None:
    """So many more pieces of that board."""
    with shop.writing("Orla") as work:
        book_movement(work, work.catalogue.sold_in("board")[0].sku, "delivery", pieces, "")


def test_what_another_process_books_shows_at_once(shop: Shop, other: Shop) -> None:
    before = free_of_board(shop)
    delivered(other, 2)
    assert free_of_board(shop) == before + 2
    delivered(shop, 1)
    assert free_of_board(other) == before + 3


def test_what_is_held_is_asked_anew_when_it_lapses_by_the_clock(shop: Shop, other: Shop, clock: Clock) -> None:
    with other.writing() as work:
        quote = issue_quote(work, learner())
    first = quote.kit.price.lines[0].sku

    def free() -> int:
        with shop.reading() as work:
            return work.shelf.free[first]

    before = free()
    agreed(other, quote.code)
    assert free() == before - 1
    clock.forward(days=30)
    assert free() == before, "nobody has swept the hold away yet"


def test_a_shelf_that_a_writer_saw_is_not_shown_once_it_was_taken_back(shop: Shop, other: Shop) -> None:
    before = free_of_board(shop)
    with shop.writing("Orla") as work:
        board = work.catalogue.sold_in("board")[0]
        save_movements(work.session, [Movement(board.sku, "delivery", 5)], work.now, work.actor)
        assert work.shelf.free[board.sku] == before + 5
    assert free_of_board(shop) == before
    delivered(other, 1)
    assert free_of_board(shop) == before + 1, "the entry bears the number that the one taken back had"


def test_pages_of_one_state_of_the_ledger_share_what_is_worked_out(shop: Shop, place: Place) -> None:
    with shop.reading() as one, shop.reading() as two:
        assert (one.shelf is two.shelf) == (not place.url)
