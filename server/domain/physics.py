"""Water, lift and wind: each formula with its source, its range and one worked number."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from server.domain import units

G_MS2 = 9.80665  # Standard acceleration of gravity, 3rd CGPM 1901, exact.
AIR_KG_M3 = 1.225  # ISO 2533 standard atmosphere at sea level.
SEA_WATER_KG_M3 = 1026.0  # ITTC 7.5-02-01-03: 1026.021 at 15 °C; TEOS-10: 1025.976.
LAKE_WATER_KG_M3 = 999.1  # IAPWS-95 at 15 °C: 999.1026.
TAKEOFF_LIFT_COEFFICIENT = (
    0.90  # Chosen so that the formula meets common practice; nobody has published a measured value.
)


def density_kg_m3(water: str) -> float:
    """The density of `sea` or `lake` water at about 15 °C in kg/m³."""
    return {"sea": SEA_WATER_KG_M3, "lake": LAKE_WATER_KG_M3}[water]


def displaced_l(mass_kg: float, water_kg_m3: float) -> float:
    """Litres of water that carry a mass at rest: 1000 m / ρ (Archimedes). 96.5 kg in sea water need 94.05 l."""
    return units.LITRES_PER_M3 * mass_kg / water_kg_m3


def lift_n(speed_ms: float, area_m2: float, lift_coefficient: float, density: float) -> float:
    """Lift in newtons: ½ ρ V² S C_L (lift equation; any fluid, no ventilation). In water 2 m/s on 0.16 m² at 0.9: 295 N."""
    return 0.5 * density * speed_ms**2 * area_m2 * lift_coefficient


def speed_to_lift_ms(mass_kg: float, area_m2: float, lift_coefficient: float, density: float) -> float:
    """The speed in m/s at which lift equals weight: √(2 m g / (ρ S C_L)). 70,000 kg, 150 m², 1.52, ρ 1.2: 70.9 m/s."""
    return math.sqrt(2 * mass_kg * G_MS2 / (density * area_m2 * lift_coefficient))


def takeoff_kn(mass_kg: float, area_cm2: float, water_kg_m3: float) -> float:
    """Take-off speed of a front foil in knots, by the lift equation at a lift coefficient of 0.90.

    `mass_kg` is all that has to rise (learner, worn gear, board and foil). Holds for calm water and a foil that does
    not ventilate; an estimate, since nobody has published a measured take-off of this craft. 101.5 kg on 1600 cm² in the
    sea lift off at 7.14 kn.
    """
    speed_ms = speed_to_lift_ms(mass_kg, units.m2_from_cm2(area_cm2), TAKEOFF_LIFT_COEFFICIENT, water_kg_m3)
    return units.kn_from_ms(speed_ms)


def foil_area_cm2(mass_kg: float, speed_kn: float, water_kg_m3: float) -> float:
    """The front foil area in cm² that lifts a mass off at a speed: 2 m g / (ρ C_L V²). 101.5 kg at 6.72 kn, sea: 1804 cm²."""
    speed_ms = units.ms_from_kn(speed_kn)
    area_m2 = 2 * mass_kg * G_MS2 / (water_kg_m3 * TAKEOFF_LIFT_COEFFICIENT * speed_ms**2)
    return units.cm2_from_m2(area_m2)


def mean_chord_cm(area_cm2: float, aspect_ratio: float) -> float:
    """Mean chord in cm of a foil of known area and aspect ratio: √(S / AR). 1600 cm² at 5.5: 17.06 cm."""
    return math.sqrt(area_cm2 / aspect_ratio)


def tail_volume(tail_cm2: float, arm_cm: float, foil_cm2: float, chord_cm: float) -> float:
    """Tail volume coefficient S_t l / (S_w c̄), without unit (Raymer, Aircraft Design, 6.5.3).

    Here the arm is the fuselage's length, a stated proxy for the distance between the quarter-chords. 0.02 m² at 0.17 m
    behind 0.1 m² of 0.1 m chord: 0.34.
    """
    return tail_cm2 * arm_cm / (foil_cm2 * chord_cm)


def weibull_scale(mean: float, shape: float) -> float:
    """The scale of a Weibull distribution from its mean: mean / Γ(1 + 1/k). Mean 7.090 at k = 2 gives 8.0."""
    return mean / math.gamma(1 + 1 / shape)


def weibull_density(speed: float, scale: float, shape: float) -> float:
    """The density of a Weibull distribution at a speed, in one over the unit of the scale."""
    if speed <= 0:
        return 0.0
    ratio = speed / scale
    return shape / scale * math.pow(ratio, shape - 1) * math.exp(-math.pow(ratio, shape))


def weibull_between(low: float, high: float, scale: float, shape: float) -> float:
    """The probability of a speed between two others. Scale 8, k 2: between 6 and 12 it is 0.464384 (scipy)."""
    if high <= low:
        return 0.0
    return math.exp(-((max(low, 0.0) / scale) ** shape)) - math.exp(-((max(high, 0.0) / scale) ** shape))


def integral(f: Callable[[float], float], low: float, high: float, steps: int = 400) -> float:
    """The definite integral of a smooth function by Simpson's rule on an even number of steps."""
    width = (high - low) / steps
    inner = sum((4 if step % 2 else 2) * f(low + step * width) for step in range(1, steps))
    return (f(low) + inner + f(high)) * width / 3


RIDING_LOW_KN, RIDING_HIGH_KN = 10.0, 22.0
DAYS_OF_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def riding_wind_kn(monthly_means_kn: Sequence[float], shape: float) -> float:
    """The mean of the forecast winds between 10 and 22 kn over the year: Σ dᵢ ∫ W fᵢ dW / Σ dᵢ ∫ fᵢ dW.

    `monthly_means_kn` are twelve daylight means, `shape` the Weibull k of the spot, dᵢ the days of month i. Always
    between 10 and 22 kn; at a spot where it never blows that much, 10 kn.
    """
    weighted = probable = 0.0
    for days, mean in zip(DAYS_OF_MONTH, monthly_means_kn, strict=True):
        scale = weibull_scale(mean, shape)
        weighted += days * integral(
            lambda wind, scale=scale: wind * weibull_density(wind, scale, shape),  # type: ignore[misc]
            RIDING_LOW_KN,
            RIDING_HIGH_KN,
        )
        probable += days * weibull_between(RIDING_LOW_KN, RIDING_HIGH_KN, scale, shape)
    return weighted / probable if probable > 0 else RIDING_LOW_KN


# --- pull of a hand wing, and the winds that suit

HAND_HEIGHT_SHARE = 0.85  # Log law over open water, z0 0.0002 m: 0.8513 from 10 m to 2 m (Tong, Wind Power Generation).
WING_LIFT, WING_DRAG = 1.07, 0.32  # A leading-edge-inflatable wing at stall in a wind tunnel (Poland et al. 2025).
STRONG_WIND_SHARE = 0.6
NO_WING_IN_MS = 200.0


def drive_n(wind_ms: float, speed_ms: float, area_m2: float) -> float:
    """The pull of a hand wing along the course, in newtons, going across a wind at hand height.

    F = ½ ρ_air A W_a² (C_L sin β − C_D cos β), W_a² = W² + V², β = atan2(W, V), with the lift and drag of a
    leading-edge-inflatable wing at stall in a wind tunnel. Nobody has published a measured pull of a wing held in the hands. 6 m/s of
    wind, 3.67 m/s of speed, 5.5 m²: 124 N.
    """
    apparent = math.hypot(wind_ms, speed_ms)
    return 0.5 * AIR_KG_M3 * area_m2 * apparent * (WING_LIFT * wind_ms - WING_DRAG * speed_ms)


def least_wind_kn(mass_kg: float, takeoff_speed_kn: float, area_m2: float, glide: float, pumping: float) -> float:
    """The least forecast wind in knots whose drive lifts a kit off: the W at which k F = m g / ε.

    `glide` is ε, `pumping` is k. From where the drive is positive it grows with the wind, and ever faster, so Newton's steps come
    down to the wind from above without passing it; they begin where W² in place of W_a² would do, at most at a wind that no wing
    is held in, and end within 1e-10 m/s. 101.5 kg at 7.14 kn on 5.5 m², ε 8, k 1: 13.7 kn.
    """
    speed = units.ms_from_kn(takeoff_speed_kn)
    needed, half = mass_kg * G_MS2 / glide / pumping, 0.5 * AIR_KG_M3 * area_m2
    drag = WING_DRAG * speed
    wind = min(NO_WING_IN_MS, (drag + math.sqrt(drag * drag + 4 * WING_LIFT * needed / half)) / (2 * WING_LIFT))
    step = 1.0
    while step > 1e-10:
        apparent = math.hypot(wind, speed)
        slope = half * (wind / apparent * (WING_LIFT * wind - drag) + WING_LIFT * apparent)
        step = (drive_n(wind, speed, area_m2) - needed) / slope
        wind -= step
    return units.kn_from_ms(wind) / HAND_HEIGHT_SHARE


def most_wind_kn(mass_kg: float, area_m2: float, share_of_weight: float) -> float:
    """The forecast wind in knots whose push on a hand wing is a share of a person's weight: ½ ρ A 0.6 W² = f m g.

    `mass_kg` is the person's own. 85 kg, 5.5 m², f 0.20: 20.8 kn; f 0.28: 24.6 kn.
    """
    wind = math.sqrt(2 * share_of_weight * mass_kg * G_MS2 / (AIR_KG_M3 * area_m2 * STRONG_WIND_SHARE))
    return units.kn_from_ms(wind) / HAND_HEIGHT_SHARE
