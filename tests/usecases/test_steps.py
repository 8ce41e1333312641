"""Steps of the catalogue: what one changes, and what undoing it brings back."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from server.domain.catalogue import Zone
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.prices import Markdown, PricePoint
from server.domain.reductions import judge_markdown
from server.domain.stock import Movement
from server.persistence.folder import read_folder
from server.persistence.stock import save_movements
from server.usecases.catalogue import catalogue_files, catalogue_workbook, replace_catalogue
from server.usecases.counter import sell_at_counter
from server.usecases.places import put_place
from server.usecases.policies import change_policy, terms_of
from server.usecases.steps import change_parts, list_steps, undo_step
from server.usecases.work import Shop
from tests.builders_lessons import lesson
from tests.builders_sales import new_key
from tests.builders_shop import Clock, FolderCopy

SKU = "DUN-112"


def priced(shop: Shop, price: int, markdown: Markdown | None = None) -> int:
    with shop.writing("Orla") as work:
        part = replace(work.catalogue.parts[SKU], price=price, markdown=markdown)
        return change_parts(work, [part], kind="edit", about=f"{SKU}: price")


def imported(shop: Shop, folder: FolderCopy) -> int:
    """The folder brought in by the owner; the version this makes."""
    with shop.reading() as work:
        found = read_folder(folder.path, work.catalogue, None)
    assert found.faults == []
    with shop.writing("Orla") as work:
        replace_catalogue(work, found, "import", "a folder", books_counts=False)
    with shop.reading() as work:
        return work.catalogue.version


def undone(shop: Shop, version: int) -> int:
    with shop.writing("Orla") as work:
        return undo_step(work, version)


def exported(shop: Shop) -> tuple[dict[str, bytes], bytes]:
    with shop.reading() as work:
        return catalogue_files(work), catalogue_workbook(work)


def prices(shop: Shop) -> list[tuple[date, int]]:
    with shop.reading() as work:
        return [(point.since, point.price) for point in work.catalogue.history[SKU]]


def with_many_changes(folder: FolderCopy) -> FolderCopy:
    """A price list with something new, something gone, other prices, a markdown, other places and another policy."""
    rows = folder.rows("boards.csv")
    newest = [*rows[-1]]
    newest[0], newest[3] = "NEW-1", "2140041999999"
    folder.write("boards.csv", [*rows, newest])
    folder.keep("boards.csv", lambda row: row["sku"] != "EEL-105")
    folder.set("boards.csv", folder.row_of("boards.csv", SKU), "price", "2999.00")
    folder.set("tails.csv", 2, "markdown_price", "1.00")
    folder.set("tails.csv", 2, "markdown_from", "2026-11-25")
    folder.set("masts.csv", 2, "name", "Another name")
    folder.set("masts.csv", 3, "on_hand", "40")
    folder.keep("delivery.csv", lambda zone: zone["zone"] == "Ireland")
    folder.swap("policy.toml", "percent = 22", "percent = 20")
    return folder


def test_undoing_brings_back_byte_for_byte_what_the_export_gave(shop: Shop, folder: FolderCopy) -> None:
    before = exported(shop)
    version = imported(shop, with_many_changes(folder))
    assert exported(shop) != before
    undone(shop, version)
    assert exported(shop) == before
    with shop.reading() as work:
        assert work.catalogue.parts["NEW-1"].retired, "quotes may name it"
        assert [(step.kind, step.undoes, step.undone_by) for step in list_steps(work)] == [
            ("undo", version, ""),
            ("import", None, "Orla"),
        ]


def test_stock_and_holds_stay_as_they_are_when_a_step_is_undone(shop: Shop) -> None:
    version = priced(shop, 1_00)
    with shop.writing("Maeve") as work:
        save_movements(work.session, [Movement(SKU, "delivery", 7)], work.now, "Maeve")
        work.commit()
        free = work.shelf.free[SKU]
    undone(shop, version)
    with shop.reading() as work:
        assert work.shelf.free[SKU] == free


def test_steps_are_undone_newest_first_and_each_once(shop: Shop) -> None:
    before = exported(shop)
    first, second = priced(shop, 1_00), priced(shop, 2_00)
    with pytest.raises(Conflict, match="newest first"):
        undone(shop, first)
    undone(shop, second)
    with pytest.raises(Conflict, match="newest first"):
        undone(shop, second)
    undone(shop, first)
    assert exported(shop) == before
    with pytest.raises(NotFound):
        undone(shop, 1)


def test_a_price_of_whole_days_stays_in_the_history_when_it_is_undone(shop: Shop, clock: Clock) -> None:
    before = prices(shop)
    today = clock.now.date()
    version = priced(shop, 1_00)
    assert prices(shop) == [*before, (today, 1_00)]
    clock.forward(days=3)
    undone(shop, version)
    assert prices(shop) == [*before, (today, 1_00), (clock.now.date(), before[-1][1])]


def test_a_markdown_that_ended_stays_in_the_history_and_decides_what_the_next_may_be_called(
    shop: Shop, clock: Clock
) -> None:
    with shop.reading() as work:
        was = work.catalogue.parts[SKU].price
    priced(shop, was, Markdown(was - 500_00, clock.now.date()))
    clock.forward(days=5)
    priced(shop, was)
    clock.forward(days=5)
    priced(shop, was, Markdown(was - 400_00, clock.now.date()))
    with shop.reading() as work:
        assert work.catalogue.reduction_of(work.catalogue.parts[SKU], work.today) is None
    priced(shop, was, Markdown(was - 600_00, clock.now.date()))
    with shop.reading() as work:
        reduction = work.catalogue.reduction_of(work.catalogue.parts[SKU], work.today)
    assert reduction is not None
    assert reduction.prior == was - 500_00


def test_what_was_announced_and_taken_back_was_never_a_price(shop: Shop, clock: Clock) -> None:
    before, (_, price) = prices(shop), prices(shop)[-1]
    priced(shop, price, Markdown(1_00, date(2026, 12, 24)))
    assert prices(shop)[-1] == (date(2026, 12, 24), 1_00)
    priced(shop, price)
    assert prices(shop) == before


def test_a_part_that_somebody_else_changed_meanwhile_is_left_alone(shop: Shop) -> None:
    with shop.reading() as work:
        shown = work.catalogue.parts[SKU]
    priced(shop, 1_00)
    with shop.writing("Orla") as work, pytest.raises(Conflict, match=f"{SKU}: Somebody else"):
        change_parts(work, [replace(shown, price=2_00)], kind="edit", about="price", shown={SKU: shown})
    with shop.reading() as work:
        assert work.catalogue.parts[SKU].price == 1_00


def test_a_change_that_changes_nothing_is_no_step(shop: Shop) -> None:
    with shop.reading() as work:
        part, version = work.catalogue.parts[SKU], work.catalogue.version
    with shop.writing("Orla") as work:
        assert change_parts(work, [part], kind="edit", about="nothing") == version
    with shop.reading() as work:
        assert list_steps(work) == []
        assert PricePoint(SKU, work.today, part.price) not in work.catalogue.history[SKU]


def sold_today(shop: Shop) -> None:
    """One piece sold over the counter at today's price."""
    with shop.writing("Maeve") as work:
        sell_at_counter(work, SKU, 1, new_key())


@pytest.mark.parametrize("goes_back", ["undone", "edited back"])
def test_a_price_at_which_somebody_bought_stays_the_price_of_its_day(shop: Shop, clock: Clock, goes_back: str) -> None:
    before, today = prices(shop), clock.now.date()
    was = before[-1][1]
    version = priced(shop, 500_00)
    sold_today(shop)
    if goes_back == "undone":
        undone(shop, version)
    else:
        priced(shop, was)
    assert prices(shop) == [*before, (today, 500_00), (today + timedelta(days=1), was)]
    with shop.reading() as work:
        assert work.catalogue.parts[SKU].price == was
    clock.forward(days=1)
    priced(shop, was, Markdown(was - 100_00, clock.now.date()))
    with shop.reading() as work:
        assert work.catalogue.reduction_of(work.catalogue.parts[SKU], work.today) is None
        verdict = judge_markdown(None, work.catalogue.parts[SKU], work.catalogue.history[SKU], work.today)
    assert verdict is not None
    assert verdict.decides == PricePoint(SKU, today, 500_00)


@pytest.mark.parametrize("is_retired", [True, False])
def test_a_price_set_while_a_part_is_not_on_sale_decides_nothing(shop: Shop, clock: Clock, is_retired: bool) -> None:
    with shop.reading() as work:
        part = work.catalogue.parts[SKU]
    with shop.writing("Orla") as work:
        change_parts(
            work, [replace(part, price=5000_00, sold=is_retired, retired=is_retired)], kind="edit", about="off sale"
        )
    clock.forward(days=31)
    marked = Markdown(2000_00, clock.now.date())
    with shop.writing("Orla") as work:
        change_parts(work, [replace(part, price=5000_00, markdown=marked)], kind="edit", about="on sale")
    with shop.reading() as work:
        assert work.catalogue.reduction_of(work.catalogue.parts[SKU], work.today) is None
        exported_once = catalogue_files(work)["price_history.csv"]
    assert b",no\n" in exported_once


def test_undoing_the_end_of_an_announced_markdown_begins_it_when_it_is_undone(shop: Shop, clock: Clock) -> None:
    before, today = prices(shop), clock.now.date()
    was = before[-1][1]
    priced(shop, was, Markdown(2000_00, today + timedelta(days=5)))
    taken_off = priced(shop, was)
    clock.forward(days=7)
    undone(shop, taken_off)
    assert prices(shop) == [*before, (clock.now.date(), 2000_00)]


def test_what_a_policy_to_come_names_stays_when_a_step_is_undone(shop: Shop) -> None:
    with shop.writing("Orla") as work:
        added = put_place(work, "zone", Zone("Home2", 0, 0, "2"))
    with shop.writing("Orla") as work:
        terms = terms_of(work, 1)
        terms["shop"]["home_zone"] = "Home2"
        change_policy(work, terms, work.today + timedelta(days=2), "moving", 1)
    with pytest.raises(Conflict, match="Version 2 of the policy names it as the home zone"):
        undone(shop, added)


def test_a_folder_without_a_lesson_that_has_times_is_refused(shop: Shop, folder: FolderCopy) -> None:
    lesson(shop, kind="group")
    folder.keep("lessons.csv", lambda kind: kind["kind"] != "group")
    with shop.reading() as work:
        found = read_folder(folder.path, work.catalogue, None)
    with shop.writing("Orla") as work, pytest.raises(InvalidInput, match="lesson time is of this kind"):
        replace_catalogue(work, found)
