"""Places on the owner's pages: delivery zones, kinds of lessons, and spots with the winds that they give."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.catalogue import LessonKind, Spot, Zone
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.usecases.naming import PlaceKind, what_names
from server.usecases.places import (
    COLUMNS,
    PLACE_KINDS,
    PLACE_WORDS,
    cells_of,
    digest_of,
    named_place,
    put_first,
    put_place,
    read_place,
    remove_place,
    winds_at,
)
from server.usecases.work import Work
from server.web.pages.drawn import Pair
from server.web.pages.forms import Form, TypedForm, text_in
from server.web.pages.kept import Kept, kept_as, kept_in
from server.web.pages.winds import MONTHS, WindsShown, winds_shown
from server.web.render import see_other
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)

FIELD_WORDS = {
    "zone": "Zone",
    "fee": "Fee with VAT",
    "cost": "Cost without VAT",
    "days": "Working days on the way",
    "kind": "Word",
    "title": "Title",
    "minutes": "Minutes",
    "places": "Places",
    "name": "Name",
    "water": "Water",
    "min_depth_m": "Depth at low tide",
    "gust_ratio": "Gusts over the steady wind",
    "safe_share": "Share of safe winds",
    "safe_from_deg": "Safe winds from",
    "safe_to_deg": "Safe winds to",
    "k": "Spread of the winds (Weibull k)",
    **{f"mean_{number:02d}": f"Mean wind in {month}" for number, month in enumerate(MONTHS, start=1)},
    **{f"water_c_{number:02d}": f"Water in {month}" for number, month in enumerate(MONTHS, start=1)},
}
HANDS = "new"


@dataclass(frozen=True, slots=True)
class SpotRow:
    """A spot in the list."""

    spot: Spot
    riding_wind: str
    year: str


@dataclass(frozen=True)
class PlacesPage:
    """All zones, kinds of lessons and spots."""

    zones: tuple[Zone, ...]
    lessons: tuple[LessonKind, ...]
    spots: tuple[SpotRow, ...]
    home_zone: str
    kept: Kept | None


@dataclass(frozen=True, slots=True)
class SpotWinds:
    """What a spot's numbers give: its riding wind in knots, and the days' worth by month where a kit suits there."""

    riding_wind: str
    winds: WindsShown | None
    by_month: Pair | None


@dataclass(frozen=True)
class PlacePage(TypedForm):
    """One zone, kind of lesson or spot, or a new one, to be changed."""

    of: PlaceKind
    word: str
    name: str
    digest: str
    named_by: tuple[str, ...]
    is_first: bool
    winds: SpotWinds | None
    months: tuple[tuple[str, str], ...] = tuple(
        (f"{number:02d}", month) for number, month in enumerate(MONTHS, start=1)
    )
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field asks for."""
        return FIELD_WORDS.get(name, "")


@owner_router.get("/console/places")
def show_places(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """All places."""
    with shop.reading(account.name) as work:
        catalogue = work.catalogue
        page = PlacesPage(
            zones=tuple(catalogue.zones.values()),
            lessons=tuple(catalogue.lessons.values()),
            spots=tuple(
                SpotRow(spot, f"{spot.riding_wind_kn:.0f}", f"{sum(spot.means_kn) / 12:.0f}")
                for spot in catalogue.spots.values()
            ),
            home_zone=catalogue.policy.shop.home_zone,
            kept=kept_in(work, request.query_params),
        )
        return pages.show(request, "console/places.html", page, catalogue.policy.shop)


@owner_router.get("/console/places/edit")
def show_place(
    request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf, of: str = "", name: str = ""
) -> Response:
    """A place by its name, or the form for a new one."""
    with shop.reading(account.name) as work:
        page = _page(work, _kind(of), name)
        return pages.show(request, "console/places_edit.html", page, work.catalogue.policy.shop)


def _kind(text: str) -> PlaceKind:
    kind = next((one for one in PLACE_KINDS if one == text), None)
    if kind is None:
        raise NotFound("of", "There are zones, kinds of lessons and spots.")
    return kind


def _page(
    work: Work,
    of: PlaceKind,
    name: str,
    typed: Mapping[str, str] | None = None,
    faults: tuple[Fault, ...] = (),
    digest: str = "",
) -> PlacePage:
    place = named_place(work, of, name) if name else None
    cells = typed or (cells_of(place) if place is not None else {})
    listed = {"zone": work.catalogue.zones, "lesson": work.catalogue.lessons, "spot": work.catalogue.spots}[of]
    return PlacePage(
        of=of,
        word=PLACE_WORDS[of],
        name=name,
        digest=digest or ("" if place is None else digest_of(place)),
        named_by=what_names(work, of, name) if name else (),
        is_first=bool(name) and next(iter(listed)) == name,
        winds=_winds(work, cells) if of == "spot" else None,
        typed=cells,
        faults=faults,
    )


def _winds(work: Work, cells: Mapping[str, str]) -> SpotWinds | None:
    """What a spot's numbers as typed give; None where they cannot be read yet."""
    try:
        spot = read_place("spot", cells)
    except InvalidInput:
        return None
    assert isinstance(spot, Spot)
    wings = winds_at(work, spot)
    shown = winds_shown(wings, HANDS, spot.name, spot.riding_wind_kn) if wings else None
    return SpotWinds(f"{spot.riding_wind_kn:.1f}", shown, shown.by_month if shown else None)


@owner_router.post("/console/places/edit")
def change(request: Request, account: OwnerOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Show what a spot's numbers give, save a place, put it first, or take it away; each but the first is one step."""
    of, name, do, digest = _kind(text_in(form, "of")), text_in(form, "was"), text_in(form, "do"), text_in(form, "shown")
    typed = {column.name: text_in(form, column.name) for column in COLUMNS[of]} if do in ("show", "save") else None
    faults: tuple[Fault, ...] = ()
    status = 200
    try:
        if do == "show":
            read_place(of, typed or {})
        else:
            with shop.writing(account.name) as work:
                before = work.catalogue.version
                kept = kept_as(_do(work, do, of, name, typed or {}, digest), before)
            return see_other(f"/console/places?{urlencode(kept)}" if kept else f"/console/places#{of}s")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _page(work, of, name, typed, faults, digest)
        return pages.show(request, "console/places_edit.html", page, work.catalogue.policy.shop, status=status)


def _do(work: Work, do: str, of: PlaceKind, name: str, typed: Mapping[str, str], digest: str) -> int:
    """Do what was pressed; the version of the catalogue then."""
    if do == "remove":
        return remove_place(work, of, name)
    if do == "first":
        return put_first(work, of, name)
    return put_place(work, of, read_place(of, typed), name, digest)
