"""How cold the water is, and what it asks for; bands for a caution, never a promise that somebody is warm enough."""

from __future__ import annotations

from dataclasses import dataclass

COLD_SHOCK_C = (
    15.0  # Under 15 °C water is cold: the national lifeboat institutions' advice, cold shock passing in 60 to 90 s.
)


@dataclass(frozen=True, slots=True)
class WaterBand:
    """A band of water temperatures in °C, from its low end on, and what riders usually wear in it (common practice)."""

    from_c: float
    name: str
    asks_for: str


BANDS = (
    WaterBand(20.0, "mild", "a thin or short wet suit"),
    WaterBand(15.0, "cool", "a full wet suit of about 4/3 mm"),
    WaterBand(10.0, "cold", "a full wet suit of about 5/4 mm, boots, and a hood when it blows"),
    WaterBand(-10.0, "very cold", "a winter suit of about 6/5 mm with hood, gloves and boots, and short turns"),
)


def band_of(water_c: float) -> WaterBand:
    """The band of a temperature; 12 °C is cold, 15 °C is cool."""
    return next((band for band in BANDS if water_c >= band.from_c), BANDS[-1])


def is_shocking(water_c: float) -> bool:
    """Whether falling in can take the breath away: under 15 °C."""
    return water_c < COLD_SHOCK_C
