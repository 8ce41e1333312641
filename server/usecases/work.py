"""A unit of work: a session, the moment, who acts; and the shop that opens it."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime
from threading import Lock
from zoneinfo import ZoneInfo

from sqlmodel import Session

from server.domain.catalogue import Catalogue, Shelf
from server.domain.codes import CODES, code_of
from server.domain.policy import Policy
from server.persistence.accounts import write_deed
from server.persistence.catalogue import load_catalogue, versions_at
from server.persistence.engine import file_of
from server.persistence.stock import free_of, load_free, load_held, load_on_hand, newest_entry

NO_DOERS = ("customer", "sweep", "sender", "seed")
TOKEN_BYTES = 24  # 192 bits: an address nobody can guess.


def now_utc() -> datetime:
    """The moment, in UTC."""
    return datetime.now(UTC)


def _nothing_to_close() -> None:
    """Where somebody else opened the database."""


@dataclass
class CatalogueCache:
    """The newest catalogue with the policy in force, kept by their versions: another process's change has another version, and
    shows at once, as does a policy whose day begins."""

    _kept: Catalogue | None = None
    _file: tuple[int, int] | None = None
    """The file it was read from: in another one put in its place, versions come again."""
    _today: Catalogue | None = None
    """The kept one with its rate of VAT of the day, where that is another."""
    _lock: Lock = field(default_factory=Lock)

    def current(self, session: Session, now: datetime) -> Catalogue:
        """The catalogue in force, its policy as it holds on the day of a moment."""
        versions = versions_at(session, now)
        kept = self._kept
        file = file_of(session)
        if kept is None or (kept.version, kept.policy.version, self._file) != (*versions, file):
            with self._lock:
                kept = self._kept = load_catalogue(session, now)
                self._file = file
        policy = kept.policy.on(kept.policy.shop.day_of(now))
        return kept if policy is kept.policy else self._as_of(kept, policy)

    def _as_of(self, kept: Catalogue, policy: Policy) -> Catalogue:
        today = self._today
        if today is None or today.parts is not kept.parts or today.policy.shop != policy.shop:
            today = self._today = replace(kept, policy=policy)
        return today


@dataclass
class ShelfCache:
    """The shelf as it was read last, kept for as long as the ledger has no newer entry and the same is held.

    What is held is asked for each time, since a hold lapses by the clock. All that is asked of the shelf lies with it, so that it is
    worked out once for a catalogue and a state of the ledger. In PostgreSQL the ledger is summed up each time.
    """

    _kept: tuple[Shelf, int, Mapping[str, int]] | None = None

    def current(self, session: Session, catalogue: Catalogue, now: datetime, *, may_keep: bool) -> Shelf:
        """The shelf of a moment. One that a writer sees may never come to be, and is not kept."""
        newest, held = newest_entry(session), load_held(session, now)
        if self._kept is not None:
            shelf, its_newest, its_held = self._kept
            if shelf.catalogue is catalogue and newest == its_newest and held == its_held:
                return shelf
        shelf = Shelf(catalogue, free_of(load_on_hand(session), held))
        if may_keep and newest is not None:
            self._kept = shelf, newest, held
        return shelf


@dataclass
class Work:
    """One unit of work. What is not committed when it is left is rolled back."""

    session: Session
    now: datetime
    actor: str
    cache: CatalogueCache
    shelves: ShelfCache
    address: str = ""
    """Where people reach the shop, without a slash at its end, for links in what leaves it."""
    is_writing: bool = False
    _catalogue: Catalogue | None = None

    @property
    def catalogue(self) -> Catalogue:
        """The catalogue in force, the same one throughout this unit of work.

        `functools.cached_property` would not do: in Python 3.11 one lock guards it for all units of work, and one that waited for the
        database's only writer inside it would keep that writer waiting.
        """
        if self._catalogue is None:
            self._catalogue = self.cache.current(self.session, self.now)
        return self._catalogue

    @property
    def shelf(self) -> Shelf:
        """The catalogue with what is free of each part now."""
        return self.shelves.current(self.session, self.catalogue, self.now, may_keep=not self.is_writing)

    def shelf_for(self, token: str | None) -> Shelf:
        """The shelf as the holder of a quote sees it who changes it: what the quote itself holds is free to them."""
        return self.shelf if token is None else Shelf(self.catalogue, load_free(self.session, self.now, but_for=token))

    @property
    def zone(self) -> ZoneInfo:
        """The shop's time zone."""
        return ZoneInfo(self.catalogue.policy.shop.time_zone)

    @property
    def today(self) -> date:
        """The day in the shop's time zone."""
        return self.catalogue.policy.shop.day_of(self.now)

    def look_again(self) -> Catalogue:
        """The catalogue in force now that others can no longer change it."""
        self._catalogue = None
        return self.catalogue

    def note_deed(self, what: str, whom: str = "") -> None:
        """Write into the record of deeds what somebody of the shop does here; what customers and the program itself do is none."""
        if self.actor not in NO_DOERS:
            write_deed(self.session, self.now, self.actor, what, whom)

    def commit(self) -> None:
        """Make what was done last."""
        self.session.commit()


@dataclass
class Shop:
    """Opens units of work over one database."""

    sessions: Callable[[bool], Session]
    clock: Callable[[], datetime] = now_utc
    close: Callable[[], None] = _nothing_to_close
    """Lets go of the database."""
    cache: CatalogueCache = field(default_factory=CatalogueCache)
    shelves: ShelfCache = field(default_factory=ShelfCache)
    address: str = ""
    """Where people reach it, without a slash at its end."""
    timed: Callable[[str], AbstractContextManager[object]] = nullcontext
    """What measures a unit of work that is `reading` or `writing`, for as long as it is open."""
    writers: Callable[[], AbstractContextManager[object]] = nullcontext
    """Where those who write wait for each other, over a database that has room for one alone."""

    @contextmanager
    def reading(self, actor: str = "customer") -> Iterator[Work]:
        """A unit of work that only reads."""
        with self.timed("reading"), self.sessions(False) as session:
            yield Work(session, self.clock(), actor, self.cache, self.shelves, self.address)

    @contextmanager
    def writing(self, actor: str = "customer") -> Iterator[Work]:
        """A unit of work that writes; it waits for other writers."""
        with self.timed("writing"), self.writers(), self.sessions(True) as session:
            yield Work(session, self.clock(), actor, self.cache, self.shelves, self.address, is_writing=True)


def new_token() -> str:
    """A new unguessable address."""
    return secrets.token_urlsafe(TOKEN_BYTES)


def is_token(text: str) -> bool:
    """Whether a text can be one of our addresses at all; others are not even looked for."""
    return re.fullmatch(r"[A-Za-z0-9_-]{8,64}", text, re.ASCII) is not None


def new_code(is_taken: Callable[[str], bool]) -> str:
    """A new short code, drawn from the system's secure source until one is not taken."""
    while True:
        code = code_of(secrets.randbelow(CODES))
        if code is not None and not is_taken(code):
            return code
