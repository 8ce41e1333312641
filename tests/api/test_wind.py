"""The winds of a kit over the interface."""

from __future__ import annotations

import pytest

from server.domain.catalogue import Catalogue
from server.domain.wind import Window
from server.persistence.folder import read_folder
from server.usecases.opening import SEED
from tests.builders_http import Client, fields_of
from tests.builders_shop import learner
from tests.domain.test_wind import months_of


def test_a_kit_tells_its_winds_unrounded_for_both_hands(client: Client) -> None:
    told = client.told("/api/kits", learner(mass_kg=85))
    for kit in told["frontier"]:
        wind = kit["wind"]
        assert set(wind) == {"new", "practised"}
        assert wind["practised"][0] < wind["new"][0] < wind["new"][1] < wind["practised"][1]
        assert wind["new"][0] != round(wind["new"][0], 2)


def test_the_months_of_a_spot_are_those_of_a_general_library(client: Client) -> None:
    told = client.told("/api/wind", {"answers": learner(), "spot": "Portnafinn Bay"})
    spot = next(s for s in read_folder(SEED, Catalogue({}), None).spots if s.name == "Portnafinn Bay")
    assert told["spot"] == "Portnafinn Bay"
    assert told["hands"] == "new"
    assert [wing["role"] for wing in told["wings"]] == ["chosen", "smaller", "larger"]
    for wing in told["wings"]:
        for hands, months in wing["months"].items():
            low, high = wing["wind"][hands]
            window = Window(low, high)
            # scipy.stats.weibull_min, a general library.
            assert months == pytest.approx(months_of(spot.means_kn, spot.shape, spot.safe_share, window), rel=1e-9)


def test_the_answers_may_be_bare_and_the_kit_may_be_named(client: Client) -> None:
    kit = client.told("/api/kits", learner())["least_money"]
    skus = [part["sku"] for part in kit["parts"].values()]
    bare = client.told("/api/wind", {**learner(), "skus": skus, "spot": "Lough Corravane"})
    beside = client.told("/api/wind", {"answers": learner(spot="Lough Corravane"), "skus": skus})
    assert bare == beside
    assert bare["wings"][0]["sku"] == kit["parts"]["hand_wing"]["sku"]


def test_without_a_spot_there_are_windows_and_no_months(client: Client) -> None:
    told = client.told("/api/wind", {"answers": learner()})
    assert told["spot"] is None
    assert all(wing["months"] is None for wing in told["wings"])


def test_the_usual_wind_is_the_riding_wind_of_the_spot_unless_told(client: Client) -> None:
    strand = {"spot": "Tullaveen Strand"}
    spot = next(s for s in read_folder(SEED, Catalogue({}), None).spots if s.name == "Tullaveen Strand")
    by_spot = client.told("/api/fit", learner(**strand))
    by_wind = client.told("/api/fit", learner(**strand, usual_wind_kn=spot.riding_wind_kn))
    assert by_spot == by_wind
    assert by_spot["targets"] != client.told("/api/fit", learner(**strand, usual_wind_kn=20))["targets"]


def test_a_spot_that_nobody_lists_is_named(client: Client) -> None:
    assert fields_of(client.faults("/api/wind", {"answers": learner(), "spot": "Atlantis"})) == ["spot"]


def test_a_usual_wind_over_the_window_is_noted_on_the_kit(client: Client) -> None:
    kit = client.told("/api/kits", learner(usual_wind_kn=26))["recommended"]
    assert any("not out there on its usual day" in note for note in kit["notes"])


def test_the_winds_of_a_kit_are_told_though_its_parts_are_held(client: Client) -> None:
    quote = client.told("/api/quotes", {"answers": learner()}, 201)
    skus = [part["sku"] for part in quote["kit"]["parts"].values()]
    for number in range(2):
        again = client.told("/api/quotes", {"answers": learner()}, 201)
        token = again["url"].rsplit("/", 1)[1]
        client.post(f"/api/quotes/{token}/agree", json={"name": "N", "email": f"n{number}@example.org", "revision": 1})
    assert client.told("/api/wind", {"answers": learner(), "skus": skus})["wings"][0]["sku"] == skus[-1]
