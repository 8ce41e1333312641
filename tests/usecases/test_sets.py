"""Sets as steps of the catalogue, and sold, delivered and taken back as their parts in one act."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

import pytest

from server.domain.catalogue import PartSet
from server.domain.counter import Sold
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.persistence.folder import read_folder
from server.persistence.policies import terms_in_force
from server.persistence.stock import load_on_hand
from server.usecases.catalogue import catalogue_files, preview, replace_catalogue
from server.usecases.counter import item_at_counter, sales_on, sell_at_counter, take_sale_back
from server.usecases.expected import expect_item
from server.usecases.opening import SEED
from server.usecases.sets import book_item, digest_of, list_sets, put_set, read_set, retire_set
from server.usecases.steps import list_steps, undo_step
from server.usecases.work import Shop, Work, new_token
from tests.builders_shop import FolderCopy

FOIL_SET, FOIL_GTIN = "TUR-KELP", "2180041000745"
PARTS = ("TUR-M85T", "TUR-F70", "TUR-1720", "TUR-T320")
MADE = PartSet("PAIR", "A pair of leashes", "Wrackline Outfitters", "2190041000379", 70_00, ("WRK-BLM", "WRK-WLM"))


def on_hand(shop: Shop) -> Mapping[str, int]:
    with shop.reading() as work:
        return load_on_hand(work.session)


def files(shop: Shop) -> dict[str, bytes]:
    with shop.reading() as work:
        return catalogue_files(work)


def sold(shop: Shop, pieces: int = 1, key: str = "", sku: str = FOIL_SET) -> Sold:
    with shop.writing("Maeve") as work:
        return sell_at_counter(work, sku, pieces, key or new_token())


def test_a_set_is_sold_as_its_parts_once_and_taken_back_together(shop: Shop) -> None:
    before, key = on_hand(shop), new_token()
    with shop.reading() as work:
        item = item_at_counter(work, FOIL_GTIN)
    assert (item.item.sku, item.price, item.stand.free) == (FOIL_SET, 3749_00, 3)
    act = sold(shop, 2, key)
    assert sold(shop, 2, key) == act
    with pytest.raises(Conflict, match="sold 2 × TUR-KELP already"):
        sold(shop, 1, key)
    assert (act.sku, act.pieces, act.amount) == (FOIL_SET, 2, 2 * 3749_00)
    assert [(sale.sku, sale.pieces, sale.of_set) for sale in act.sales] == [(sku, 2, FOIL_SET) for sku in PARTS]
    after = on_hand(shop)
    assert {sku: before[sku] - after[sku] for sku in before if before[sku] != after[sku]} == dict.fromkeys(PARTS, 2)
    with pytest.raises(Conflict, match="TUR-M85T: Only 1 on hand"):
        sold(shop, 2)
    with shop.reading() as work:
        assert sales_on(work, work.today) == (act,)
    for sale in act.sales[::-1]:  # By whichever of its parts, and again.
        with shop.writing("Orla") as work:
            assert take_sale_back(work, sale.id).amount == 0
    assert on_hand(shop) == before


def test_deliveries_and_damage_of_a_set_are_of_its_parts_and_it_is_not_counted(shop: Shop) -> None:
    before = on_hand(shop)
    with shop.writing() as work:
        booked = book_item(work, FOIL_SET, "delivery", 2, "spring")
    assert {(entry.sku, entry.change, entry.why) for entry in booked} == {
        (sku, 2, "spring (in TUR-KELP)") for sku in PARTS
    }
    with pytest.raises(InvalidInput, match="count its parts"), shop.writing() as work:
        book_item(work, FOIL_SET, "count", 2, "")
    with pytest.raises(InvalidInput, match="The parts of 5 are on hand"), shop.writing() as work:
        book_item(work, FOIL_SET, "damage", 6, "dropped")
    with shop.writing() as work:
        book_item(work, FOIL_SET, "damage", 2, "dropped")
    assert on_hand(shop) == before
    key = new_token()
    for _ in range(2):
        with shop.writing() as work:
            due = expect_item(work, FOIL_SET, 3, date(2026, 12, 12), "", key)
    assert [(one.sku, one.to_come) for one in due] == [(sku, 3) for sku in PARTS]


def test_a_set_is_added_changed_retired_and_each_is_undone(shop: Shop) -> None:
    first = files(shop)
    states = [first]
    changes: tuple[Callable[[Work], int], ...] = (
        lambda work: put_set(work, MADE),
        lambda work: put_set(work, replace(MADE, price=69_00), digest_of(MADE)),
        lambda work: retire_set(work, FOIL_SET),
    )
    for change in changes:
        with shop.writing("Orla") as work:
            change(work)
        states.append(files(shop))
    assert len({state["sets.csv"] for state in states}) == 4
    with shop.reading() as work:
        assert FOIL_SET not in [one.one.sku for one in list_sets(work)]
        with pytest.raises(NotFound):
            read_set(work, FOIL_SET)
        steps = list_steps(work)
    assert [step.about for step in steps] == [
        "set Kelpline foil set 1720 retired",
        "set A pair of leashes changed",
        "set A pair of leashes added",
    ]
    for step, before in zip(steps, states[-2::-1], strict=True):
        with shop.writing("Orla") as work:
            undo_step(work, step.version)
        assert files(shop) == before


def test_what_is_wrong_with_a_set_is_said_and_changes_nothing(shop: Shop) -> None:
    cases = [
        (replace(MADE, sku="TUR-F70"), "", InvalidInput, "used already"),
        (replace(MADE, sku=FOIL_SET), "", InvalidInput, "is a set already"),
        (replace(MADE, parts=("TUR-F70", "PLV-1400")), "", InvalidInput, "do not hold together"),
        (replace(MADE, sku=FOIL_SET), "0000000000000000", Conflict, "meanwhile"),
    ]
    before = files(shop)
    for made, shown, error, words in cases:
        with pytest.raises(error, match=words), shop.writing("Orla") as work:
            put_set(work, made, shown)
    assert files(shop) == before


def test_loading_tells_and_undoes_what_becomes_of_sets(shop: Shop, folder: FolderCopy) -> None:
    before = files(shop)
    folder.set("sets.csv", 2, "price", "1899.00")
    folder.keep("sets.csv", lambda row: row["sku"] != "WRK-FIRST")
    with shop.writing("Orla") as work:
        found = read_folder(folder.path, work.catalogue, terms_in_force(work.session, work.now))
        lines = preview(work, found).others
        assert lines == ("sets: GSK-EBB: price 1939.00 -> 1899.00", "sets: gone WRK-FIRST")
        replace_catalogue(work, found)
    assert files(shop) != before
    with shop.writing("Orla") as work:
        undo_step(work, list_steps(work)[0].version)
    assert files(shop) == before
    with shop.reading() as work:
        again = read_folder(SEED, work.catalogue, terms_in_force(work.session, work.now))
        assert preview(work, again).others == ()
