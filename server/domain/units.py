"""Exact conversion factors; the only place where one unit becomes another."""

from __future__ import annotations

from bisect import bisect_right
from math import floor

KG_PER_LB = 0.45359237  # International yard and pound agreement 1959, exact.
LB_PER_STONE = 14  # Weights and Measures Act 1985, schedule 1, exact.
CM_PER_INCH = 2.54  # International yard and pound agreement 1959, exact.
MS_PER_KN = 1852 / 3600  # SI Brochure: one nautical mile of 1852 m an hour, exact.
KMH_PER_KN = 1.852  # The same mile in kilometres, exact.
BEAUFORT_FROM_KN = (1, 4, 7, 11, 17, 22, 28, 34, 41, 48, 56, 64)
"""The least whole knots of forces 1 to 12: World Meteorological Organization, Manual on Codes (WMO-No. 306), Beaufort scale."""
M2_PER_CM2 = 1e-4
LITRES_PER_M3 = 1000.0


def kg_from_lb(mass_lb: float) -> float:
    """Kilograms from pounds; 100 lb are 45.359237 kg."""
    return mass_lb * KG_PER_LB


def lb_from_kg(mass_kg: float) -> float:
    """Pounds from kilograms; the way back of `kg_from_lb`."""
    return mass_kg / KG_PER_LB


def kg_from_stone(stone: float, mass_lb: float) -> float:
    """Kilograms from stones and pounds; 12 st 8 lb are 79.83 kg."""
    return kg_from_lb(stone * LB_PER_STONE + mass_lb)


def stone_from_kg(mass_kg: float) -> tuple[int, float]:
    """Whole stones and the pounds left over from kilograms; the way back of `kg_from_stone`."""
    stone, pounds = divmod(lb_from_kg(mass_kg), LB_PER_STONE)
    return int(stone), pounds


def ms_from_kn(speed_kn: float) -> float:
    """Metres a second from knots; 10 kn are 5.1444 m/s."""
    return speed_kn * MS_PER_KN


def kn_from_ms(speed_ms: float) -> float:
    """Knots from metres a second; the way back of `ms_from_kn`."""
    return speed_ms / MS_PER_KN


def m2_from_cm2(area_cm2: float) -> float:
    """Square metres from square centimetres; 1600 cm² are 0.16 m²."""
    return area_cm2 * M2_PER_CM2


def cm2_from_m2(area_m2: float) -> float:
    """Square centimetres from square metres; the way back of `m2_from_cm2`."""
    return area_m2 / M2_PER_CM2


def inches_from_cm(length_cm: float) -> float:
    """Inches from centimetres; 175 cm are 68.9 inches."""
    return length_cm / CM_PER_INCH


def cm_from_inches(length_in: float) -> float:
    """Centimetres from inches; the way back of `inches_from_cm`."""
    return length_in * CM_PER_INCH


def kmh_from_kn(speed_kn: float) -> float:
    """Kilometres an hour from knots; 15 kn are 27.78 km/h."""
    return speed_kn * KMH_PER_KN


def kn_from_kmh(speed_kmh: float) -> float:
    """Knots from kilometres an hour; the way back of `kmh_from_kn`."""
    return speed_kmh / KMH_PER_KN


def beaufort_from_kn(wind_kn: float) -> int:
    """The Beaufort force, 0 to 12, of a wind at 10 m in knots; 15 kn are force 4.

    The scale is given in whole knots, so a wind is first rounded to one, half up; under 1 kn it is calm. Winds only: the scale
    says nothing of the speed of a craft.
    """
    return 0 if wind_kn < 1 else bisect_right(BEAUFORT_FROM_KN, floor(wind_kn + 0.5))
