"""Which forecast winds suit a learner on a kit, and how many days' worth of them a spot has, month by month.

All winds are forecast winds at 10 m in knots. The ends are estimates, ± 2 kn, fitted so that common practice of the trade holds (low
end in practised hands to high end in new hands); nobody has published a measured take-off of this craft. Never a permission.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from server.domain import physics
from server.domain.catalogue import Spot
from server.domain.learner import Answers

HANDS = ("new", "practised")
GLIDE = {"new": 8.0, "practised": 9.0}
PUMPING = {"new": 1.0, "practised": 1.3}
PUSH_SHARE = {"new": 0.20, "practised": 0.28}
CEILING_KN = {"new": 22.0, "practised": 30.0}
EVEN_GUSTS = 1.25
UNCERTAINTY_KN = 2.0


@dataclass(frozen=True, slots=True)
class Window:
    """The winds from a low to a high end; where low is not below high, there are none."""

    low: float
    high: float

    @property
    def is_open(self) -> bool:
        """Whether any wind suits."""
        return self.low < self.high


@dataclass(frozen=True, slots=True)
class Winds:
    """The winds that suit new and practised hands."""

    new: Window
    practised: Window

    def of(self, hands: str) -> Window:
        """The window of `new` or `practised` hands."""
        return self.practised if hands == "practised" else self.new


def hands_of(answers: Answers) -> str:
    """Which hands are shown first: practised only where the learner says so."""
    return "practised" if answers.wing_handling == "practised" else "new"


def winds_for(rider_kg: float, all_kg: float, takeoff_kn: float, wing_m2: float, gust_ratio: float | None) -> Winds:
    """The wind windows of a kit: `rider_kg` the learner's own mass, `all_kg` with gear and kit, the hand wing in m².

    Low end: the least wind that lifts the kit off; high end: the wind that pushes too hard on the wing, less in gusts over
    1.25 times the mean, and never over 22 kn (new hands) or 30 kn. Without a spot the gusts are taken as even. 85 kg, 101.5 kg,
    7.14 kn, 5.5 m², 1.25: new 13.7 to 20.8 kn, practised 11.3 to 24.6 kn.
    """
    gusts = 1.0 if gust_ratio is None else min(1.0, EVEN_GUSTS / gust_ratio)

    def window(hands: str) -> Window:
        low = physics.least_wind_kn(all_kg, takeoff_kn, wing_m2, GLIDE[hands], PUMPING[hands])
        high = physics.most_wind_kn(rider_kg, wing_m2, PUSH_SHARE[hands]) * gusts
        return Window(low, min(high, CEILING_KN[hands]))

    return Winds(window("new"), window("practised"))


def flyable_days(spot: Spot, window: Window) -> tuple[float, ...]:
    """Days' worth of flyable wind in each month: days × share of safe directions × P(low ≤ W ≤ high), W Weibull."""
    if not window.is_open:
        return (0.0,) * 12
    return tuple(
        days
        * spot.safe_share
        * physics.weibull_between(window.low, window.high, physics.weibull_scale(mean, spot.shape), spot.shape)
        for days, mean in zip(physics.DAYS_OF_MONTH, spot.means_kn, strict=True)
    )


def window_words(window: Window) -> str:
    """A window to the nearest knot: 14 to 21 knots."""
    return f"{window.low:.0f} to {window.high:.0f} knots" if window.is_open else "no wind that suits"


def notes_on_wind(winds: Winds, answers: Answers) -> tuple[str, ...]:
    """What must be said of a kit's winds beside the learner's usual one."""
    hands = hands_of(answers)
    window, usual = winds.of(hands), answers.usual_wind_kn
    if not window.is_open:
        gusty = (
            " in the gusts of this spot" if answers.spot is not None and answers.spot.gust_ratio > EVEN_GUSTS else ""
        )
        return (f"There is no wind that both lifts you and spares you{gusty} with this hand wing in {hands} hands.",)
    if usual > window.high:
        return (
            f"Your usual {usual:.0f} knots are over what suits {hands} hands on this kit: not out there on its usual day.",
        )
    if usual < window.low - UNCERTAINTY_KN:
        return (
            f"Your usual {usual:.0f} knots are under what lifts {hands} hands on this kit: your usual day will not fly you.",
        )
    return ()


@dataclass(frozen=True, slots=True)
class WingWinds:
    """A hand wing of a kit with the winds it covers and, at a spot, the flyable days' worth of each month by hands."""

    role: str
    """`chosen`, `smaller`, `larger` or `beside`."""
    area_m2: float
    name: str
    sku: str
    winds: Winds
    months: Mapping[str, tuple[float, ...]]


def months_at(spot: Spot | None, winds: Winds) -> dict[str, tuple[float, ...]]:
    """The flyable days' worth of each month, by hands; empty without a spot."""
    return {} if spot is None else {hands: flyable_days(spot, winds.of(hands)) for hands in HANDS}
