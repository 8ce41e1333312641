"""Water, lift and wind against published numbers and general libraries."""

from __future__ import annotations

import math

import ambiance
import gsw
import iapws
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from server.domain import physics

# The books below take 9.81 m/s² for gravity, ours is the standard 9.80665: 0.02 % in a speed, 0.04 % in a force.
BOOK_G = 9.81
BOOK = 5e-4

# Temperature in °C, density of sea water in kg/m³: ITTC 7.5-02-01-03.
SEA_WATER = [(10, 1027.000), (15, 1026.021), (20, 1024.810), (25, 1023.387)]

# Scale, shape, mean, mode: Jain, Wind Energy Engineering, Table 3-1.
WEIBULL = [
    (8, 1.5, 7.222, 3.846),
    (8, 2.0, 7.090, 5.657),
    (8, 2.5, 7.098, 6.522),
    (8, 3.0, 7.144, 6.989),
    (10, 1.5, 9.027, 4.807),
    (10, 2.0, 8.862, 7.071),
    (10, 2.5, 8.873, 8.152),
    (10, 3.0, 8.930, 8.736),
]

# Shape, twelve daylight means in knots.
CLIMATES = [
    (2.0, (13.0,) * 12),
    (2.0, (15.1, 14.8, 14.0, 12.7, 12.3, 11.6, 11.4, 11.6, 12.4, 13.6, 14.0, 14.8)),
    (1.6, (22.0, 5.0, 14.0, 9.0, 18.0, 11.0, 7.0, 16.0, 12.0, 20.0, 6.0, 10.0)),
    (2.6, (4.0, 4.0, 4.0, 4.0, 4.0, 4.0, 25.0, 4.0, 4.0, 4.0, 4.0, 4.0)),
]

masses = st.floats(min_value=40, max_value=190)
areas = st.floats(min_value=600, max_value=3000)
speeds = st.floats(min_value=0, max_value=60)
scales = st.floats(min_value=3, max_value=30)
shapes = st.floats(min_value=1.2, max_value=4)


# --- Water ----------------------------------------------------------------------------------------------------------


def test_sea_water_weighs_what_the_equation_of_seawater_says() -> None:
    # TEOS-10 by gsw: absolute salinity 35.16504 g/kg, 15 °C, at the surface: 1025.976.
    assert gsw.rho_t_exact(35.16504, 15, 0) == pytest.approx(1025.976, abs=5e-4)
    assert physics.density_kg_m3("sea") == pytest.approx(gsw.rho_t_exact(35.16504, 15, 0), abs=0.05)


@pytest.mark.parametrize(("celsius", "published"), SEA_WATER)
def test_the_sea_of_any_season_is_within_three_in_a_thousand_of_ours(celsius: float, published: float) -> None:
    del celsius
    assert physics.density_kg_m3("sea") == pytest.approx(published, rel=0.003)


def test_at_fifteen_degrees_sea_water_is_that_of_the_towing_tanks() -> None:
    assert physics.density_kg_m3("sea") == pytest.approx(dict(SEA_WATER)[15], abs=0.05)


def test_a_lake_weighs_what_the_formulation_for_water_says() -> None:
    # IAPWS-95 by iapws at 15 °C and one atmosphere: 999.1026; ITTC 7.5-02-01-03 has the same.
    published = iapws.IAPWS95(T=288.15, P=0.101325).rho
    assert published == pytest.approx(999.1026, abs=5e-5)
    assert physics.density_kg_m3("lake") == pytest.approx(published, abs=0.01)


def test_no_other_water_is_known() -> None:
    with pytest.raises(KeyError):
        physics.density_kg_m3("river")


def test_air_is_that_of_the_standard_atmosphere() -> None:
    # ISO 2533 by ambiance, at sea level: 1.2250.
    assert pytest.approx(ambiance.Atmosphere(0).density[0], abs=5e-5) == physics.AIR_KG_M3


def test_a_pontoon_sinks_as_deep_as_it_must() -> None:
    # Douglas, Fluid Mechanics, Ex 3.5: a pontoon of 6 × 12 m draws 1.5 m of fresh water (1000), so it weighs 1059.48 kN; in
    # sea water (1025) it draws 1.4634 m; in fresh water it takes 353.16 kN more until it draws 2.0 m.
    def draught_m(load_kg: float, water_kg_m3: float) -> float:
        return physics.displaced_l(load_kg, water_kg_m3) / 1000 / (6 * 12)

    pontoon_kg = 1_059_480 / BOOK_G
    assert draught_m(pontoon_kg, 1000) == pytest.approx(1.5, abs=1e-6)
    assert draught_m(pontoon_kg, 1025) == pytest.approx(1.4634, abs=5e-5)
    assert draught_m(pontoon_kg + 353_160 / BOOK_G, 1000) == pytest.approx(2.0, abs=1e-6)


def test_a_hundred_litres_under_the_sea_carry_about_a_hundred_and_three_kilograms() -> None:
    # Own arithmetic from the density of sea water: 102.6 kg.
    assert physics.displaced_l(102.6, physics.density_kg_m3("sea")) == pytest.approx(100, abs=1e-9)


# --- Lift and take-off ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("lift_coefficient", "stall_ms"), [(1.52, 70.85), (3.48, 46.82)])
def test_an_airliner_stalls_where_the_textbook_says(lift_coefficient: float, stall_ms: float) -> None:
    # Cengel and Cimbala, Fluid Mechanics, Ex 11-5: 70,000 kg on 150 m² in air of 1.2 kg/m³.
    assert physics.speed_to_lift_ms(70_000, 150, lift_coefficient, 1.2) == pytest.approx(stall_ms, rel=BOOK)


def test_an_aeroplane_needs_the_lift_coefficient_of_the_textbook() -> None:
    # Anderson, Fundamentals of Aerodynamics, Ex 1.7: 15,900 lb on 342.6 ft² at 100 mph (146.67 ft/s), 0.002377 slug/ft³.
    assert physics.lift_n(100 * 5280 / 3600, 342.6, 1.815, 0.002377) == pytest.approx(15_900, rel=1e-3)


# Speed in km/h, area in m², coefficient, density, force in N: Subramanya, Theory and Applications of Fluid Mechanics.
PLATES = [
    pytest.param(30, 2 * 1.5, 0.60, 998, 62_375, id="Ex 9.14, lift of a plate towed in water"),
    pytest.param(30, 2 * 1.5, 0.20, 998, 20_790, id="Ex 9.14, its drag"),
    pytest.param(50, 2 * 1.2, 0.75, 1.2, 208.33, id="Ex 9.17, lift of a kite"),
    pytest.param(50, 2 * 1.2, 0.15, 1.2, 41.67, id="Ex 9.17, its drag"),
]


@pytest.mark.parametrize(("kmh", "area_m2", "coefficient", "density", "newtons"), PLATES)
def test_plates_in_water_and_air_pull_as_the_textbook_says(
    kmh: float, area_m2: float, coefficient: float, density: float, newtons: float
) -> None:
    assert physics.lift_n(kmh / 3.6, area_m2, coefficient, density) == pytest.approx(newtons, rel=BOOK)


def test_a_foil_that_lifts_less_than_the_weight_does_not_fly() -> None:
    # Own arithmetic: 110 kg on 0.12 m² at 10 km/h and a coefficient of 1.005 in water of 1000 kg/m³ are lifted with 465.3 N.
    lift = physics.lift_n(10 / 3.6, 0.12, 1.005, 1000)
    assert lift == pytest.approx(465.3, abs=0.05)
    assert lift < 110 * physics.G_MS2
    assert physics.speed_to_lift_ms(110, 0.12, 1.005, 1000) > 10 / 3.6


def test_take_off_of_101_5_kg_on_1600_cm2_is_at_7_14_knots() -> None:
    # Own arithmetic: √(2 × 101.5 × 9.80665 / (1026 × 0.16 × 0.90)) m/s.
    assert physics.takeoff_kn(101.5, 1600, physics.density_kg_m3("sea")) == pytest.approx(7.14, abs=0.005)


@given(masses, areas)
def test_at_take_off_the_foil_lifts_exactly_the_weight(mass_kg: float, area_cm2: float) -> None:
    speed_ms = physics.takeoff_kn(mass_kg, area_cm2, 1026.0) * 1852 / 3600
    assert physics.lift_n(speed_ms, area_cm2 / 10_000, 0.90, 1026.0) == pytest.approx(mass_kg * 9.80665, rel=1e-9)


@given(masses, areas)
def test_the_area_for_a_speed_is_the_way_back_of_the_speed_for_an_area(mass_kg: float, area_cm2: float) -> None:
    speed_kn = physics.takeoff_kn(mass_kg, area_cm2, 999.1)
    assert physics.foil_area_cm2(mass_kg, speed_kn, 999.1) == pytest.approx(area_cm2, rel=1e-9)


@given(masses, areas, st.floats(min_value=0.3, max_value=1.5))
def test_take_off_speed_grows_with_the_root_of_mass_and_falls_with_the_root_of_area_and_lift(
    mass_kg: float, area_cm2: float, lift_coefficient: float
) -> None:
    # Own arithmetic from the lift equation.
    speed = physics.speed_to_lift_ms(mass_kg, area_cm2, lift_coefficient, 1026)
    assert physics.speed_to_lift_ms(4 * mass_kg, area_cm2, lift_coefficient, 1026) == pytest.approx(2 * speed)
    assert physics.speed_to_lift_ms(mass_kg, 4 * area_cm2, lift_coefficient, 1026) == pytest.approx(speed / 2)
    assert physics.speed_to_lift_ms(mass_kg, area_cm2, 4 * lift_coefficient, 1026) == pytest.approx(speed / 2)


def test_in_the_sea_one_takes_off_a_little_slower_than_in_a_lake() -> None:
    # Own arithmetic from the published densities: the ratio of the speeds is 1/1.01336.
    sea, lake = (physics.takeoff_kn(100, 1800, physics.density_kg_m3(water)) for water in ("sea", "lake"))
    assert lake / sea == pytest.approx(1.01336, abs=3e-5)


# --- Stability ------------------------------------------------------------------------------------------------------


def test_a_tail_volume_is_that_of_the_textbook() -> None:
    # Anderson, Introduction to Flight, Ex 7.4, from memory: 0.02 m² at 0.17 m behind 0.1 m² of 0.1 m chord: 0.34.
    assert physics.tail_volume(200, 17, 1000, 10) == pytest.approx(0.34, abs=1e-9)


def test_a_mean_chord_is_area_over_span() -> None:
    chord = physics.mean_chord_cm(1600, 5.5)
    # Own arithmetic: the span is √(AR × S), and area over span is the mean chord.
    assert chord == pytest.approx(17.06, abs=0.005)
    assert chord == pytest.approx(1600 / math.sqrt(5.5 * 1600))


# Tail in cm², fuselage in cm and front foil in cm², common practice of the trade, no source.
@pytest.mark.parametrize(("tail_cm2", "fuselage_cm", "foil_cm2"), [(300, 70, 1600), (300, 70, 2050), (235, 60, 1600)])
def test_foils_of_the_trade_have_tail_volumes_that_the_handbook_knows(
    tail_cm2: float, fuselage_cm: float, foil_cm2: float
) -> None:
    # Raymer, Aircraft Design, Table 6.4: from 0.50 (sailplane, homebuilt) to 1.00 (jet transport).
    volume = physics.tail_volume(tail_cm2, fuselage_cm, foil_cm2, physics.mean_chord_cm(foil_cm2, 5.5))
    assert 0.50 <= volume <= 1.00


# --- Wind -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("scale", "shape", "mean", "mode"), WEIBULL)
def test_a_weibull_has_the_mean_and_the_mode_of_the_table(scale: float, shape: float, mean: float, mode: float) -> None:
    assert physics.weibull_scale(mean, shape) == pytest.approx(scale, rel=2e-4)
    at_mode = physics.weibull_density(mode, scale, shape)
    assert at_mode >= physics.weibull_density(mode - 0.02, scale, shape)
    assert at_mode >= physics.weibull_density(mode + 0.02, scale, shape)


def test_wind_between_6_and_12_is_as_likely_as_the_library_says() -> None:
    # scipy.stats.weibull_min(2, scale=8): 0.464384.
    library = stats.weibull_min(2, scale=8)
    assert library.cdf(12) - library.cdf(6) == pytest.approx(0.464384, abs=5e-7)
    assert physics.weibull_between(6, 12, 8, 2) == pytest.approx(0.464384, abs=5e-7)


# From, to, hours a year at a mean of 10 m/s, shape 2: Masters, Renewable and Efficient Electric Power Systems, ch. 6, from
# memory.
@pytest.mark.parametrize(("low", "high", "hours"), [(0, 4, 1034), (14, 1000, 1879), (25, 1000, 65)])
def test_hours_of_wind_are_those_of_the_textbook(low: float, high: float, hours: float) -> None:
    scale = physics.weibull_scale(10, 2)
    assert 8760 * physics.weibull_between(low, high, scale, 2) == pytest.approx(hours, abs=1)


@given(speeds, speeds, scales, shapes)
def test_probability_and_density_agree_with_the_library(low: float, high: float, scale: float, shape: float) -> None:
    library = stats.weibull_min(shape, scale=scale)
    expected = max(0.0, library.cdf(high) - library.cdf(low))
    assert physics.weibull_between(low, high, scale, shape) == pytest.approx(expected, abs=1e-12)
    if low > 1e-3:
        assert physics.weibull_density(low, scale, shape) == pytest.approx(library.pdf(low), rel=1e-9, abs=1e-300)


@given(scales, shapes)
def test_some_wind_must_blow(scale: float, shape: float) -> None:
    assert physics.weibull_between(-5, 0, scale, shape) == 0
    assert physics.weibull_between(-5, 1e9, scale, shape) == pytest.approx(1)
    assert physics.weibull_between(12, 6, scale, shape) == 0
    assert physics.weibull_density(0, scale, shape) == physics.weibull_density(-1, scale, shape) == 0


def test_an_integral_is_that_of_the_textbooks() -> None:
    assert physics.integral(math.sin, 0, math.pi) == pytest.approx(2, abs=1e-9)
    assert physics.integral(lambda x: x**3, 0, 2) == pytest.approx(4, abs=1e-12)


@pytest.mark.parametrize(("shape", "means_kn"), CLIMATES)
def test_the_riding_wind_is_the_mean_of_the_winds_people_ride_in(shape: float, means_kn: tuple[float, ...]) -> None:
    days = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    months = [stats.weibull_min(shape, scale=mean / math.gamma(1 + 1 / shape)) for mean in means_kn]
    # scipy's quadrature over scipy's distribution.
    weighted = sum(
        n * integrate.quad(lambda wind, month=month: wind * month.pdf(wind), 10, 22)[0]
        for n, month in zip(days, months, strict=True)
    )
    probable = sum(n * (month.cdf(22) - month.cdf(10)) for n, month in zip(days, months, strict=True))
    assert physics.riding_wind_kn(means_kn, shape) == pytest.approx(weighted / probable, abs=1e-6)


@given(
    st.floats(min_value=5, max_value=30), st.floats(min_value=0.1, max_value=5), st.floats(min_value=1.5, max_value=3)
)
def test_the_riding_wind_lies_between_10_and_22_and_grows_with_the_wind(mean: float, more: float, shape: float) -> None:
    calmer = physics.riding_wind_kn((mean,) * 12, shape)
    windier = physics.riding_wind_kn((mean + more,) * 12, shape)
    assert 10 < calmer < windier < 22


def test_where_it_never_blows_the_riding_wind_is_the_least_of_them() -> None:
    assert physics.riding_wind_kn((0.2,) * 12, 2) == 10


def test_a_year_has_twelve_months() -> None:
    with pytest.raises(ValueError, match="argument"):
        physics.riding_wind_kn((13.0,) * 11, 2)
    assert sum(physics.DAYS_OF_MONTH) == 365
