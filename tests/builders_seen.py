"""Where a page is seen and what it is seen over, for builders of states."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import httpx

from server.domain.accounts import Role
from server.domain.stock import Movement
from server.persistence.stock import load_free, save_movements
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIES
from tests.builders_accounts import seat
from tests.pages.reader import FORM, FrontDoor


@dataclass(frozen=True)
class World:
    """A running application's front door, and the shop behind it for what customers cannot do.

    `pieces` are those of each part that were free when it began.
    """

    client: FrontDoor
    shop: Shop
    pieces: Mapping[str, int]

    @classmethod
    def of(cls, client: FrontDoor, shop: Shop) -> World:
        """The world as it begins."""
        with shop.reading() as work:
            return cls(client, shop, load_free(work.session, work.now))

    def fill(self) -> World:
        """As many pieces free of each part as in the beginning, whatever was sold or set aside since."""
        with self.shop.writing("counter") as work:
            free = load_free(work.session, work.now)
            gone = {sku: there - free.get(sku, 0) for sku, there in self.pieces.items() if free.get(sku, 0) < there}
            filled = [Movement(sku, "delivery", more, "full again") for sku, more in gone.items()]
            save_movements(work.session, filled, work.now, work.actor)
            work.commit()
        return self


@dataclass(frozen=True)
class Seen:
    """Where a page is seen: its address, what was posted there if it is the answer to a form, its status, and by whose session."""

    address: str
    posted: bytes | None = None
    status: int = 200
    session: str = ""
    kind: str = FORM["content-type"]
    """Of the form that was posted."""

    def answer(self, client: FrontDoor, *, as_fragment: bool = False) -> httpx.Response:
        """What the application answers; as a fragment it is asked for as htmx does."""
        headers = {"HX-Request": "true"} if as_fragment else {}
        if self.session:
            headers["Cookie"] = "; ".join(f"{name}={self.session}" for name in SESSION_COOKIES)
        if self.posted is None:
            return client.get(self.address, headers=headers)
        return client.post(self.address, content=self.posted, headers={"content-type": self.kind, **headers})


State = Callable[[World], Seen]


def seen_as(role: Role, made: State) -> State:
    """A state that somebody at the desk sees."""

    def seen(world: World) -> Seen:
        name = "Orla" if role == "owner" else "Maeve"
        return replace(made(world), session=seat(world.shop, name, role))

    return seen
