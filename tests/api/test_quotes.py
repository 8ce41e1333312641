"""`POST /api/quotes` and `GET /api/quotes/{token}`: keeping a kit, under a code and an address, as it was on the day."""

from __future__ import annotations

from typing import Any

import pytest

from server.domain.slots import CORE_SLOTS
from server.persistence.folder import read_folder
from server.persistence.tables import QuoteRow, UnmetRow
from server.usecases.catalogue import replace_catalogue
from server.usecases.work import Shop
from tests.builders_http import ADDRESS, Client, check_sums, faults_of, fields_of
from tests.builders_shop import WING_OF_ONES_OWN, Clock, FolderCopy, learner, number_of

CHEAP = [
    "EEL-A110",
    "GSK-M70T",
    "GSK-F70C",
    "TUR-1720",
    "TUR-T285",
    "CHG-50",
]  # Six parts of the seed that go together.


def token_of(quote: dict[str, Any]) -> str:
    return str(quote["url"]).rsplit("/", 1)[1]


def read(client: Client, token: str) -> dict[str, Any]:
    answer = client.get(f"/api/quotes/{token}")
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def kept(client: Client, **body: Any) -> dict[str, Any]:
    """A kept quote."""
    return client.told("/api/quotes", {"answers": learner(), **body}, 201)


def refused(client: Client, skus: Any, status: int = 422, **answers: Any) -> list[dict[str, str]]:
    """The faults of SKUs that cannot be kept."""
    return client.faults("/api/quotes", {"answers": learner(**answers), "skus": skus}, status)


def number_kept(shop: Shop) -> int:
    with shop.reading() as work:
        return number_of(work.session, QuoteRow)


def test_a_kept_quote_has_code_address_revision_state_and_day(client: Client) -> None:
    quote = kept(client)
    assert quote["revision"] == 1
    assert quote["state"] == "sent"
    assert quote["valid_until"] == "2026-12-09"
    assert len(quote["code"]) == 8
    assert quote["url"] == f"{ADDRESS}/quotes/{token_of(quote)}"
    assert len(token_of(quote)) == 32
    assert quote["answers"] == learner()


def test_without_skus_it_is_the_recommended_kit(client: Client) -> None:
    told = client.told("/api/kits", learner())
    for body in ({}, {"skus": None}):
        quote = kept(client, **body)
        assert quote["kit"] == told["recommended"]
        assert (quote["setup"], quote["targets"], quote["notes"]) == (told["setup"], told["targets"], told["notes"])
        check_sums(quote["kit"]["price"])


def test_it_is_read_again_under_its_address_as_it_was_kept(client: Client, clock: Clock) -> None:
    quote = kept(client)
    clock.forward(days=3)
    assert read(client, token_of(quote)) == quote


def test_a_lapsed_quote_is_answered_with_its_state(client: Client, clock: Clock) -> None:
    quote = kept(client)
    clock.forward(days=14)
    assert read(client, token_of(quote)) == quote
    clock.forward(days=1)
    assert read(client, token_of(quote)) == {**quote, "state": "lapsed"}


def test_it_stays_as_it_is_when_catalogue_and_policy_change(client: Client, shop: Shop, folder: FolderCopy) -> None:
    quote = kept(client)
    for file in ("boards.csv", "masts.csv", "extras.csv", "hand_wings.csv"):
        folder.set_all(file, "price", lambda price: f"{3 * float(price):.2f}")
        folder.set_all(file, "name", lambda name: f"New {name}")
    folder.swap("policy.toml", "percent = 22", "percent = 1")
    folder.swap("policy.toml", 'currency = "EUR"', 'currency = "SEK"')
    with shop.writing() as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    assert read(client, token_of(quote)) == quote
    later = kept(client)
    assert later["kit"]["price"]["currency"] == "SEK"
    assert later["kit"]["price"]["balance"] > quote["kit"]["price"]["balance"]


@pytest.mark.parametrize("token", ["guessed", "x" * 32, "%00", "%FF%FE", "%2E%2E", "'--", "a" * 1500])
def test_an_address_that_nobody_was_given_is_not_found(client: Client, token: str) -> None:
    kept(client)
    faults_of(client.get(f"/api/quotes/{token}"), 404)


# --- SKUs


def test_skus_that_fill_every_slot_are_kept_in_whatever_order(client: Client) -> None:
    quote = kept(client, skus=CHEAP[::-1])
    assert [part["sku"] for part in quote["kit"]["parts"].values()] == CHEAP
    assert list(quote["kit"]["parts"]) == list(CORE_SLOTS)
    check_sums(quote["kit"]["price"])


def test_skus_that_name_the_recommended_kit_keep_the_same_kit(client: Client) -> None:
    quote = kept(client)
    skus = [part["sku"] for part in quote["kit"]["parts"].values()]
    assert kept(client, skus=skus)["kit"] == quote["kit"]


@pytest.mark.parametrize("missing", CORE_SLOTS)
def test_every_slot_that_is_not_kept_must_be_filled(client: Client, shop: Shop, missing: str) -> None:
    place = CORE_SLOTS.index(missing)
    [fault] = refused(client, CHEAP[:place] + CHEAP[place + 1 :])
    assert fault["field"] == "skus"
    assert missing.replace("_", " ") in fault["message"]
    assert number_kept(shop) == 0


def changed(place: int, sku: str) -> list[str]:
    return [*CHEAP[:place], sku, *CHEAP[place + 1 :]]


REFUSED: dict[str, tuple[Any, str]] = {
    "no part at all": ([], "skus"),
    "a SKU of nothing": (changed(0, "NO-SUCH"), "skus[0]"),
    "a SKU in small letters": (changed(0, "eel-a110"), "skus[0]"),
    "a second board": ([*CHEAP, "EEL-85"], "skus[6]"),
    "the same part twice": ([*CHEAP, CHEAP[0]], "skus[6]"),
    "an extra": ([*CHEAP, "WRK-PUMP1"], "skus[6]"),
    "a board that would not float the learner home": (changed(0, "EEL-85"), "skus"),
    "a front foil that lifts off too late": (changed(3, "TUR-950"), "skus"),
    "a mast of another track": (changed(1, "GSK-M70D"), "skus"),
    "a fuselage of another mount": (changed(2, "GSK-F70S"), "skus"),
    "a tail and fuselage too small to hold the foil": (
        [*CHEAP[:2], "TUR-F58", "GSK-2000C", "TUR-T190", "CHG-50"],
        "skus",
    ),
    "one text": ("EEL-A110", "skus"),
    "numbers": ([1, 2], "skus"),
    "more than twenty": (CHEAP * 4, "skus"),
    "a text that is no text": (["\ud800"], "skus[0]"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_skus_that_are_refused_or_do_not_fit_are_bad_input(client: Client, shop: Shop, name: str) -> None:
    skus, field = REFUSED[name]
    assert field in fields_of(refused(client, skus))
    assert number_kept(shop) == 0


def test_a_mast_too_long_for_the_water_is_refused(client: Client) -> None:
    assert kept(client, answers=learner(min_depth_m=1.05), skus=CHEAP)["kit"]["notes"]
    [fault] = refused(client, CHEAP, min_depth_m=1.04)
    assert "water" in fault["message"]


@pytest.mark.parametrize("sku", ["TUR-M76T", "GSK-M60T"], ids=["out of stock", "not sold any more"])
def test_a_part_that_is_not_free_is_a_conflict(client: Client, shop: Shop, sku: str) -> None:
    [fault] = refused(client, changed(1, sku), 409)
    assert fault["field"] == "skus"
    assert sku in fault["message"]
    assert number_kept(shop) == 0


def test_a_retired_part_is_a_conflict(client: Client, shop: Shop, folder: FolderCopy) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != CHEAP[0])
    with shop.writing() as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    [fault] = refused(client, CHEAP, 409)
    assert CHEAP[0] in fault["message"]


def test_a_kit_over_the_cap_of_misfit_can_be_named_and_kept(client: Client) -> None:
    quote = kept(client, skus=changed(5, "CHG-70"))
    assert quote["kit"]["misfits"]["hand_wing"] > 2.5


def test_where_no_kit_is_sound_none_is_recommended_to_keep(client: Client, shop: Shop) -> None:
    for mass in (144, 150):
        client.faults("/api/quotes", {"answers": learner(mass_kg=mass)}, 409)
    assert number_kept(shop) == 0


# --- kept gear


def test_a_slot_that_is_kept_is_not_named(client: Client) -> None:
    keeps = [{"slot": "board", "volume_l": 110, "width_cm": 76, "track": "twin-track"}]
    quote = kept(client, answers=learner(keeps=keeps), skus=CHEAP[1:])
    assert quote["kit"]["kept"] == {"board": {"volume_l": 110, "width_cm": 76, "track": "twin-track"}}
    assert fields_of(refused(client, CHEAP, keeps=keeps)) == ["skus[0]"]


def test_a_hand_wing_beside_a_kept_one_is_for_stronger_wind(client: Client) -> None:
    answers = learner(keeps=[WING_OF_ONES_OWN])
    plain = kept(client, answers=answers, skus=CHEAP[:5])["kit"]
    more = kept(client, answers=answers, skus=[*CHEAP[:5], "CHG-40"])["kit"]
    assert (plain["price"]["tier"]["percent"], more["price"]["tier"]["percent"]) == (16, 22)
    assert (more["misfit"], more["misfits"]) == (plain["misfit"], plain["misfits"])
    assert more["kept"] == plain["kept"] == {"hand_wing": {"area_m2": 5.5}}
    [line] = [line for line in more["price"]["lines"] if line["slot"] == "hand_wing"]
    assert line["sku"] == "CHG-40"
    assert line["charged"] == round(0.78 * line["list"])
    check_sums(more["price"])


def test_extras_come_from_the_answers(client: Client) -> None:
    price = kept(client, answers=learner(extras=["helmet"]), skus=CHEAP)["kit"]["price"]
    [helmet] = [line for line in price["lines"] if line["slot"] == "helmet"]
    assert helmet["charged"] == 89_00


# --- once for each key


def test_every_call_makes_a_quote_of_its_own(client: Client, shop: Shop) -> None:
    first, second = kept(client), kept(client)
    assert first["code"] != second["code"]
    assert token_of(first) != token_of(second)
    assert number_kept(shop) == 2


def test_the_same_key_gives_the_same_quote_again(client: Client, shop: Shop, clock: Clock) -> None:
    body, key = {"answers": learner(mass_kg=136)}, {"Idempotency-Key": "a-key"}
    first = client.told("/api/quotes", body, 201, headers=key)
    clock.forward(hours=1)
    assert client.told("/api/quotes", body, 201, headers=key) == first
    assert number_kept(shop) == 1
    with shop.reading() as work:
        assert number_of(work.session, UnmetRow) == 1
    other = client.told("/api/quotes", body, 201, headers={"Idempotency-Key": "another-key"})
    assert other["code"] != first["code"]


def test_another_request_under_the_same_key_is_bad_input(client: Client, shop: Shop) -> None:
    key = {"Idempotency-Key": "a-key"}
    client.told("/api/quotes", {"answers": learner()}, 201, headers=key)
    faults = client.faults("/api/quotes", {"answers": learner(mass_kg=81)}, headers=key)
    assert fields_of(faults) == ["Idempotency-Key"]
    assert number_kept(shop) == 1


@pytest.mark.parametrize("key", ["", "k" * 201])
def test_a_key_has_one_to_two_hundred_characters(client: Client, key: str) -> None:
    faults = client.faults("/api/quotes", {"answers": learner()}, headers={"Idempotency-Key": key})
    assert fields_of(faults) == ["Idempotency-Key"]
    client.told("/api/quotes", {"answers": learner()}, 201, headers={"Idempotency-Key": (key or "k")[:200]})


# --- the body


@pytest.mark.parametrize(
    ("body", "fields"),
    [
        ({}, ["answers"]),
        ({"answers": None}, ["answers"]),
        ({"answers": [learner()]}, ["answers"]),
        (learner(), [*learner(), "answers"]),
        ({"answers": learner(), "sku": "DUN-82"}, ["sku"]),
        ({"answers": learner(mass_kg=34)}, ["mass_kg"]),
        ({"answers": learner(mass_kg=34, to_feet="fast"), "skus": CHEAP}, ["mass_kg", "to_feet"]),
        ({"answers": {}}, list(learner())),
    ],
)
def test_a_body_of_another_shape_is_bad_input_with_every_fault(
    client: Client, shop: Shop, body: dict[str, Any], fields: list[str]
) -> None:
    assert fields_of(client.faults("/api/quotes", body)) == fields
    assert number_kept(shop) == 0
