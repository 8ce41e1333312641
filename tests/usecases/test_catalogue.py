"""Bringing in a catalogue in place of the one that was there: as one step, told line by line, undone by any fault."""

from __future__ import annotations

from datetime import date

import pytest

from server.domain.prices import PricePoint
from server.domain.stock import Movement
from server.persistence.catalogue import newest_version
from server.persistence.folder import Folder, read_folder
from server.persistence.stock import load_on_hand
from server.persistence.tables import (
    CatalogueRow,
    LessonKindRow,
    PartRow,
    PolicyRow,
    PricePointRow,
    SpotRow,
    StockRow,
    ZoneRow,
)
from server.usecases.catalogue import Changes, preview, replace_catalogue
from server.usecases.fit import choose_kits
from server.usecases.work import Shop
from tests.builders_shop import Clock, FolderCopy, learner, number_of

TABLES = (PartRow, PricePointRow, SpotRow, LessonKindRow, ZoneRow, PolicyRow, CatalogueRow, StockRow)
NOTHING = Changes((), (), (), (), (), 0)


def read(shop: Shop, folder: FolderCopy) -> Folder:
    with shop.reading() as work:
        return read_folder(folder.path, work.catalogue, None)


def load(shop: Shop, folder: FolderCopy) -> Changes:
    """Bring a folder in, which must be without faults."""
    found = read(shop, folder)
    assert found.faults == []
    with shop.writing("owner") as work:
        return replace_catalogue(work, found)


def pieces(shop: Shop) -> dict[str, int]:
    with shop.reading() as work:
        return load_on_hand(work.session)


def rows_in(shop: Shop) -> list[int]:
    with shop.reading() as work:
        return [number_of(work.session, table) for table in TABLES]


def test_the_same_folder_again_changes_nothing_but_the_version(shop: Shop, folder: FolderCopy) -> None:
    before = rows_in(shop)
    changes = load(shop, folder)
    assert (changes.new, changes.changed, changes.retired, changes.counts, changes.others) == ((), (), (), (), ())
    assert changes.lines() == [f"0 new, 0 changed, 0 retired, {changes.unchanged} unchanged, 0 counts booked"]
    after = rows_in(shop)
    assert [now - then for now, then in zip(after, before, strict=True)] == [0, 0, 0, 0, 0, 0, 1, 0]
    with shop.reading() as work:
        assert changes.unchanged == len(work.catalogue.parts)
        assert newest_version(work.session) == 2


def test_a_part_that_is_absent_is_retired_and_not_offered_any_more(shop: Shop, folder: FolderCopy) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != "EEL-105")
    with shop.reading() as work:
        _, before = choose_kits(work, learner())
    assert before.recommended is not None
    assert "EEL-105" in before.recommended.skus
    assert load(shop, folder).retired == ("EEL-105",)
    with shop.reading() as work:
        _, after = choose_kits(work, learner())
        assert work.catalogue.parts["EEL-105"].retired
        assert work.catalogue.parts["EEL-105"].name
        assert not any(part.sku == "EEL-105" for part in work.catalogue.sold_in("board"))
    assert after.recommended is not None
    assert not any("EEL-105" in kit.skus for kit in after.frontier)
    assert load(shop, folder).retired == (), "a part is retired once"


def test_a_retired_part_comes_back_as_new_with_what_the_file_says_of_it(shop: Shop, folder: FolderCopy) -> None:
    row = folder.rows("boards.csv")[folder.row_of("boards.csv", "EEL-105") - 1]
    folder.keep("boards.csv", lambda row: row["sku"] != "EEL-105")
    load(shop, folder)
    row[4], row[6] = "1899.00", "5"
    folder.write("boards.csv", [*folder.rows("boards.csv"), row])
    changes = load(shop, folder)
    assert [line.split()[0] for line in changes.new] == ["EEL-105"]
    assert changes.counts == (Movement("EEL-105", "count", 4, "counted 5"),)
    with shop.reading() as work:
        part = work.catalogue.parts["EEL-105"]
        assert (part.retired, part.price) == (False, 1899_00)
        assert work.shelf.is_free(part)


def test_pieces_on_hand_are_booked_as_the_difference_that_a_count_finds(
    shop: Shop, folder: FolderCopy, clock: Clock
) -> None:
    before = pieces(shop)
    folder.set("boards.csv", folder.row_of("boards.csv", "DUN-82"), "on_hand", "7")
    folder.set("boards.csv", folder.row_of("boards.csv", "DUN-92"), "on_hand", "0")
    clock.forward(hours=1)
    changes = load(shop, folder)
    assert {entry.sku: entry.change for entry in changes.counts} == {"DUN-82": 4, "DUN-92": -1}
    assert pieces(shop) == before | {"DUN-82": 7, "DUN-92": 0}
    with shop.reading() as work:
        newest = work.session.get_one(StockRow, number_of(work.session, StockRow))
        assert (newest.kind, newest.by, newest.at) == ("count", "owner", clock.now)
    assert load(shop, folder).counts == ()


def test_a_price_the_history_does_not_know_begins_on_the_day_it_is_brought_in(
    shop: Shop, folder: FolderCopy, clock: Clock
) -> None:
    clock.set("2026-12-02T23:30+00:00")
    folder.set("boards.csv", folder.row_of("boards.csv", "DUN-112"), "price", "2999.00")
    changes = load(shop, folder)
    assert changes.changed == ("DUN-112: price 2589.00 -> 2999.00",)
    with shop.reading() as work:
        assert list(work.catalogue.history["DUN-112"]) == [
            PricePoint("DUN-112", date(2026, 3, 1), 2529_00),
            PricePoint("DUN-112", date(2026, 6, 15), 2589_00),
            PricePoint("DUN-112", date(2026, 12, 2), 2999_00),
        ]


def test_changes_are_told_field_by_field(shop: Shop, folder: FolderCopy) -> None:
    row = folder.row_of("boards.csv", "DUN-140")
    folder.set("boards.csv", row, "markdown_price", "")
    folder.set("boards.csv", row, "markdown_from", "")
    folder.set("boards.csv", row, "volume_l", "141")
    folder.set("masts.csv", 2, "sold", "no")
    folder.keep("spots.csv", lambda spot: spot["water"] == "sea")
    folder.swap("policy.toml", "price_good_days = 14", "price_good_days = 10")
    lines = load(shop, folder).lines()
    assert (
        "changed  DUN-140: markdown_price 2029.00 -> none, markdown_from 2026-10-01 -> none, volume_l 140.0 -> 141.0"
        in lines
    )
    assert "changed  TUR-M72T: sold yes -> no" in lines
    assert any(line.startswith("changed  spots: gone ") for line in lines)
    assert "changed  policy: quotes.price_good_days 14 -> 10" in lines


def test_a_change_of_policy_is_in_force_at_once_under_its_own_version(shop: Shop, folder: FolderCopy) -> None:
    with shop.reading() as work:
        assert (work.catalogue.policy.version, work.catalogue.policy.price_good_days) == (1, 14)
    folder.swap("policy.toml", "price_good_days = 14", "price_good_days = 10")
    load(shop, folder)
    with shop.reading() as work:
        assert (work.catalogue.policy.version, work.catalogue.policy.price_good_days) == (2, 10)


def test_another_shop_over_the_same_database_sees_the_new_catalogue(shop: Shop, folder: FolderCopy) -> None:
    other = Shop(shop.sessions, shop.clock)
    with other.reading() as work:
        assert work.catalogue.version == 1
    folder.set("boards.csv", 2, "price", "1.00")
    load(shop, folder)
    with other.reading() as work:
        assert work.catalogue.version == 2
        assert work.catalogue.parts["DUN-72"].price == 100


def test_a_preview_tells_the_same_and_changes_nothing(shop: Shop, folder: FolderCopy) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != "EEL-105")
    folder.set("masts.csv", 2, "price", "1.00")
    folder.set("tails.csv", 2, "on_hand", "9")
    folder.swap("policy.toml", "price_good_days = 14", "price_good_days = 10")
    before = rows_in(shop)
    with shop.reading() as work:
        told = preview(work, read_folder(folder.path, work.catalogue, None))
    assert rows_in(shop) == before
    assert told.retired == ("EEL-105",)
    assert told == load(shop, folder)


def test_a_folder_with_a_fault_is_refused_whole(shop: Shop, folder: FolderCopy) -> None:
    folder.set("boards.csv", 2, "price", "1.00")
    folder.set("tails.csv", 2, "price", "nothing")
    before = rows_in(shop), pieces(shop)
    found = read(shop, folder)
    assert len(found.faults) == 1
    with shop.writing() as work, pytest.raises(ValueError, match="changes nothing"):
        replace_catalogue(work, found)
    assert (rows_in(shop), pieces(shop)) == before
    with shop.reading() as work:
        assert work.catalogue.parts["DUN-72"].price == 2449_00


def test_a_fall_on_the_last_step_undoes_all_of_it(shop: Shop, folder: FolderCopy) -> None:
    folder.set("boards.csv", 2, "price", "1.00")
    folder.set("tails.csv", 2, "on_hand", "9")
    found = read(shop, folder)
    found.terms = {
        "shop": {"name": object()}
    }  # No term of a policy: keeping it fails after everything else was put in.
    before = rows_in(shop), pieces(shop)
    with pytest.raises(TypeError), shop.writing() as work:
        replace_catalogue(work, found)
    assert (rows_in(shop), pieces(shop)) == before
    with shop.reading() as work:
        assert work.catalogue.parts["DUN-72"].price == 2449_00


def test_places_and_prices_of_the_past_are_told_row_by_row(shop: Shop, folder: FolderCopy) -> None:
    kind, zone = folder.get("lessons.csv", 2, "kind"), folder.get("delivery.csv", 2, "zone")
    fee, charge = folder.get("lessons.csv", 2, "fee"), folder.get("delivery.csv", 2, "fee")
    folder.set("lessons.csv", 2, "fee", "1.00")
    folder.set("delivery.csv", 2, "fee", "2.00")
    sku, day = folder.get("price_history.csv", 2, "sku"), folder.get("price_history.csv", 2, "from")
    was = folder.get("price_history.csv", 2, "price")
    folder.set("price_history.csv", 2, "price", "3.00")
    lines = load(shop, folder).lines()
    assert f"changed  lessons: {kind}: fee {int(float(fee) * 100)} -> 100" in lines
    assert f"changed  delivery: {zone}: fee {int(float(charge) * 100)} -> 200" in lines
    assert f"changed  price history: {sku} from {day} {was} -> 3.00" in lines


def test_a_sku_stays_the_kind_of_thing_it_is(shop: Shop, folder: FolderCopy) -> None:
    board, mast = folder.get("boards.csv", 2, "sku"), folder.get("masts.csv", 2, "sku")
    folder.set("boards.csv", 2, "sku", "NEW-BOARD")
    folder.set("masts.csv", 2, "sku", board)
    found = read(shop, folder)
    assert mast != board
    assert [(fault.file, fault.column) for fault in found.faults] == [("masts.csv", "sku")]
    assert f"{board} is a board already." in str(found.faults[0])
