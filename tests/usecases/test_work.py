"""Units of work side by side."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from threading import Event

from sqlmodel import Session

from server.domain.catalogue import Catalogue
from server.usecases.work import CatalogueCache, Shop, Work

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
        behind = Work(waiting.session, waiting.now, "a", held)
        first = threads.submit(lambda: behind.catalogue)
        assert held.began.wait(LONG_ENOUGH)
        second = threads.submit(lambda: Work(free.session, free.now, "b", shop.cache).catalogue.version)
        assert second.result(LONG_ENOUGH) == free.catalogue.version
        held.let_go.set()
        assert first.result(LONG_ENOUGH).version == free.catalogue.version
