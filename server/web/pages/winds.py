"""The winds of a kit in words and in small tables, for the kit page and the quote page alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.domain.wind import Winds, WingWinds
from server.web.drawings.winds import months_chart, window_chart
from server.web.pages.drawn import Pair
from server.web.units import SHOP_UNITS, Units, wind_beside, window_in

WIDE, NARROW = 640.0, 330.0
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
ROLES = {
    "chosen": "this hand wing",
    "beside": "beside it, for stronger wind",
    "smaller": "one smaller",
    "larger": "one larger",
}


@dataclass(frozen=True, slots=True)
class WingRow:
    """A hand wing, the winds it covers, and each month's days' worth for the hands that are shown."""

    role: str
    size: str
    new: str
    practised: str
    months: tuple[str, ...]
    year: str


@dataclass(frozen=True, slots=True)
class WindsShown:
    """What the pages say of a kit's winds."""

    first: str
    first_words: str
    then: str
    then_words: str
    spot: str
    usual: str
    usual_words: str
    rows: tuple[WingRow, ...]
    window: Pair
    by_month: Pair | None
    months: tuple[str, ...] = MONTHS


def winds_shown(
    wings: Sequence[WingWinds], hands: str, spot: str, usual_wind_kn: float, units: Units = SHOP_UNITS
) -> WindsShown:
    """The windows of a kit's hand wings, those of the learner's own hands first; the chart's axis is in knots whatever the units."""
    chosen = wings[0].winds
    other = "new" if hands == "practised" else "practised"
    return WindsShown(
        first=hands,
        first_words=window_in(chosen.of(hands), units),
        then=other,
        then_words=window_in(chosen.of(other), units),
        spot=spot,
        usual=f"{usual_wind_kn:.0f}",
        usual_words=wind_beside(usual_wind_kn, units),
        rows=tuple(_row(wing, hands, units) for wing in wings),
        window=_window(chosen, (hands, other), usual_wind_kn),
        by_month=_by_month(wings, hands, spot) if spot else None,
    )


def _window(winds: Winds, hands: tuple[str, str], usual_kn: float) -> Pair:
    bars = [(name, winds.of(name)) for name in hands]
    return Pair(window_chart(bars, usual_kn, WIDE), window_chart(bars, usual_kn, NARROW))


def _by_month(wings: Sequence[WingWinds], hands: str, spot: str) -> Pair:
    return Pair(months_chart(wings, hands, spot, WIDE), months_chart(wings, hands, spot, NARROW))


def _row(wing: WingWinds, hands: str, units: Units) -> WingRow:
    days = wing.months.get(hands, ())
    return WingRow(
        role=ROLES[wing.role],
        size=f"{wing.area_m2:g} m²",
        new=window_in(wing.winds.new, units),
        practised=window_in(wing.winds.practised, units),
        months=tuple(f"{day:.0f}" for day in days),
        year=f"{sum(days):.0f}" if days else "",
    )
