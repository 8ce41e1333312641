"""Zones, kinds of lessons and spots changed one by one, each as a step; what something still names is not taken away."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import get_args

from server.domain.catalogue import Catalogue, LessonKind, Shelf, Spot, Zone
from server.domain.digests import shown_digest
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.kits import Fitter
from server.domain.learner import read_answers
from server.domain.wind import WingWinds
from server.persistence.catalogue import lock_catalogue, save_places
from server.persistence.columns import LESSON_COLUMNS, SPOT_COLUMNS, ZONE_COLUMNS, read_cells, spot_from
from server.persistence.folder_out import kind_row, spot_row, zone_row
from server.persistence.steps import rows_before
from server.usecases.naming import PlaceKind, what_names
from server.usecases.steps import finish_step
from server.usecases.work import Work

PLACE_KINDS: tuple[PlaceKind, ...] = get_args(PlaceKind)
Place = Zone | LessonKind | Spot
COLUMNS = {"zone": ZONE_COLUMNS, "lesson": LESSON_COLUMNS, "spot": SPOT_COLUMNS}
PLACE_WORDS = {"zone": "zone", "lesson": "kind of lesson", "spot": "spot"}
MOVED = "Somebody else changed this meanwhile: look at it again."
USUAL_LEARNER = {
    "mass_kg": 80,
    "to_feet": "average",
    "fitness": "fair",
    "board_background": "some",
    "foil_stage": "none",
}
"""For whom a spot's winds are shown: nobody's answers, an example."""


def places_of(catalogue: Catalogue, of: PlaceKind) -> Mapping[str, Place]:
    """The places of one kind by their names, in the shop's order."""
    kinds: dict[PlaceKind, Mapping[str, Place]] = {
        "zone": catalogue.zones,
        "lesson": catalogue.lessons,
        "spot": catalogue.spots,
    }
    return kinds[of]


def name_of(place: Place) -> str:
    """What a place is known by, once."""
    if isinstance(place, Zone):
        return place.zone
    return place.kind if isinstance(place, LessonKind) else place.name


def read_place(of: PlaceKind, typed: Mapping[str, str]) -> Place:
    """A place as it was typed, read by the columns of its file; raises `InvalidInput` with every fault."""
    values, faults = read_cells(COLUMNS[of], typed)
    if faults:
        raise InvalidInput(faults)
    if of == "spot":
        return spot_from(values)
    return Zone(**values) if of == "zone" else LessonKind(**values)


def cells_of(place: Place) -> dict[str, str]:
    """A place as it would be typed."""
    if isinstance(place, Zone):
        return zone_row(place)
    return kind_row(place) if isinstance(place, LessonKind) else spot_row(place)


def digest_of(place: Place) -> str:
    """A short text that is another one as soon as something of a place is."""
    return shown_digest(place)


def named_place(work: Work, of: PlaceKind, name: str) -> Place:
    """A place by its name; raises `NotFound`."""
    place = places_of(work.catalogue, of).get(name)
    if place is None:
        raise NotFound("name", f"There is no such {PLACE_WORDS[of]}.")
    return place


def put_place(work: Work, of: PlaceKind, made: Place, was: str = "", shown: str = "") -> int:
    """Add a place at the end, or put it where the one called `was` stands, as one step; the version it makes.

    `shown` is the digest of the place as whoever changes it saw it. Raises `NotFound`, `InvalidInput` where its name is taken or
    the old one is still named, `Conflict` where it has changed since.
    """
    lock_catalogue(work.session)
    there = dict(places_of(work.look_again(), of))
    name, column = name_of(made), COLUMNS[of][0].name
    before = named_place(work, of, was) if was else None
    if before is not None and digest_of(before) != shown:
        raise Conflict([Fault(column, MOVED, "it as it is now")])
    if name != was and name in there:
        raise InvalidInput([Fault(column, f"{name} stands there already.", "each once")])
    if was and name != was:
        faults = [
            Fault(column, f"{was} keeps its name: {words[:1].lower()}{words[1:]}")
            for words in what_names(work, of, was)
        ]
        if faults:
            raise InvalidInput(faults)
    if made == before:
        return work.catalogue.version
    rows = [made if key == was else place for key, place in there.items()] + ([] if was else [made])
    return _keep(work, of, rows, f"{PLACE_WORDS[of]} {name} {'changed' if was else 'added'}")


def remove_place(work: Work, of: PlaceKind, name: str) -> int:
    """Take a place away as one step; raises `NotFound`, and `Conflict` with all that still names it."""
    lock_catalogue(work.session)
    work.look_again()
    named_place(work, of, name)
    reasons = what_names(work, of, name)
    if reasons:
        raise Conflict(Fault("remove", f"{name} stays: {words[:1].lower()}{words[1:]}") for words in reasons)
    rows = [place for key, place in places_of(work.catalogue, of).items() if key != name]
    return _keep(work, of, rows, f"{PLACE_WORDS[of]} {name} removed")


def put_first(work: Work, of: PlaceKind, name: str) -> int:
    """Let a place stand first where learners and desk choose among them, as one step; raises `NotFound`."""
    lock_catalogue(work.session)
    work.look_again()
    place, there = named_place(work, of, name), places_of(work.catalogue, of)
    rows = [place, *(other for key, other in there.items() if key != name)]
    if rows == list(there.values()):
        return work.catalogue.version
    return _keep(work, of, rows, f"{PLACE_WORDS[of]} {name} put first")


def _keep(work: Work, of: PlaceKind, rows: Sequence[Place], about: str) -> int:
    found = rows_before(work.session, (), (), None)
    catalogue = work.catalogue
    spots = rows if of == "spot" else catalogue.spots.values()
    lessons = rows if of == "lesson" else catalogue.lessons.values()
    zones = rows if of == "zone" else catalogue.zones.values()
    save_places(
        work.session,
        [one for one in spots if isinstance(one, Spot)],
        [one for one in lessons if isinstance(one, LessonKind)],
        [one for one in zones if isinstance(one, Zone)],
    )
    return finish_step(work, "edit", about, found)


def winds_at(work: Work, spot: Spot) -> tuple[WingWinds, ...]:
    """The winds of the kit that a usual learner would be recommended at a spot, saved or not; empty where none suits."""
    catalogue = replace(work.catalogue, spots=MappingProxyType({spot.name: spot}))
    answers = read_answers({**USUAL_LEARNER, "spot": spot.name}, catalogue)
    fitter = Fitter.of(answers, Shelf(catalogue, work.shelf.free), work.today)
    kit = fitter.recommended()
    return () if kit is None else fitter.wings(kit, spot)
