"""What can be put in a part's place: another size, another maker's, one's own; and kits named by an address."""

from __future__ import annotations

import pytest

from server.domain.slots import CORE_SLOTS
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.pages.reader import Reader, at_the_kit, text_of

OWN_BOARD = {"keeps-board-0-volume_l": "110", "keeps-board-0-width_cm": "74", "keeps-board-0-track": "twin-track"}


def skus_by(reader: Reader, way: str) -> dict[str, str]:
    """The SKUs of the buttons that go one way, by slot."""
    found = {}
    for button in reader.page.iter("button"):
        slot, _, end = button.get("id", "").removeprefix("put-").rpartition("-")
        if end == way and slot in CORE_SLOTS:
            found[slot] = button.get("value", "")
    return found


def shown(reader: Reader) -> list[str]:
    """The SKUs of the kit that the page shows."""
    form, _ = reader.form("Keep this quote")
    return [field.get("value", "") for field in form.iter("input") if field.get("name") == "sku"]


def test_every_part_offers_another_size_and_another_makers(client: Client, shop: Shop) -> None:
    reader = at_the_kit(client)
    with shop.reading() as work:
        makers = {sku: part.maker for sku, part in work.catalogue.parts.items()}
    for slot in CORE_SLOTS:
        assert any(slot in skus_by(reader, way) for way in ("smaller", "larger")), slot
    elsewhere = skus_by(reader, "maker")
    assert len(elsewhere) >= 4
    now = dict(zip(CORE_SLOTS, shown(reader), strict=True))
    for slot, sku in elsewhere.items():
        assert makers[sku] != makers[now[slot]]


@pytest.mark.parametrize("way", ["smaller", "larger", "maker"])
def test_a_part_put_in_is_shown_announced_and_focused(client: Client, shop: Shop, way: str) -> None:
    first = at_the_kit(client)
    before = shown(first)
    kit = f"{first.address}?{'&'.join(f'sku={sku}' for sku in before)}"
    for slot, sku in skus_by(first, way).items():
        reader = Reader(client).open(kit)
        reader.press(sku)
        assert set(shown(reader)) - set(before) == {sku}
        with shop.reading() as work:
            name = work.catalogue.parts[sku].name
        assert name in text_of(reader.by_id("announce"))
        assert "o pay €" in text_of(reader.by_id("announce"))
        focused = [element.get("id") for element in reader.page.iter() if "autofocus" in element.attrib]
        assert focused in ([f"put-{slot}-{way}"], [f"part-{slot}"])


def test_an_own_board_takes_the_place_of_the_bought_one_and_gives_it_back(client: Client) -> None:
    reader = at_the_kit(client)
    bought = shown(reader)
    reader.press("Build on mine, my own board", **OWN_BOARD)
    assert reader.status == 200
    assert "your own board" in reader.text
    assert len(shown(reader)) == len(bought) - 1
    assert text_of(reader.by_id("announce")).startswith("The board is now 110 l, your own board.")
    reader.press("Buy a board after all")
    assert shown(reader) == bought


def test_an_own_piece_that_cannot_be_read_comes_back_as_typed_with_its_fault(client: Client) -> None:
    reader = at_the_kit(client)
    bought = shown(reader)
    reader.press("Build on mine, my own board", **{**OWN_BOARD, "keeps-board-0-volume_l": "big"})
    assert reader.status == 422
    field = reader.by_id("keeps-board-0-volume_l")
    assert field.get("value") == "big"
    assert field.get("aria-invalid") == "true"
    assert "Accepted: a number from" in text_of(reader.by_id("keeps-board-0-volume_l-fault"))
    assert reader.by_id("keeps-board-0-width_cm").get("value") == "74"
    assert shown(reader) == bought
    reader.press("Build on mine, my own mast")
    assert reader.status == 422
    assert "Nothing was filled in." in reader.text


def test_an_own_piece_that_does_not_suit_is_not_built_on_and_the_page_says_why(client: Client) -> None:
    reader = at_the_kit(client)
    reader.press("Build on mine, my own board", **{**OWN_BOARD, "keeps-board-0-volume_l": "60"})
    assert reader.status == 200
    assert "your own board" not in text_of(reader.by_id("announce"))
    assert "float" in reader.text
    assert len(shown(reader)) == len(CORE_SLOTS)


def test_a_swap_goes_from_the_kit_that_its_page_showed(client: Client) -> None:
    """Two tabs on one draft: what the second tab put in does not change what the first one does next."""
    first = at_the_kit(client)
    second = Reader(client).open(first.address)
    second.press(skus_by(second, "larger")["front_foil"])
    before = shown(first)
    sku = skus_by(first, "smaller")["hand_wing"]
    first.press(sku)
    assert set(shown(first)) == {*before, sku} - {before[-1]}


def test_an_address_may_name_a_kit_and_changes_nothing(client: Client) -> None:
    reader = at_the_kit(client)
    recommended = shown(reader)
    wing = skus_by(reader, "smaller")["hand_wing"]
    query = "&".join(f"sku={sku}" for sku in [*recommended[:-1], wing])
    named = Reader(client).open(f"{reader.address}?{query}")
    assert shown(named)[-1] == wing
    assert shown(Reader(client).open(reader.address)) == recommended
    odd = Reader(client).open(f"{reader.address}?sku=NO-SUCH-PART")
    assert odd.status == 200
    assert "no longer holds" in odd.text
    assert shown(odd) == recommended


def test_another_kit_is_announced_with_its_sizes(client: Client) -> None:
    reader = at_the_kit(client).press("least_money")
    said = text_of(reader.by_id("announce"))
    assert said.startswith("Another kit is shown: board ")
    assert "To pay €" in said
    assert [element.get("id") for element in reader.page.iter() if "autofocus" in element.attrib] == ["kit-title"]


def test_a_wing_for_stronger_wind_is_announced_when_it_comes_and_goes(client: Client) -> None:
    reader = at_the_kit(client)
    reader.press("Build on mine, my own hand wing", **{"keeps-hand_wing-0-area_m2": "5.5"})
    add = reader.by_id("wing-beside").get("value", "")
    reader.press(add)
    assert "is in for stronger wind. To pay €" in text_of(reader.by_id("announce"))
    reader.press("leave it out")
    assert text_of(reader.by_id("announce")).startswith("No wing for stronger wind. To pay €")
    assert "autofocus" in reader.by_id("wing-beside").attrib
