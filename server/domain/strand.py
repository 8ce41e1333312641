"""Today at the strand: who may go out in the wind and tide that were typed, with which hand wing, or why not.

Nothing here is a permission: the instructor on the beach has the last word, and local bye-laws hold. Winds are in knots as
they blow, the tide in metres above low water; limits of wind are common practice of the trade, without a source.
"""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from server.domain import physics
from server.domain.catalogue import Gear, LessonKind, Spot
from server.domain.errors import Fault, InvalidInput
from server.domain.fit import DEPTH_UNDER_MAST_M, LEAST_DEPTH_M, NOMINAL_KG, is_less
from server.domain.lessons import Conditions, is_offshore, read_conditions, why_not_teach
from server.domain.policy import LessonTerms
from server.domain.wind import EVEN_GUSTS, Window, window_words, winds_for

COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")
POINT_DEG = 360 / len(COMPASS)
FROM_ACCEPTED = "degrees from 0 to 360 that it comes from, or N, NNE, NE and so on to NNW"
LOWEST_TIDE_M, HIGHEST_TIDE_M = -2.0, 15.0
TIDE_ACCEPTED = f"metres above low water, from {LOWEST_TIDE_M:g} to {HIGHEST_TIDE_M:g}"
OLD_AFTER = timedelta(hours=1)
"""From then on a reading is to be taken anew: wind and tide have moved on. Common practice, without a source."""
_TIDE = re.compile(r"[+-]?\d{1,2}([.,]\d{1,2})?", re.ASCII)

ReasonKind = Literal["weather", "depth", "under", "over", "gusts", "weight"]
OWN: tuple[ReasonKind, ...] = ("over", "gusts")
"""Reasons that speak of the learner's own limits alone, on which they may decline."""
State = Literal["go", "no", "ask"]


@dataclass(frozen=True, slots=True)
class Reading:
    """Wind and tide at a spot as the desk typed them: means and gusts in knots, degrees it comes from, metres above low water."""

    spot: str
    at: datetime
    seen: Conditions
    tide_m: float
    by: str
    id: int = 0

    def is_old(self, now: datetime) -> bool:
        """Whether it is to be taken anew."""
        return now - self.at > OLD_AFTER


@dataclass(frozen=True, slots=True)
class Rider:
    """What of a learner and their gear the wind and the depth ask for: masses in kg, take-off in knots, the mast in cm, hands."""

    mass_kg: float
    all_kg: float
    takeoff_kn: float
    mast_cm: float
    hands: str


@dataclass(frozen=True, slots=True)
class Reason:
    """Why somebody does not go, as a sentence, and what it speaks of."""

    kind: ReasonKind
    words: str


@dataclass(frozen=True, slots=True)
class Verdict:
    """Whether a learner goes, with which hand wing in m² (None where none is needed or none suits), and why not."""

    wing_m2: float | None
    window: Window | None
    reasons: tuple[Reason, ...]

    @property
    def state(self) -> State:
        """`go`, `no`, or `ask` where nothing speaks against it but the learner's weight is not known."""
        if not self.reasons:
            return "go"
        return "ask" if all(reason.kind == "weight" for reason in self.reasons) else "no"

    @property
    def may_decline(self) -> bool:
        """Whether only the learner's own window speaks against it: the lesson is on, and they may say no at no cost."""
        return self.state == "no" and all(reason.kind in OWN for reason in self.reasons)

    @property
    def is_to_call_off(self) -> bool:
        """Whether it is the shop that says no."""
        return self.state == "no" and not self.may_decline


def degrees_of(text: str) -> str:
    """A direction as typed in degrees: a compass word becomes them, anything else stays as it is. NNE: 22.5."""
    word = text.strip().upper()
    return f"{COMPASS.index(word) * POINT_DEG:g}" if word in COMPASS else text


def compass_word(from_deg: float) -> str:
    """The nearest of the sixteen compass words: 240° is WSW."""
    return COMPASS[round(from_deg / POINT_DEG) % len(COMPASS)]


def read_reading(typed: Mapping[str, str], spots: Collection[str], now: datetime, by: str) -> Reading:
    """A reading from what was typed; raises `InvalidInput` with every fault. Nothing typed is a fault too."""
    faults: list[Fault] = []
    if typed["spot"] not in spots:
        faults.append(Fault("spot", "The shop lists no such spot.", "one of: " + ", ".join(spots)))
    seen = None
    try:
        # Something in every field, so that what is blank is a fault beside it.
        wind = {name: typed[name] or "?" for name in ("mean_kn", "gust_kn")}
        seen = read_conditions(
            {**wind, "from_deg": degrees_of(typed["from_deg"]) or "?", "lightning": typed["lightning"]}
        )
    except InvalidInput as error:
        faults += [Fault("from_deg", f.message, FROM_ACCEPTED) if f.field == "from_deg" else f for f in error.faults]
    tide = float(typed["tide_m"].replace(",", ".")) if _TIDE.fullmatch(typed["tide_m"]) else None
    if tide is None or not LOWEST_TIDE_M <= tide <= HIGHEST_TIDE_M:
        faults.append(Fault("tide_m", "This is no height of the tide.", TIDE_ACCEPTED))
    if faults or seen is None or tide is None:
        raise InvalidInput(faults)
    return Reading(typed["spot"], now, seen, tide, by)


def rider_on(gear: Mapping[str, Gear], mass_kg: float, worn_kg: float, water: str, hands: str) -> Rider:
    """A learner of a mass on gear of their own, by slot; a piece without a mass counts its nominal share. Masses in kg."""
    own_kg = sum(gear[slot].number_or("mass_kg", nominal) for slot, nominal in NOMINAL_KG.items())
    all_kg = mass_kg + worn_kg + own_kg
    takeoff = physics.takeoff_kn(all_kg, gear["front_foil"].size, physics.density_kg_m3(water))
    return Rider(mass_kg, all_kg, takeoff, gear["mast"].size, hands)


def least_depth_m(mast_cm: float) -> float:
    """The water a mast needs: its length and 35 cm under it, and one metre at least. 72 cm: 1.07 m."""
    return max(LEAST_DEPTH_M, mast_cm / 100 + DEPTH_UNDER_MAST_M)


def most_gust(window: Window, spot: Spot) -> float:
    """The strongest gust in knots that a window bears: its high end, a mean, times the spot's gust ratio, and 1.25 at least.

    The high end allows for such gusts already; what goes beyond them does not. 20 kn at a ratio of 1.25: 25 kn.
    """
    return window.high * max(EVEN_GUSTS, spot.gust_ratio)


def verdict(
    rider: Rider | None,
    kind: LessonKind,
    spot: Spot,
    reading: Reading,
    sizes: Sequence[float],
    terms: LessonTerms,
    why_unknown: str = "Ask their weight: without it there is no hand wing to name.",
) -> Verdict:
    """Whether a learner goes in a lesson of a kind, with which of the hand wings (m²) the shop has, and every reason against it.

    The hand wing is the one whose window for their hands holds the mean wind nearest to its middle; of two equal ones the
    smaller. Behind the boat no hand wing and no wind is asked for. `rider` is None where `why_unknown` says.
    """
    reasons = [Reason("weather", words) for words in why_not_teach(kind, spot, reading.seen, terms)]
    needs_wind = kind.kind not in terms.without_wind
    if needs_wind and is_offshore(reading.seen.from_deg, spot):
        share = f"{100 * spot.safe_share:.0f} % of the wind there comes from its safe side."
        # What is said of the land stands last.
        reasons[-1] = Reason("weather", f"{reasons[-1].words} {share}")
    reasons += _why_depth(rider, spot, reading.tide_m)
    if rider is None:
        return Verdict(None, None, (*reasons, Reason("weight", why_unknown)))
    if not needs_wind:
        return Verdict(None, None, tuple(reasons))
    wing, window, against = _hand_wing(rider, spot, reading.seen, sizes)
    return Verdict(wing, window, (*reasons, *against))


def _why_depth(rider: Rider | None, spot: Spot, tide_m: float) -> list[Reason]:
    """Too little water for a rider's mast; without a rider, for any mast."""
    if spot.min_depth_m is None:
        return []
    depth, needed = spot.min_depth_m + tide_m, LEAST_DEPTH_M if rider is None else least_depth_m(rider.mast_cm)
    if not is_less(depth, needed):
        return []
    who = "any mast" if rider is None else f"a mast of {rider.mast_cm:.0f} cm"
    return [Reason("depth", f"At this tide there is {depth:.2f} m of water; {who} needs {needed:.2f} m.")]


def _hand_wing(
    rider: Rider, spot: Spot, seen: Conditions, sizes: Sequence[float]
) -> tuple[float | None, Window | None, list[Reason]]:
    """The hand wing for this wind with its window; or None with why there is none."""
    windows = {
        size: winds_for(rider.mass_kg, rider.all_kg, rider.takeoff_kn, size, spot.gust_ratio).of(rider.hands)
        for size in sorted(set(sizes))
    }
    is_open = {size: window for size, window in windows.items() if window.is_open}
    holding = {size: window for size, window in is_open.items() if window.low <= seen.mean_kn <= window.high}
    bearing = {size: window for size, window in holding.items() if not is_less(most_gust(window, spot), seen.gust_kn)}
    if bearing:
        best = min(bearing, key=lambda size: (abs(seen.mean_kn - (bearing[size].low + bearing[size].high) / 2), size))
        return best, bearing[best], []
    if holding:
        size = max(holding, key=lambda size: most_gust(holding[size], spot))
        most = most_gust(holding[size], spot)
        # Never rounded up to the gust itself.
        most = math.floor(10 * most) / 10
        words = (
            f"Gusts of {seen.gust_kn:g} kn are over {most:g} kn: the high end of {window_words(holding[size])} "
            f"for {rider.hands} hands with {size:g} m², times {max(EVEN_GUSTS, spot.gust_ratio):g} for usual gusts."
        )
        return None, None, [Reason("gusts", words)]
    return None, None, [_why_outside(rider, seen.mean_kn, is_open)]


def _why_outside(rider: Rider, mean_kn: float, windows: Mapping[float, Window]) -> Reason:
    """Why no hand wing holds this wind."""
    who = f"{rider.mass_kg:.0f} kg in {rider.hands} hands"
    if not windows:
        return Reason("over", f"No hand wing here both lifts and spares {who} in the gusts of this spot.")
    largest, smallest = max(windows), min(windows)
    if mean_kn < min(window.low for window in windows.values()):
        words = f"Under their window: with the largest hand wing, {largest:g} m², {who} want {window_words(windows[largest])}."
        return Reason("under", words)
    if mean_kn > max(window.high for window in windows.values()):
        words = f"Over their window: with the smallest hand wing, {smallest:g} m², {who} want {window_words(windows[smallest])}."
        return Reason("over", words)
    return Reason("over", f"Between two windows: no hand wing here holds {mean_kn:g} kn for {who}.")


def why_call_off(verdicts: Sequence[Verdict]) -> tuple[str, ...]:
    """Why a lesson with these learners is called off for all of them, as sentences; empty where it stays on.

    It is called off where the weather speaks against the lesson, or where the shop says no to each learner. Where only a
    learner's own window speaks against it the lesson stays on, and they may decline.
    """
    if any(reason.kind == "weather" for one in verdicts for reason in one.reasons):
        kinds: tuple[ReasonKind, ...] = ("weather",)
    elif verdicts and all(one.is_to_call_off for one in verdicts):
        kinds = ("depth", "under", *OWN)
    else:
        return ()
    told = (reason.words for one in verdicts for reason in one.reasons if reason.kind in kinds)
    return tuple(dict.fromkeys(told))
