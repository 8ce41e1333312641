"""The winds of a kit in words and in small tables, for the kit page and the quote page alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.domain.wind import Winds, WingWinds, window_words
from server.web.drawings.winds import months_chart, window_chart
from server.web.pages.drawn import Pair

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
    rows: tuple[WingRow, ...]
    window: Pair
    by_month: Pair | None
    months: tuple[str, ...] = MONTHS


def winds_shown(wings: Sequence[WingWinds], hands: str, spot: str, usual_wind_kn: float) -> WindsShown:
    """The windows of a kit's hand wings, those of the learner's own hands first."""
    chosen = wings[0].winds
    other = "new" if hands == "practised" else "practised"
    return WindsShown(
        first=hands,
        first_words=window_words(chosen.of(hands)),
        then=other,
        then_words=window_words(chosen.of(other)),
        spot=spot,
        usual=f"{usual_wind_kn:.0f}",
        rows=tuple(_row(wing, hands) for wing in wings),
        window=_window(chosen, (hands, other), usual_wind_kn),
        by_month=_by_month(wings, hands, spot) if spot else None,
    )


def _window(winds: Winds, hands: tuple[str, str], usual_kn: float) -> Pair:
    bars = [(name, winds.of(name)) for name in hands]
    return Pair(window_chart(bars, usual_kn, WIDE), window_chart(bars, usual_kn, NARROW))


def _by_month(wings: Sequence[WingWinds], hands: str, spot: str) -> Pair:
    return Pair(months_chart(wings, hands, spot, WIDE), months_chart(wings, hands, spot, NARROW))


def _row(wing: WingWinds, hands: str) -> WingRow:
    days = wing.months.get(hands, ())
    return WingRow(
        role=ROLES[wing.role],
        size=f"{wing.area_m2:g} m²",
        new=window_words(wing.winds.new),
        practised=window_words(wing.winds.practised),
        months=tuple(f"{day:.0f}" for day in days),
        year=f"{sum(days):.0f}" if days else "",
    )
