"""`GET /api/parts`: what is on sale, with measures and list price, and nothing that is the shop's own affair."""

from __future__ import annotations

import csv

import pytest

from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from server.persistence.columns import PART_FILES
from server.persistence.folder import read_folder
from server.usecases.catalogue import replace_catalogue
from server.usecases.opening import SEED
from server.usecases.work import Shop
from tests.builders_http import Client, faults_of, fields_of
from tests.builders_shop import FolderCopy


def sold_in_file(file: str) -> dict[str, dict[str, str]]:
    """The rows of a seed file that are sold, by SKU, read without the code that loads them."""
    with (SEED / file).open(encoding="utf-8", newline="") as lines:
        return {row["sku"]: row for row in csv.DictReader(lines) if row["sold"] != "no"}


@pytest.mark.parametrize(("file", "slot"), [(file, slot) for file, slot in PART_FILES.items() if slot])
def test_the_parts_of_a_slot_are_those_of_its_file(client: Client, file: str, slot: str) -> None:
    told = client.get("/api/parts", params={"slot": slot})
    assert told.status_code == 200
    parts = {part["sku"]: part for part in told.json()["parts"]}
    rows = sold_in_file(file)
    assert set(parts) == set(rows)
    for sku, row in rows.items():
        part = parts[sku]
        assert (part["slot"], part["name"], part["maker"]) == (slot, row["name"], row["maker"])
        assert part["price"] == round(100 * float(row["price"]))
        assert part["mass_kg"] == float(row["mass_kg"])
        assert part["in_stock"] is (row["on_hand"] != "0")


def test_extras_have_slots_of_their_own(client: Client) -> None:
    rows = sold_in_file("extras.csv")
    for slot in EXTRA_SLOTS:
        told = client.get("/api/parts", params={"slot": slot}).json()["parts"]
        assert [part["sku"] for part in told] == sorted(sku for sku, row in rows.items() if row["slot"] == slot)


def test_without_a_slot_all_parts_are_told(client: Client) -> None:
    told = client.get("/api/parts").json()
    assert set(told) == {"parts"}
    assert {part["sku"] for part in told["parts"]} == {sku for file in PART_FILES for sku in sold_in_file(file)}
    assert [part["slot"] for part in told["parts"]] == sorted(
        (part["slot"] for part in told["parts"]), key=(CORE_SLOTS + EXTRA_SLOTS).index
    )


def test_retired_parts_are_not_told(client: Client, shop: Shop, folder: FolderCopy) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != "DUN-72")
    with shop.writing() as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    skus = [part["sku"] for part in client.get("/api/parts?slot=board").json()["parts"]]
    assert "DUN-72" not in skus
    assert "DUN-82" in skus


@pytest.mark.parametrize("slot", ["", "boards", "Board", "board ", "%00", "%FF"])
def test_a_slot_that_is_none_is_refused_with_those_there_are(client: Client, slot: str) -> None:
    [fault] = faults_of(client.get(f"/api/parts?slot={slot}"), 422)
    assert fields_of([fault]) == ["slot"]
    assert all(word in fault["accepted"] for word in CORE_SLOTS + EXTRA_SLOTS)
