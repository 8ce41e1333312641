"""Places over the front door: shown again with what was typed, looked at before saving, and kept while something names them."""

from __future__ import annotations

from tests.builders_http import Client
from tests.pages.reader import Reader


def test_a_zone_is_added_corrected_and_taken_away(owner: Client) -> None:
    page = Reader(owner).open("/console/places/edit?of=zone")
    page.press("Add the zone", zone="Ferry islands", fee="free", cost="60", days="6-8")
    assert page.status == 422
    assert "'free' is not accepted." in page.text
    assert page.by_id("fee").get("value") == "free"
    page.press("Add the zone", fee="75,00")
    assert "Ferry islands" in page.text
    page.open("/console/places/edit?of=zone&name=Ferry+islands").press("Take Ferry islands away")
    assert "Ferry islands" not in page.open("/console/places").text
    home = Reader(owner).open("/console/places/edit?of=zone&name=Ireland")
    assert "The policy names it as the home zone." in home.text
    refused = owner.post("/console/places/edit", data={"of": "zone", "was": "Ireland", "do": "remove"})
    assert refused.status_code == 409
    assert "Ireland stays: the policy names it as the home zone." in refused.text
    assert Reader(owner).open("/console/places/edit?of=pier").status == 404


def test_a_spots_winds_are_seen_before_it_is_saved(owner: Client) -> None:
    page = Reader(owner).open("/console/places/edit?of=spot&name=Lough+Corravane")
    before = page.text
    page.press("Show what they give", mean_07="19", water_c_07="warm")
    assert page.status == 422
    assert "Shown as soon as all of them can be read." in page.text
    page.press("Show what they give", water_c_07="17")
    assert page.status == 200
    assert page.by_id("mean_07").get("value") == "19"
    assert page.text != before
    assert Reader(owner).open("/console/places/edit?of=spot&name=Lough+Corravane").text == before
    page.press("Save")
    assert page.address.startswith("/console/places?kept=")
    assert "Kept. Spot Lough Corravane changed." in page.text
    undo = next(one.get("href", "") for one in page.page.iter("a") if one.text == "Undo this")
    page.open(undo)
    assert "mean winds by month" in page.text
    page.press("Undo this step")
    assert "Undo this" not in page.open("/console/places?kept=2").text
