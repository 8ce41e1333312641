"""The winds that suit a kit: worked numbers, published tables, a general library, and what the trade holds to be true."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, optimize, stats

from server.domain import physics, units
from server.domain.catalogue import Spot
from server.domain.kits import Fitter
from server.domain.wind import Window, Winds, flyable_days, hands_of, notes_on_wind, window_words, winds_for
from tests.domain.builders import TODAY, answers, spot, trade_shelf

# Drag and lift of a leading-edge-inflatable wing at stall, α 18.3°: C_L 1.068, C_D 0.320.
# Source: Poland et al. 2025, doi 10.5194/wes-2025-77.
STALL_LIFT, STALL_DRAG = 1.068, 0.320


def winds(mass_kg: float, foil_cm2: float, wing_m2: float, gusts: float | None = 1.25) -> Winds:
    """The winds of a learner on a nominal kit in the sea."""
    all_kg = mass_kg + 16.5
    return winds_for(mass_kg, all_kg, physics.takeoff_kn(all_kg, foil_cm2, 1026.0), wing_m2, gusts)


def test_the_worked_numbers_of_the_window() -> None:
    """85 kg, 101.5 kg in all, 1600 cm², 5.5 m², gust ratio 1.25: own arithmetic, kept as a regression number."""
    told = winds(85, 1600, 5.5)
    assert physics.takeoff_kn(101.5, 1600, 1026.0) == pytest.approx(7.14, abs=0.005)
    assert (told.new.low, told.new.high) == pytest.approx((13.7, 20.8), abs=0.05)
    assert (told.practised.low, told.practised.high) == pytest.approx((11.3, 24.6), abs=0.05)


def test_the_drive_is_lift_and_drag_of_the_wind_tunnel_turned_into_the_course() -> None:
    assert pytest.approx(STALL_LIFT, abs=0.005) == physics.WING_LIFT
    assert pytest.approx(STALL_DRAG, abs=0.005) == physics.WING_DRAG
    wind, speed, area = 7.0, 3.6, 5.0
    apparent, angle = math.hypot(wind, speed), math.atan2(wind, speed)
    # Written out as lift and drag across and along the apparent wind; air of ISO 2533, 1.225 kg/m³.
    by_hand = 0.5 * 1.225 * area * apparent**2 * (1.07 * math.sin(angle) - 0.32 * math.cos(angle))
    assert physics.drive_n(wind, speed, area) == pytest.approx(by_hand, rel=1e-12)


def test_wind_at_hand_height_is_that_of_the_log_law_over_open_water() -> None:
    # From 10 m to 2 m with z0 0.0002 m: 0.8513. Source: Tong (ed.), Wind Power Generation, Table 3.
    assert math.log(2 / 0.0002) / math.log(10 / 0.0002) == pytest.approx(0.8513, abs=5e-5)
    assert pytest.approx(0.8513, abs=0.002) == physics.HAND_HEIGHT_SHARE


@given(
    mass=st.floats(40, 150),
    foil=st.floats(900, 2400),
    wing=st.floats(2.5, 7.0),
    glide=st.sampled_from([8.0, 9.0]),
    pumping=st.sampled_from([1.0, 1.3]),
)
def test_the_least_wind_is_the_root_that_a_general_solver_finds(
    mass: float, foil: float, wing: float, glide: float, pumping: float
) -> None:
    takeoff = physics.takeoff_kn(mass, foil, 1026.0)
    speed = units.ms_from_kn(takeoff)

    def lacking(wind: float) -> float:
        return pumping * physics.drive_n(wind, speed, wing) - mass * physics.G_MS2 / glide

    # scipy.optimize.brentq, a general library.
    root = optimize.brentq(lacking, 0.0, 100.0, xtol=1e-12)
    told = physics.least_wind_kn(mass, takeoff, wing, glide, pumping)
    assert told == pytest.approx(units.kn_from_ms(root) / 0.85, rel=1e-8)


PRACTICE = [
    # Common practice of the trade, no source: which wind flies whom on what.
    *((mass, 1600, 5.5, "new low", None, 15.0) for mass in (70, 75, 80, 85)),
    *((mass, 1600, 5.5, "practised low", 10.0, None) for mass in (70, 75, 80, 85)),
    *((mass, 2050, 5.5, "practised low", 8.0, 12.0) for mass in (88, 92, 97)),
    *((mass, 2050, 5.5, "new high", 18.0, 22.0) for mass in (88, 92, 97)),
    (75, 1600, 4.5, "practised high", 23.0, 27.0),
]


@pytest.mark.parametrize(("mass", "foil", "wing", "end", "least", "most"), PRACTICE)
def test_the_window_holds_to_common_practice(
    mass: float, foil: float, wing: float, end: str, least: float | None, most: float | None
) -> None:
    hands, side = end.split()
    told = getattr(winds(mass, foil, wing, None).of(hands), side)
    assert least is None or told >= least
    assert most is None or told <= most


def test_gusts_lower_the_high_end_only_beyond_an_even_wind() -> None:
    even, gusty = winds(85, 1600, 5.5, 1.25), winds(85, 1600, 5.5, 1.5)
    assert winds(85, 1600, 5.5, None) == even == winds(85, 1600, 5.5, 1.1)
    assert gusty.new.high == pytest.approx(even.new.high * 1.25 / 1.5, rel=1e-12)
    assert gusty.new.low == even.new.low


def test_no_window_reaches_over_its_ceiling() -> None:
    told = winds(150, 2400, 2.5)
    assert told.new.high == 22.0
    assert told.practised.high == 30.0


@given(st.floats(40, 140), st.floats(900, 2400), st.floats(2.5, 6.5))
def test_a_larger_hand_wing_lifts_earlier_and_is_too_much_earlier(mass: float, foil: float, wing: float) -> None:
    smaller, larger = winds(mass, foil, wing), winds(mass, foil, wing + 0.5)
    for hands in ("new", "practised"):
        assert larger.of(hands).low < smaller.of(hands).low
        assert larger.of(hands).high <= smaller.of(hands).high


WEIBULL = [
    # Probability between two speeds, scale 8, k 2: 0.464384. Source: scipy.stats.weibull_min(2, scale=8).
    (6.0, 12.0, 8.0, 2.0, 0.464384),
]


@pytest.mark.parametrize(("low", "high", "scale", "shape", "probability"), WEIBULL)
def test_the_weibull_probability_is_the_published_one(
    low: float, high: float, scale: float, shape: float, probability: float
) -> None:
    assert physics.weibull_between(low, high, scale, shape) == pytest.approx(probability, abs=1e-6)


MEANS = [
    # Mean of a Weibull distribution by scale and shape. Source: Jain, Wind Energy Engineering, Table 3-1.
    *((8.0, k, mean) for k, mean in ((1.5, 7.222), (2.0, 7.090), (2.5, 7.098), (3.0, 7.144))),
    *((10.0, k, mean) for k, mean in ((1.5, 9.027), (2.0, 8.862), (2.5, 8.873), (3.0, 8.930))),
]


@pytest.mark.parametrize(("scale", "shape", "mean"), MEANS)
def test_the_scale_comes_back_from_the_published_mean(scale: float, shape: float, mean: float) -> None:
    assert physics.weibull_scale(mean, shape) == pytest.approx(scale, abs=0.001)


RAYLEIGH = [
    # Hours a year at a mean of 10 m/s. Source: Masters, Renewable and Efficient Electric Power Systems, ch. 6; from memory.
    (0.0, 4.0, 1034),
    (14.0, 1e9, 1879),
    (25.0, 1e9, 65),
]


@pytest.mark.parametrize(("low", "high", "hours"), RAYLEIGH)
def test_the_hours_of_a_rayleigh_year_are_the_published_ones(low: float, high: float, hours: int) -> None:
    scale = physics.weibull_scale(10.0, 2.0)
    assert 8760 * physics.weibull_between(low, high, scale, 2.0) == pytest.approx(hours, abs=1)


def months_of(means: tuple[float, ...], shape: float, share: float, window: Window) -> list[float]:
    """Flyable days by scipy's distribution, month by month."""
    days = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    return [
        number
        * share
        * float(
            stats.weibull_min(shape, scale=mean / math.gamma(1 + 1 / shape)).cdf(window.high)
            - stats.weibull_min(shape, scale=mean / math.gamma(1 + 1 / shape)).cdf(window.low)
        )
        for number, mean in zip(days, means, strict=True)
    ]


def place(shape: float = 2.0, share: float = 0.6, gusts: float = 1.25) -> Spot:
    """A spot with a wind climate of its own."""
    means = (15.0, 14.5, 14.0, 12.8, 12.0, 11.5, 11.0, 11.4, 12.4, 13.6, 14.1, 14.8)
    return spot(means_kn=means, shape=shape, safe_share=share, gust_ratio=gusts)


@pytest.mark.parametrize("shape", [1.7, 2.0, 2.4])
def test_flyable_days_are_those_of_a_general_library(shape: float) -> None:
    window = Window(13.7, 20.8)
    here = place(shape)
    assert list(flyable_days(here, window)) == pytest.approx(months_of(here.means_kn, shape, 0.6, window), rel=1e-10)


def test_the_riding_wind_is_the_mean_between_ten_and_twenty_two_knots_over_the_year() -> None:
    here = place()
    days = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    weighted = probable = 0.0
    for number, mean in zip(days, here.means_kn, strict=True):
        spread = stats.weibull_min(2.0, scale=mean / math.gamma(1.5))
        weighted += number * integrate.quad(lambda wind, s=spread: wind * s.pdf(wind), 10, 22)[0]
        probable += number * float(spread.cdf(22) - spread.cdf(10))
    assert here.riding_wind_kn == pytest.approx(weighted / probable, rel=1e-9)


def test_a_spot_so_gusty_that_no_wind_suits_has_no_flyable_days_and_says_so() -> None:
    gusty = place(gusts=2.4)
    told = winds(85, 1600, 5.5, gusty.gust_ratio)
    assert not told.new.is_open
    assert flyable_days(gusty, told.new) == (0.0,) * 12
    assert window_words(told.new) == "no wind that suits"


USUAL = [
    (15.0, None),
    (21.0, "not out there on its usual day"),
    (11.8, None),
    (11.6, "your usual day will not fly you"),
]


@pytest.mark.parametrize(("usual", "says"), USUAL)
def test_a_usual_wind_outside_the_window_is_said(usual: float, says: str | None) -> None:
    told = winds(85, 1600, 5.5)  # New hands 13.7 to 20.8 kn; under the low end less 2 it does not fly.
    notes = notes_on_wind(told, answers(mass_kg=85, usual_wind_kn=usual))
    assert [says in note for note in notes if says] == ([True] if says else [])
    assert bool(notes) == (says is not None)


def test_practised_hands_are_shown_first_only_where_the_learner_says_so() -> None:
    assert hands_of(answers(wing_handling="practised")) == "practised"
    assert hands_of(answers(wing_handling="some")) == "new"
    assert hands_of(answers()) == "new"


def test_a_kit_reckons_its_winds_with_its_own_masses() -> None:
    learner = answers(mass_kg=85)
    stocked = trade_shelf()
    kit = Fitter.of(learner, stocked, TODAY).recommended()
    assert kit is not None
    own = sum(kit.gear_in(slot).number("mass_kg") for slot in ("board", "mast", "fuselage", "front_foil", "tail"))
    all_kg = 85 + 5 + own
    takeoff = physics.takeoff_kn(all_kg, kit.gear_in("front_foil").size, 1026.0)
    assert kit.takeoff_kn == takeoff
    assert kit.winds == winds_for(85, all_kg, takeoff, kit.gear_in("hand_wing").size, None)


def test_the_winds_of_the_neighbouring_hand_wings_stand_beside_the_chosen_one() -> None:
    stocked = trade_shelf()
    fitter = Fitter.of(answers(mass_kg=80), stocked, TODAY)
    kit = fitter.recommended()
    assert kit is not None
    rows = {row.role: row for row in fitter.wings(kit, place())}
    assert {role: row.area_m2 for role, row in rows.items()} == {"chosen": 5.5, "smaller": 4.5, "larger": 6.5}
    assert all(len(days) == 12 for row in rows.values() for days in row.months.values())
