"""The units that somebody reads in: remembered in one cookie that holds nothing else, and numbers put into words in them.

Everything inside is kept in kilograms, centimetres and knots; only what is read on a page is turned.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from starlette.requests import Request
from starlette.responses import Response

from server.domain.catalogue import Gear
from server.domain.fit import Target
from server.domain.kits import size_words
from server.domain.slots import SIZES, UNITS
from server.domain.units import LB_PER_STONE, beaufort_from_kn, inches_from_cm, kmh_from_kn, lb_from_kg
from server.domain.wind import Window, window_words
from server.web.drawings.sheet import Drawing

COOKIE = "units"
COOKIE_OVER_HTTPS = f"__Host-{COOKIE}"
"""A name under which only this very host can have set it (RFC 6265bis, 4.1.3.2)."""
A_YEAR = 365 * 24 * 3600
CHOICES: dict[str, dict[str, str]] = {
    "mass": {"kg": "kilograms", "lb": "pounds", "st": "stones and pounds"},
    "length": {"cm": "centimetres", "in": "inches"},
    "wind": {"knots": "knots", "beaufort": "Beaufort", "kmh": "km/h"},
}
_MASSES = re.compile(r"(\d+(?:\.\d+)?) kg\b")
_LENGTHS = re.compile(r"(\d+(?:\.\d+)?)(?:( of | to | and | or )(\d+(?:\.\d+)?))? cm(?![²\w])")


@dataclass(frozen=True, slots=True)
class Units:
    """One unit for each quantity; the defaults are the shop's own."""

    mass: str = "kg"
    length: str = "cm"
    wind: str = "knots"

    def __post_init__(self) -> None:
        """Refuse, with `ValueError`, a unit that is not among the choices."""
        for name, choices in CHOICES.items():
            if getattr(self, name) not in choices:
                raise ValueError(f"{getattr(self, name)!r} is no unit of {name}")


SHOP_UNITS = Units()


def remembered(request: Request) -> Units | None:
    """The units in the cookie; None where there is none, or where it says anything else."""
    parts = (request.cookies.get(COOKIE_OVER_HTTPS) or request.cookies.get(COOKIE, "")).split(".")
    if len(parts) != len(CHOICES):
        return None
    try:
        return Units(*parts)
    except ValueError:
        return None


def units_of(request: Request) -> Units:
    """The units to show a page in: those remembered, else the shop's own."""
    return remembered(request) or SHOP_UNITS


def remember(response: Response, units: Units, *, is_secure: bool) -> None:
    """Keep the units for a year in the browser; over https the cookie is never sent in the clear."""
    value = f"{units.mass}.{units.length}.{units.wind}"
    name = COOKIE_OVER_HTTPS if is_secure else COOKIE
    response.set_cookie(name, value, max_age=A_YEAR, path="/", secure=is_secure, httponly=True, samesite="lax")


def mass_in(mass_kg: float, units: Units) -> str:
    """A mass to half a unit or better: 80 kg, 176 lb, 12 st 8 lb."""
    if units.mass == "lb":
        return f"{lb_from_kg(mass_kg):.0f} lb"
    if units.mass == "st":
        stone, pounds = divmod(round(lb_from_kg(mass_kg)), LB_PER_STONE)
        return f"{stone} st {pounds} lb"
    return f"{mass_kg:.1f}".removesuffix(".0") + " kg"


def _inches(length_cm: float) -> str:
    return f"{inches_from_cm(length_cm):.1f}"


def length_in(length_cm: float, units: Units) -> str:
    """A length: 175 cm, or to a tenth of an inch 68.9 in."""
    return f"{_inches(length_cm)} in" if units.length == "in" else f"{length_cm:g} cm"


def wind_in(wind_kn: float, units: Units) -> str:
    """A wind: 15 knots, F4, 28 km/h."""
    if units.wind == "beaufort":
        return f"F{beaufort_from_kn(wind_kn)}"
    return f"{kmh_from_kn(wind_kn):.0f} km/h" if units.wind == "kmh" else f"{wind_kn:.0f} knots"


def wind_beside(wind_kn: float, units: Units) -> str:
    """A wind with the knots beside it where it is said otherwise: F4 (15 knots)."""
    knots = wind_in(wind_kn, SHOP_UNITS)
    return knots if units.wind == "knots" else f"{wind_in(wind_kn, units)} ({knots})"


def window_in(window: Window, units: Units) -> str:
    """A range of winds with the knots beside it where it is said otherwise: F4 to F5 (14 to 21 knots)."""
    knots = window_words(window)
    if units.wind == "knots" or not window.is_open:
        return knots
    low, high = wind_in(window.low, units), wind_in(window.high, units)
    if units.wind == "kmh":
        low = low.removesuffix(" km/h")
    return f"{low if low == high else f'{low} to {high}'} ({knots})"


def speed_in(speed_kn: float, units: Units) -> str:
    """The speed of a craft: 7.1 knots or 13.1 km/h. Beaufort is a scale of winds, so with it a speed stays in knots."""
    return f"{kmh_from_kn(speed_kn):.1f} km/h" if units.wind == "kmh" else f"{speed_kn:.1f} knots"


def size_in(gear: Gear, units: Units) -> str:
    """A piece's size: lengths as chosen, litres and areas as the trade has them everywhere."""
    if UNITS[gear.slot] == "cm":
        return length_in(gear.number(SIZES[gear.slot]), units)
    return size_words(gear)


def measures_said_in(text: str, units: Units) -> str:
    """A sentence with its centimetres and kilograms turned; areas and litres stay.

    "Sits 12 of 14 cm deep" becomes "sits 4.7 of 5.5 in deep", and "pulls 80 kg up" becomes "pulls 176 lb up".
    """
    if units.mass != "kg":
        text = _MASSES.sub(lambda found: mass_in(float(found[1]), units), text)
    if units.length == "cm":
        return text

    def turned(found: re.Match[str]) -> str:
        first = _inches(float(found[1]))
        return f"{first}{found[2]}{_inches(float(found[3]))} in" if found[2] else f"{first} in"

    return _LENGTHS.sub(turned, text)


def drawing_in(drawing: Drawing, units: Units) -> Drawing:
    """A drawing with the lengths in its lettering, its title and its words turned."""
    if units.length == "cm":
        return drawing
    lettering = tuple(replace(word, words=measures_said_in(word.words, units)) for word in drawing.lettering)
    title, words = measures_said_in(drawing.title, units), measures_said_in(drawing.words, units)
    return replace(drawing, lettering=lettering, title=title, words=words)


def rounded_in(value: float, unit: str, units: Units) -> str:
    """A size's number as precisely as anyone speaks of it: m² and inches to a tenth, cm² to ten, litres and centimetres whole."""
    if unit == "cm" and units.length == "in":
        return _inches(value)
    if unit == "m2":
        return f"{value:.1f}"
    return f"{round(value, -1 if unit == 'cm2' else 0):.0f}"


def ends_in(target: Target, units: Units) -> tuple[str, str, str]:
    """Low, ideal and high of a target as a ruler's numbers."""
    unit = target.unit
    return (
        rounded_in(target.low, unit, units),
        rounded_in(target.ideal, unit, units),
        rounded_in(target.high, unit, units),
    )
