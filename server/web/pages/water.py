"""How cold the water of a spot is from month to month, and what that asks for: beside every kit, where the spot is known."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from server.domain.catalogue import Spot
from server.domain.cold import band_of, is_shocking

MONTH_WORDS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
SHOCK = "Cold shock takes the breath for 60 to 90 seconds: float first, then act."


@dataclass(frozen=True, slots=True)
class WaterRow:
    """A month: its water and what it asks for."""

    month: str
    degrees: str
    name: str
    asks_for: str


@dataclass(frozen=True, slots=True)
class WaterShown:
    """This month's water in a sentence or two, and all months that are known."""

    now: str
    rows: tuple[WaterRow, ...]


def water_shown(spot: Spot | None, today: date) -> WaterShown | None:
    """What to say of a spot's water; None where no spot was named or nothing is known of it."""
    if spot is None:
        return None
    rows = tuple(
        WaterRow(month, f"{degrees:.0f} °C", band_of(degrees).name, band_of(degrees).asks_for)
        for month, degrees in zip(MONTH_WORDS, spot.water_c, strict=True)
        if degrees is not None
    )
    if not rows:
        return None
    degrees = spot.water_c[today.month - 1]
    month = MONTH_WORDS[today.month - 1]
    if degrees is None:
        return WaterShown(f"How cold the water of {spot.name} is in {month} we do not know: ask on the beach.", rows)
    band = band_of(degrees)
    now = f"In {month} the water at {spot.name} is about {degrees:.0f} °C, {band.name}: {band.asks_for} is usual."
    return WaterShown(f"{now} {SHOCK}" if is_shocking(degrees) else now, rows)
