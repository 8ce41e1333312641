"""The owner's catalogue in the states that it is seen in."""

from __future__ import annotations

from urllib.parse import urlencode

from server.outside.photos import clean_photo
from server.usecases.catalogue_edits import (
    about_part,
    change_part,
    change_photos,
    digest_of,
    part_of,
    retire_part,
    typed_of,
)
from server.usecases.photos import photos_of
from tests.builders_photos import phone_photo
from tests.builders_seen import Seen, State, World, seen_as
from tests.pages.reader import encoded

TAIL, OTHER, WING, RETIRED = "TUR-T220", "TUR-T190", "CHG-70", "SMP-UM"


def _at(address: str) -> State:
    return seen_as("owner", lambda _world: Seen(address))


def _not_reduced(world: World) -> Seen:
    """A part at a markdown of today that nothing may be said of, with a photograph."""
    with world.shop.writing("Orla") as work:
        part = part_of(work, WING)
        cells = {"markdown_price": "989.00", "markdown_from": work.today.isoformat()}
        change_part(work, WING, cells, digest_of(part))
    with world.shop.writing("Orla") as work:
        if not photos_of(work, about_part(WING)):
            change_photos(work, WING, [clean_photo(phone_photo())], [])
    return Seen(f"/console/part?sku={WING}&kept=fields")


def _retired(world: World) -> Seen:
    with world.shop.writing("Orla") as work:
        part = part_of(work, RETIRED)
        if not part.retired:
            retire_part(work, RETIRED, digest_of(part))
    return Seen(f"/console/part?sku={RETIRED}")


def _row_wrong(world: World) -> Seen:
    with world.shop.reading() as work:
        shown = {sku: digest_of(part_of(work, sku)) for sku in (TAIL, OTHER)}
    rows = {
        TAIL: {"price": "4oo", "markdown_price": "500", "markdown_from": "soon"},
        OTHER: {"price": "455.00", "sold": "yes"},
    }
    return Seen("/console/catalogue?slot=tail&page=1", _rows(rows, shown), 422)


def _rows(rows: dict[str, dict[str, str]], shown: dict[str, str]) -> bytes:
    """The list as a browser sends it, with some of its rows."""
    fields = []
    for number, (sku, cells) in enumerate(rows.items(), start=1):
        named = {"sku": sku, "shown": shown[sku], **cells}
        fields += [(f"{name}-{number}", value) for name, value in named.items()]
    return encoded(fields)


def _row_moved(_world: World) -> Seen:
    rows = _rows({TAIL: {"price": "400.00", "sold": "yes"}}, {TAIL: "of long ago"})
    return Seen("/console/catalogue?q=nothing+like+it", rows, 409)


def _kept(world: World) -> Seen:
    """A part that was just changed, and sells for less than it costs."""
    with world.shop.writing("Orla") as work:
        part = part_of(work, OTHER)
        change_part(work, OTHER, {"markdown_price": "99.00", "markdown_from": ""}, digest_of(part))
    with world.shop.reading() as work:
        version = work.catalogue.version
    return Seen(f"/console/catalogue?slot=tail&kept={version}")


def _ticked(world: World) -> Seen:
    fields = [("do", "change"), ("sku", TAIL), ("sku", OTHER), ("change", "price"), ("by", "percent"), ("value", "4")]
    return Seen("/console/catalogue/bulk", encoded(fields), 200)


def _dearer(world: World) -> Seen:
    _not_reduced(world)
    said = {"slot": "hand_wing", "change": "markdown", "percent": "5", "ending": "00"}
    return Seen("/console/catalogue/bulk?" + urlencode(said))


def _part_wrong(world: World) -> Seen:
    with world.shop.reading() as work:
        part = part_of(work, TAIL)
        typed = {**typed_of(part), "shown": digest_of(part), "gtin": "12", "mass_kg": "heavy", "name": ""}
    return Seen("/console/part", encoded(list(typed.items())), 422)


def _bulk(**said: str) -> State:
    return _at("/console/catalogue/bulk?" + urlencode({"slot": "hand_wing", **said}))


CATALOGUE_STATES: dict[str, State] = {
    "catalogue": _at("/console/catalogue"),
    "catalogue, called reduced": _at("/console/catalogue?flag=reduced&booked=yes&none=ticked"),
    "catalogue, nothing like it": _at("/console/catalogue?q=nothing+like+it&sold=retired"),
    "catalogue, kept": seen_as("owner", _kept),
    "catalogue, a row wrong": seen_as("owner", _row_wrong),
    "catalogue, a row changed meanwhile": seen_as("owner", _row_moved),
    "part": seen_as("owner", _not_reduced),
    "part, retired": seen_as("owner", _retired),
    "part, wrong": seen_as("owner", _part_wrong),
    "part, new": _at("/console/part/new?slot=board"),
    "many parts, prices": _bulk(change="price", by="percent", value="−30", ending="90"),
    "many parts, marked down": _bulk(change="markdown", percent="15", ending="00"),
    "many parts, ticked": seen_as("owner", _ticked),
    "many parts, dearer": seen_as("owner", _dearer),
    "many parts, wrong": seen_as(
        "owner", lambda _world: Seen("/console/catalogue/bulk?change=stock&pieces=many&kind=lost", None, 422)
    ),
}
