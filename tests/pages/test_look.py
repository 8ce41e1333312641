"""The shop's own look: its colours are a style sheet of their own, linked only where they differ from the ordinary ones."""

from __future__ import annotations

import re

from server.domain.policy import LookTerms
from server.persistence.folder import read_folder
from server.usecases.catalogue import replace_catalogue
from server.usecases.work import Shop
from server.web.look import look_address, look_css
from tests.builders_http import Client
from tests.builders_shop import FolderCopy
from tests.pages.reader import Reader, at_the_kit

PLUM = LookTerms(accent="#7a2e5d", dark_accent="#f2b8d8", dark_on_accent="#2a0f20")


def bring_in(shop: Shop, folder: FolderCopy, look: LookTerms) -> None:
    """Bring in the seed catalogue with accents of another colour."""
    usual = LookTerms()
    for name in ("accent", "dark_accent", "dark_on_accent"):
        folder.swap("policy.toml", f'\n{name} = "{getattr(usual, name)}"', f'\n{name} = "{getattr(look, name)}"')
    with shop.reading() as work:
        found = read_folder(folder.path, work.catalogue, None)
    assert found.faults == []
    with shop.writing("owner") as work:
        replace_catalogue(work, found)


def sheets_on(reader: Reader) -> list[str]:
    """The style sheets of a page, in their order."""
    return [link.get("href", "") for link in reader.page.iter("link") if link.get("rel") == "stylesheet"]


def test_the_ordinary_look_costs_no_request(client: Client) -> None:
    [only] = sheets_on(Reader(client).open("/"))
    assert only.startswith("/static/slackwater-")
    assert look_address(LookTerms()) == ""


def test_another_look_is_linked_after_the_main_style_sheet_on_every_page(
    client: Client, shop: Shop, folder: FolderCopy
) -> None:
    bring_in(shop, folder, PLUM)
    for reader in (Reader(client).open("/"), Reader(client).open("/privacy"), at_the_kit(client)):
        first, second = sheets_on(reader)
        assert first.startswith("/static/slackwater-")
        assert second == look_address(PLUM)


def test_it_holds_custom_properties_light_and_dark_and_may_be_kept_for_ever(
    client: Client, shop: Shop, folder: FolderCopy
) -> None:
    bring_in(shop, folder, PLUM)
    answer = client.get(look_address(PLUM))
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/css; charset=utf-8"
    assert "immutable" in answer.headers["cache-control"]
    light, dark = answer.text.split("@media (prefers-color-scheme: dark)")
    assert "--kelp: #7a2e5d;" in light
    assert "--kelp: #f2b8d8;" in dark
    assert "--on-kelp: #2a0f20;" in dark
    rules = re.findall(r"([\w-]+): ([^;{}]+);", answer.text)
    assert len(rules) == 10
    assert all(name.startswith("--") and re.fullmatch(r"#[0-9a-f]{6}", colour) for name, colour in rules)
    around = re.findall(r"([^{};]+)\{", answer.text)
    assert [" ".join(words.split()) for words in around] == [
        "@layer tokens",
        "@media (forced-colors: none)",
        ":root",
        "@media (prefers-color-scheme: dark)",
        ":root",
    ]


def test_under_an_earlier_address_it_is_the_look_in_force_and_not_kept(
    client: Client, shop: Shop, folder: FolderCopy
) -> None:
    bring_in(shop, folder, PLUM)
    other = look_address(LookTerms(accent="#14507a"))
    assert other not in ("", look_address(PLUM))
    answer = client.get(other)
    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-cache")
    assert answer.text == look_css(PLUM)


def test_opening_hours_and_contact_stand_at_the_foot_of_a_page(client: Client) -> None:
    [foot] = Reader(client).open("/").page.iter("footer")
    said = " ".join("".join(foot.itertext()).split())
    assert "Tuesday to Sunday 10:00 to 18:00" in said
    assert {link.get("href") for link in foot.iter("a")} >= {"tel:+353209100142", "mailto:hello@twoherons.example"}
