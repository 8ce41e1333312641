"""Exact conversion factors; the only place where one unit becomes another."""

from __future__ import annotations

KG_PER_LB = 0.45359237  # International yard and pound agreement 1959, exact.
LB_PER_STONE = 14  # Weights and Measures Act 1985, schedule 1, exact.
MS_PER_KN = 1852 / 3600  # SI Brochure: one nautical mile of 1852 m an hour, exact.
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
