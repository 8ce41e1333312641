"""With htmx the same handlers answer one named block of the same page."""

from __future__ import annotations

from xml.etree.ElementTree import Element

import pytest

from tests.builders_http import Client
from tests.pages.reader import FORM, Reader, at_the_kit, encoded, fields_of_form, parsed_fragment, started, text_of

HTMX = {**FORM, "HX-Request": "true"}


def _shape(element: Element) -> list[tuple[str, str]]:
    return [(str(inner.tag), inner.get("id", "")) for inner in element.iter()]


def test_a_change_in_a_step_is_kept_and_answered_with_the_panel_of_the_whole_page(client: Client) -> None:
    reader = started(client)
    answer = client.post(reader.address, content=b"mass_kg=80&mass_unit=kg&to_feet=quick", headers=HTMX)
    assert answer.status_code == 200
    assert answer.headers["vary"] == "HX-Request" or "HX-Request" in answer.headers["vary"]
    fragment = parsed_fragment(answer.text)
    assert fragment[0].get("id") == "panel"
    assert "3 more answers" in text_of(fragment)
    whole = Reader(client).open(reader.address)
    assert _shape(whole.by_id("panel")) == _shape(fragment[0])
    assert text_of(whole.by_id("panel")) == text_of(fragment[0])
    assert whole.by_id("mass_kg").get("value") == "80"


def test_the_panel_shows_the_kit_as_soon_as_the_answers_are_enough(client: Client) -> None:
    reader = at_the_kit(client)
    step = Reader(client).open(reader.address.replace("/kit", "/flying"))
    form, _ = step.form("next")
    fields = [(name, value) for name, value in fields_of_form(form) if name != "foil_stage"] + [
        ("foil_stage", "turning")
    ]
    panel = parsed_fragment(client.post(step.address, content=encoded(fields), headers=HTMX).text)
    assert "To pay" in text_of(panel)
    assert "85 cm" in text_of(panel)


def test_a_swap_by_htmx_ends_at_the_kit_block_which_the_whole_page_contains(client: Client) -> None:
    reader = at_the_kit(client)
    sku = next(b.get("value", "") for b in reader.page.iter("button") if b.get("id") == "put-tail-larger")
    answer = client.post(reader.address, content=encoded([("put", sku)]), headers=HTMX)
    assert answer.status_code == 303
    fragment = client.get(answer.headers["location"], headers={"HX-Request": "true"})
    said, kit = parsed_fragment(fragment.text)
    assert kit.get("id") == "kit"
    whole = Reader(client).open(answer.headers["location"])
    assert _shape(whole.by_id("kit")) == _shape(kit)
    assert text_of(whole.by_id("announce")) == text_of(said)
    assert text_of(said).startswith("The tail is now ")


def test_a_refused_swap_by_htmx_is_answered_with_the_block_and_its_reason(client: Client) -> None:
    reader = at_the_kit(client, mass="95")
    answer = client.post(reader.address, content=b"put=DUN-72", headers=HTMX)
    assert answer.status_code == 422
    _, kit = parsed_fragment(answer.text)
    assert kit.get("id") == "kit"
    assert "would not float you home" in text_of(kit)


@pytest.mark.parametrize("header", ["HX-Boosted", "HX-History-Restore-Request"])
def test_boosted_links_and_history_restores_get_the_whole_page(client: Client, header: str) -> None:
    reader = at_the_kit(client)
    answer = client.get(reader.address, headers={"HX-Request": "true", header: "true"})
    assert answer.text.startswith("<!doctype html>")


def test_a_change_that_comes_in_after_the_whole_form_takes_none_of_its_answers_back(client: Client) -> None:
    reader = at_the_kit(client)
    late = reader.address.replace("/kit", "/flying")
    answer = client.post(late, content=b"board_background=none", headers=HTMX)
    assert "To pay" in text_of(parsed_fragment(answer.text))
    assert client.get(reader.address).status_code == 200
