"""Opening a shop's place: the database made and migrated, and the seed catalogue loaded where there is no catalogue yet."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import nullcontext
from pathlib import Path
from typing import Any

from server.domain.catalogue import Catalogue
from server.outside.workbook import read_workbook
from server.persistence.catalogue import lock_catalogue, newest_version
from server.persistence.engine import ANSWER_SECONDS, Place, Turns, check_writable, engine_for, reaching, sessions
from server.persistence.folder import Folder, read_folder, read_source
from server.persistence.migrate import migrate
from server.persistence.policies import terms_in_force
from server.persistence.sources import Sheets
from server.usecases.catalogue import replace_catalogue
from server.usecases.work import Shop

WORKBOOK = ".xlsx"
SEED = Path(__file__).parents[2] / "seed_catalogue"


def open_shop(place: Place, *, seeded: bool = True) -> Shop:
    """The shop of a place, made where it is not there yet.

    With `seeded`, a database without any catalogue gets the seed catalogue; one that ever had a catalogue is left alone.
    Raises `OutOfReach` where it cannot be opened.
    """
    with reaching(place):
        place.data.mkdir(parents=True, exist_ok=True, mode=0o700)
        engine = engine_for(place)
        check_writable(place)
        migrate(engine)
        if place.url:  # Others may migrate for long, and are waited for; customers do not wait as long.
            engine.dispose()
            engine = engine_for(place, answer_s=ANSWER_SECONDS)
    shop = Shop(sessions(engine), close=engine.dispose, writers=nullcontext if place.url else Turns().taken)
    if seeded:
        _seed(shop)
    return shop


def _seed(shop: Shop) -> None:
    with shop.writing("seed") as work:
        lock_catalogue(work.session)
        if newest_version(work.session) is None:
            replace_catalogue(work, read_folder(SEED, Catalogue({}), None))


def read_folder_for(place: Place, path: Path) -> Folder:
    """A catalogue folder, or a workbook, read against what is in force at a place; an empty place stays empty.

    Raises `InvalidInput` for a file that is no workbook.
    """
    with reaching(place):
        is_empty = place.is_empty()
    if is_empty:
        return _read(path, Catalogue({}), None)
    with open_shop(place, seeded=False).reading() as work:
        return _read(path, work.catalogue, terms_in_force(work.session, work.now))


def _read(path: Path, before: Catalogue, terms_before: Mapping[str, Any] | None) -> Folder:
    if path.suffix.casefold() != WORKBOOK or not path.is_file():
        return read_folder(path, before, terms_before)
    return read_source(Sheets(read_workbook(path.read_bytes(), path.name)), before, terms_before)
