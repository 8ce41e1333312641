"""Who goes at the strand: compass words, the hand wing for the wind, and every reason against going out."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Gear, LessonKind, Spot
from server.domain.errors import InvalidInput
from server.domain.lessons import Conditions
from server.domain.policy import LessonTerms
from server.domain.strand import (
    Reading,
    Rider,
    Verdict,
    compass_word,
    degrees_of,
    least_depth_m,
    most_gust,
    read_reading,
    rider_on,
    verdict,
    why_call_off,
)
from server.domain.wind import winds_for
from tests.builders_strand import typed_reading

NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)
TERMS = LessonTerms()
PRIVATE = LessonKind("private", "Private lesson", 115_00, 46_00, 90, 1)
TOW = LessonKind("tow", "Behind the boat", 95_00, 52_00, 60, 1)
SIZES = (3.0, 3.5, 4.0, 4.5, 5.0, 5.5, 6.0, 6.5, 7.0)
MEANS = (12.0,) * 12
# The worked example of the model's wind windows: 85 kg, 101.5 kg in all, 7.14 kn to take off, a mast of 72 cm.
RIDER = Rider(85, 101.5, 7.14, 72, "new")


def spot(depth_m: float | None = 1.6, gust_ratio: float = 1.25) -> Spot:
    return Spot("Tullaveen Strand", "sea", depth_m, gust_ratio, 0.62, 200, 320, MEANS)


def reading(
    mean: float = 16, gust: float = 19, origin: float = 240, tide: float = 1.5, *, light: bool = False
) -> Reading:
    return Reading("Tullaveen Strand", NOW, Conditions(mean, gust, origin, light), tide, "Maeve")


def judged(
    seen: Reading | None = None, rider: Rider | None = RIDER, kind: LessonKind = PRIVATE, at: Spot | None = None
) -> Verdict:
    return verdict(rider, kind, at or spot(), seen or reading(), SIZES, TERMS)


def kinds(found: Verdict) -> list[str]:
    return [reason.kind for reason in found.reasons]


# Sixteen points of 22.5° each, clockwise from north: Bowditch, The American Practical Navigator (NGA Pub. 9), "Compass Points".
@pytest.mark.parametrize(
    ("word", "degrees"),
    [("N", 0), ("NNE", 22.5), ("E", 90), ("SE", 135), ("SSW", 202.5), ("wsw", 247.5), ("NNW", 337.5)],
)
def test_a_compass_word_is_its_degrees(word: str, degrees: float) -> None:
    assert float(degrees_of(word)) == degrees
    assert compass_word(degrees) == word.upper()


@given(st.floats(0, 360))
def test_every_direction_has_the_word_nearest_to_it(origin: float) -> None:
    off = abs(float(degrees_of(compass_word(origin))) - origin)
    assert min(off, 360 - off) <= 11.25 + 1e-9


def test_a_reading_says_every_fault_at_its_field() -> None:
    with pytest.raises(InvalidInput) as caught:
        read_reading(
            typed_reading(spot="Elsewhere", mean_kn="", gust_kn="", from_deg="NNNW", tide_m="high"), ("A",), NOW, ""
        )
    assert [fault.field for fault in caught.value.faults] == ["spot", "mean_kn", "gust_kn", "from_deg", "tide_m"]
    with pytest.raises(InvalidInput):
        read_reading(typed_reading(gust_kn="12"), ("Tullaveen Strand",), NOW, "")
    read = read_reading(typed_reading(from_deg="sw", tide_m="-0,3"), ("Tullaveen Strand",), NOW, "Maeve")
    assert (read.seen.from_deg, read.tide_m, read.seen.has_lightning) == (225, -0.3, False)
    assert not read.is_old(NOW + timedelta(hours=1))
    assert read.is_old(NOW + timedelta(hours=1, seconds=1))


def test_the_hand_wing_is_the_one_whose_window_holds_the_wind_nearest_to_its_middle() -> None:
    # The model's §9 gives 5.5 m² in new hands 13.7 to 20.8 kn, whose middle is 17.25 kn.
    found = judged(reading(17.2, 20))
    assert (found.state, found.wing_m2) == ("go", 5.5)
    assert found.window is not None
    assert (round(found.window.low, 1), round(found.window.high, 1)) == (13.7, 20.8)


@given(st.floats(12, 24), st.floats(45, 120))
def test_more_wind_is_never_a_larger_hand_wing(mean: float, mass: float) -> None:
    rider = Rider(mass, mass + 16.5, 7, 72, "practised")
    less, more = (judged(reading(wind, wind), rider) for wind in (mean, mean + 0.5))
    if less.wing_m2 and more.wing_m2:
        assert more.wing_m2 <= less.wing_m2


@pytest.mark.parametrize(
    ("seen", "against"),
    [
        (reading(light=True), ["weather"]),
        (reading(16, 26), ["weather"]),
        (reading(11, 13), ["weather", "under"]),
        (reading(origin=90), ["weather"]),
        (reading(tide=-0.54), ["depth"]),
        (reading(tide=-0.53), []),
        (reading(24, 25), ["over"]),
        (reading(origin=90, tide=-2, light=True), ["weather", "weather", "depth"]),
    ],
)
def test_every_reason_is_said(seen: Reading, against: list[str]) -> None:
    assert kinds(judged(seen)) == against


def test_offshore_says_the_share_of_safe_directions() -> None:
    [reason] = judged(reading(origin=90)).reasons
    assert "blows off the land" in reason.words
    assert "62 %" in reason.words


def test_depth_is_the_spots_at_low_water_and_the_tide_against_the_mast() -> None:
    # The model's §7: the least depth is max(1.0 m, L/100 + 0.35 m).
    assert least_depth_m(72) == pytest.approx(1.07)
    assert least_depth_m(60) == 1.0
    assert (
        "At this tide there is 1.06 m of water; a mast of 72 cm needs 1.07 m."
        in judged(reading(tide=-0.54)).reasons[0].words
    )
    assert judged(reading(tide=-2), at=spot(None)).state == "go"


@pytest.mark.parametrize(("gust", "wing"), [(20, 5.0), (22, 4.5), (25, None)])
def test_stronger_gusts_ask_for_a_smaller_hand_wing_until_none_bears_them(gust: float, wing: float | None) -> None:
    found = judged(reading(14, gust), Rider(50, 66.5, 7, 72, "new"))
    assert found.wing_m2 == wing
    assert kinds(found) == ([] if wing else ["gusts"])


@pytest.mark.parametrize("ratio", [1.0, 1.25, 1.5])
def test_a_window_bears_gusts_of_one_and_a_quarter_of_what_pushes_too_hard_in_even_wind(ratio: float) -> None:
    # The model's §9 by hand: ½ ρ A 0.6 W² = 0.20 m g with 1.225 kg/m³, 50 kg on 3.5 m², and 0.85 of the forecast wind at the hand.
    hand_m_s = (2 * 0.20 * 50 * 9.80665 / (1.225 * 0.6 * 3.5)) ** 0.5
    high_kn = hand_m_s / 0.85 * 3600 / 1852
    window = winds_for(50, 66.5, 7, 3.5, ratio).new
    assert most_gust(window, spot(gust_ratio=ratio)) == pytest.approx(1.25 * high_kn)


def test_only_the_learners_own_window_lets_them_decline_and_the_lesson_stay_on() -> None:
    over = judged(reading(24, 25))
    assert over.may_decline
    assert why_call_off([over]) == ()
    both = judged(reading(24, 25, origin=90))
    assert not both.may_decline
    assert why_call_off([over, both]) == (both.reasons[0].words,)


def test_a_lesson_is_called_off_for_all_its_learners_or_stays_on() -> None:
    shallow = judged(reading(tide=-0.54))
    assert why_call_off([shallow, shallow]) == (shallow.reasons[0].words,)
    assert why_call_off([shallow, judged()]) == ()
    assert why_call_off([]) == ()


def test_without_a_weight_it_is_asked_for_unless_the_weather_says_no() -> None:
    assert judged(rider=None).state == "ask"
    assert judged(reading(light=True), rider=None).state == "no"
    assert why_call_off([judged(rider=None)]) == ()
    shallow = judged(reading(tide=-0.61), rider=None)
    assert (shallow.state, kinds(shallow)) == ("no", ["depth", "weight"]), "too shallow for any mast"
    assert why_call_off([shallow, judged(reading(tide=-0.61))]) != ()


def test_behind_the_boat_neither_wind_nor_hand_wing_is_asked_for() -> None:
    calm = judged(reading(3, 5, origin=90), kind=TOW)
    assert (calm.state, calm.wing_m2) == ("go", None)
    assert kinds(judged(reading(3, 26), kind=TOW)) == ["weather"]
    assert kinds(judged(reading(tide=-0.54), kind=TOW)) == ["depth"]


def test_a_rider_on_a_kit_has_its_own_masses() -> None:
    gear = {
        "board": Gear("board", {"volume_l": 110, "mass_kg": 7.0}),
        "mast": Gear("mast", {"length_cm": 72}),
        "fuselage": Gear("fuselage", {"length_cm": 70}),
        "front_foil": Gear("front_foil", {"area_cm2": 1600}),
        "tail": Gear("tail", {"area_cm2": 290}),
    }
    rider = rider_on(gear, 85, 5, "sea", "new")
    assert (rider.all_kg, rider.mast_cm) == (85 + 5 + 7 + 5.5, 72)
    # The lift equation: V = √(2 m g / (ρ S C_L)) with C_L 0.90 and 1026 kg/m³, in knots.
    assert rider.takeoff_kn == pytest.approx((2 * 102.5 * 9.80665 / (1026 * 0.16 * 0.9)) ** 0.5 * 3600 / 1852)
