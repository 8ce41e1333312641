"""Bands of water temperature: their edges, and the one that is not common practice but advice to the public."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.cold import BANDS, band_of, is_shocking


@pytest.mark.parametrize(
    ("water_c", "name"),
    [
        (24.0, "mild"),
        (20.0, "mild"),
        (19.9, "cool"),
        (15.0, "cool"),
        (14.9, "cold"),
        (10.0, "cold"),
        (9.9, "very cold"),
    ],
)
def test_a_band_begins_at_its_own_temperature(water_c: float, name: str) -> None:
    """Common practice of the trade: suits of 3/2, 4/3, 5/4 and 6/5 mm change at about 20, 15 and 10 °C."""
    assert band_of(water_c).name == name


def test_cold_shock_is_warned_of_under_fifteen_degrees() -> None:
    """National lifeboat institutions' advice to the public: water under 15 °C counts as cold, shock passes in 60-90 s."""
    assert is_shocking(14.9)
    assert not is_shocking(15.0)


@given(st.floats(-2, 35), st.floats(-2, 35))
def test_colder_water_never_asks_for_less(first: float, second: float) -> None:
    colder, warmer = sorted((first, second))
    assert BANDS.index(band_of(colder)) >= BANDS.index(band_of(warmer))
