"""The page of two riders: the way there and back without script, what each sees of the other, and what it costs."""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element

import pytest

from server.domain.shared import Shared
from server.domain.slots import CORE_SLOTS
from server.usecases.learner import read_draft
from server.usecases.shared import read_pair, share_kit
from server.usecases.work import Shop
from server.web.guard import masked
from server.web.render import TEMPLATES, environment
from tests.builders_http import ADDRESS, Client
from tests.builders_shop import Clock, learner
from tests.pages.reader import FORM, Reader, at_the_kit, encoded, parsed_fragment, text_of

SHARE = "Share with a second rider"
PUT = "Put this kit on my page"


def token_of(reader: Reader) -> str:
    """The draft of a reader's page."""
    return reader.address.split("/")[2]


def sharing(client: Client, mass: str = "80") -> Reader:
    """The first rider, who has answered and shares with somebody."""
    reader = at_the_kit(client, mass)
    return reader.open(f"/drafts/{token_of(reader)}/shared").press(SHARE)


def address_sent(reader: Reader) -> str:
    """The path that the first rider sends on."""
    [link] = [link for link in reader.page.iter("a") if ADDRESS in link.get("href", "")]
    assert text_of(link) == link.get("href")
    return link.get("href", "").removeprefix(ADDRESS)


def second(client: Client, path: str, mass: str = "68", **flying: str) -> Reader:
    """The second rider, who has answered at the address they were sent, on the page of both."""
    reader = Reader(client).open(path).press("next", mass_kg=mass, to_feet="average", fitness="fair")
    reader.press("kit", **{"board_background": "some", "foil_stage": "none", **flying})
    return reader.open(f"/drafts/{token_of(reader)}/shared")


def both(client: Client, masses: tuple[str, str] = ("80", "68")) -> tuple[Reader, Reader]:
    """Both riders on their page, answered."""
    one = sharing(client, masses[0])
    other = second(client, address_sent(one), masses[1])
    return one.open(one.address), other


def table(reader: Reader, kind: str) -> dict[str, list[str]]:
    """A table's rows by their labels."""
    [found] = [element for element in reader.page.iter("table") if kind in element.get("class", "").split()]
    return {_label(row): [text_of(cell) for cell in row if cell.tag == "td"] for row in found.iter("tr") if _label(row)}


def _label(row: Element) -> str:
    heads = [cell for cell in row if cell.tag == "th" and cell.get("scope") == "row"]
    return " ".join((heads[0].text or "").split()) if heads else ""


def test_the_way_from_one_rider_to_a_kit_of_two(client: Client) -> None:
    one = sharing(client)
    assert one.address.endswith("/shared")
    assert "You have answered." in one.text
    assert "The other rider has not answered yet" in one.text
    other = second(client, address_sent(one))
    assert token_of(other) != token_of(one)
    one.open(one.address)
    for reader in (one, other):
        assert reader.status == 200
        assert list(table(reader, "shared-parts")) == [
            "Board",
            "Mast",
            "Fuselage",
            "Front foil",
            "Tail",
            "Hand wing, yours",
            "Hand wing, the other’s",
        ]
    mine, theirs = (table(reader, "shared-parts") for reader in (one, other))
    assert list(mine.values())[:5] == list(theirs.values())[:5]
    assert mine["Hand wing, yours"] == theirs["Hand wing, the other’s"] == ["5.5 m²"]
    assert mine["Hand wing, the other’s"] == theirs["Hand wing, yours"] == ["5 m²"]
    assert one.row("Shared") == other.row("Shared")


def test_the_second_rider_may_come_before_the_first_has_answered(client: Client) -> None:
    one = Reader(client).open("/").press("Start with you")
    one.open(f"/drafts/{token_of(one)}/shared").press(SHARE)
    assert "You have questions left" in one.text
    other = second(client, address_sent(one))
    assert "The other rider has not answered yet" in other.text
    assert "You have answered." in other.text


def test_nobody_sees_the_others_answers_or_address(client: Client) -> None:
    one, other = both(client, ("83", "71"))
    assert token_of(one) not in other.html
    assert "83" not in re.findall(r"\d+", other.text)
    assert token_of(other) not in one.html
    assert "71" not in re.findall(r"\d+", one.text)


def test_before_it_is_answered_only_the_first_is_given_the_others_address(client: Client) -> None:
    one = sharing(client)
    path = address_sent(one)
    other = Reader(client).open(f"/drafts/{path.split('/')[2]}/shared")
    assert token_of(one) not in other.html
    assert ADDRESS not in other.html
    assert "Whoever has an address can see the answers given under it" in one.text


def test_what_is_given_up_adds_up_and_mirrors_the_other_page(client: Client) -> None:
    one, other = both(client)
    rows, mirrored = table(one, "given-up"), table(other, "given-up")
    assert len(rows) == len(CORE_SLOTS) + 1
    for reader_rows in (rows, mirrored):
        *parts, total = reader_rows.values()
        for column in (1, 2):
            figures = [float(cells[column].replace("−", "-")) for cells in parts]
            assert sum(figures) == pytest.approx(float(total[column].replace("−", "-")), abs=0.051)
    assert [cells[1] for cells in rows.values()] == [cells[2] for cells in mirrored.values()]
    assert [cells[2] for cells in rows.values()] == [cells[1] for cells in mirrored.values()]


def test_the_prices_are_those_of_the_kit_and_of_the_two_own_ones(client: Client, shop: Shop) -> None:
    one, other = both(client)
    with shop.reading() as work:
        together = share_kit(work, read_pair(work, token_of(one)))
    assert together is not None
    assert isinstance(together.shared, Shared)
    assert one.row("Shared") == f"€{together.shared.price / 100:,.2f}"
    alone = []
    for reader in (one, other):
        lines = client.told("/api/kits", learner(mass_kg=80 if reader is one else 68))["recommended"]["price"]["lines"]
        alone += [line["charged"] for line in lines if line["slot"] in CORE_SLOTS]
    assert len(alone) == 12
    assert one.row("Two whole kits") == f"€{sum(alone) / 100:,.2f}"
    assert f"€{(sum(alone) - together.shared.price) / 100:,.2f} less than two whole kits" in one.text


def test_one_part_instead_names_ones_own_but_not_the_others(client: Client) -> None:
    one, _ = both(client)
    rows = table(one, "instead")
    assert "Board for the other" in rows
    assert all(re.fullmatch(r"€[\d,]+\.\d\d", cells[1]) for cells in rows.values())
    for row in one.page.iter("tr"):
        words = _label(row)
        if words.endswith(("for you", "for the other")):
            assert (row[0].find("small") is not None) == words.endswith("for you")


def test_the_kit_is_put_on_ones_own_page_with_ones_own_wing(client: Client) -> None:
    one, other = both(client)
    sizes = [cells[0] for cells in table(one, "shared-parts").values()]
    for reader, wing in ((one, sizes[5]), (other, sizes[6])):
        reader.press(PUT)
        assert reader.address == f"/drafts/{token_of(reader)}/kit"
        shown = [text_of(size) for size in reader.page.iter("p") if size.get("class") == "part-size"]
        assert shown == [*sizes[:5], wing]


@pytest.mark.parametrize("skus", [[], ["DUN-82"], ["no such", "part"]])
def test_another_kit_than_the_shared_one_is_not_put(client: Client, shop: Shop, skus: list[str]) -> None:
    one, _ = both(client)
    answer = client.post(one.address, content=encoded([("sku", sku) for sku in skus]), headers=FORM)
    assert answer.status_code == 409
    assert "has changed since you looked" in text_of(Reader(client, one.address, 409, answer.text).page)
    with shop.reading() as work:
        assert read_draft(work, token_of(one)).picks == ()


def test_sharing_can_be_stopped_from_either_side(client: Client) -> None:
    one, other = both(client)
    other.press("Stop sharing")
    for reader in (one, other):
        reader.open(f"/drafts/{token_of(reader)}/shared")
        assert "You share with nobody yet" in reader.text
        assert not list(reader.page.iter("table"))
        assert reader.open(f"/drafts/{token_of(reader)}/kit").status == 200


def test_an_other_rider_who_is_too_old_is_nobody(client: Client, clock: Clock) -> None:
    one, _ = both(client)
    clock.forward(days=20)
    Reader(client).open(f"/drafts/{token_of(one)}/you").press("next", mass_kg="81")
    clock.forward(days=11)
    assert "You share with nobody yet" in one.open(one.address).text


def test_gear_of_the_other_is_told_and_the_kit_stays_theirs(client: Client) -> None:
    one, other = both(client, ("80", "78"))
    gear = {
        "keeps-mast-0-length_cm": "72",
        "keeps-mast-0-track": "deep-box",
        "keeps-mast-0-mount": "cone",
        "go": "next",
    }
    token = token_of(one)
    client.post(f"/drafts/{token}/gear", content=encoded(list(gear.items())), headers=FORM)
    one.open(one.address)
    other.open(other.address)
    assert "your own, nothing to buy" in one.text
    assert "the other rider’s own, nothing to buy" in other.text
    assert PUT in one.text
    assert PUT not in other.text
    assert "cannot be kept on your page as it is" in other.text
    answer = client.post(other.address, content=b"", headers=FORM)
    assert answer.status_code == 422


def test_riders_without_a_kit_together_are_told_why(client: Client) -> None:
    one = sharing(client)
    other = second(client, address_sent(one))
    token = token_of(other)
    client.post(
        f"/drafts/{token}/where",
        content=encoded([("water", "sea"), ("min_depth_m", "0.6"), ("go", "next")]),
        headers=FORM,
    )
    for reader in (one.open(one.address), other.open(other.address)):
        assert "No kit can be shared today: no mast in stock may be sold to you both." in reader.text
        assert "Load it again" not in reader.text


def test_the_cautions_of_two_stand_there(client: Client) -> None:
    one, _ = both(client)
    assert "Two people never ride one kit at once. While one rides, the other stays ashore" in one.text
    assert "Vest, helmet, leashes and wetsuit are each one’s own" in one.text
    assert "The instructor on the beach has the last word" in one.text


def test_htmx_is_answered_the_block_of_the_page(client: Client) -> None:
    one, _ = both(client)
    block = client.get(one.address, headers={"HX-Request": "true"}).text
    assert block.strip() in one.html
    assert parsed_fragment(block) is not None
    assert "<html" not in block


def test_a_boosted_or_plain_share_is_a_see_other_and_unknown_addresses_are_not_found(client: Client) -> None:
    one = at_the_kit(client)
    answer = client.post(f"/drafts/{token_of(one)}/share", content=b"", headers=FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/drafts/{token_of(one)}/shared")
    for verb in ("share", "part", "shared"):
        assert client.post(f"/drafts/guessed-address/{verb}", content=b"", headers=FORM).status_code == 404
    assert client.get("/drafts/guessed-address/shared").status_code == 404


def test_the_log_does_not_hold_the_address() -> None:
    assert masked("/drafts/abcdefgh/shared") == "/drafts/…/shared"


def test_the_invitation_is_a_form_to_the_drafts_address() -> None:
    html = environment(str).get_template("shared/_invite.html").render(token="abc")
    [form] = parsed_fragment(html).iter("form")
    assert (form.get("method"), form.get("action")) == ("post", "/drafts/abc/share")
    assert len(list(parsed_fragment(html).iter("h2"))) == 1
    assert (TEMPLATES / "shared" / "_invite.html").is_file()
