"""Changing parts by hand: what a form was shown with, what the ledger keeps, and what may be called reduced over a season."""

from __future__ import annotations

from decimal import Decimal

import pytest

from server.domain.bulk_changes import BulkChange
from server.domain.catalogue import Part
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.prices import PricePoint
from server.outside.photos import clean_photo
from server.persistence.stock import load_on_hand
from server.usecases.bulk_changes import StockChange, apply_change, apply_stock, work_out, work_out_stock
from server.usecases.catalogue_edits import (
    MOST_PHOTOS,
    about_part,
    add_part,
    book_stock,
    bring_back_part,
    change_part,
    change_photos,
    digest_of,
    make_it_the_price,
    part_of,
    retire_part,
    typed_of,
    where_it_stands,
)
from server.usecases.photos import photos_of
from server.usecases.steps import list_steps, undo_step
from server.usecases.work import Shop
from tests.builders_photos import phone_photo
from tests.builders_shop import Clock

SKU = "DUN-72"
FREE_GTIN = "6291041500213"


def now(shop: Shop, sku: str = SKU) -> Part:
    with shop.reading() as work:
        return part_of(work, sku)


def changed(shop: Shop, sku: str = SKU, **cells: str) -> Part:
    with shop.writing("Orla") as work:
        return change_part(work, sku, cells, digest_of(part_of(work, sku)))[0]


def refused(shop: Shop, sku: str = SKU, **cells: str) -> tuple[Fault, ...]:
    with pytest.raises(InvalidInput) as error:
        changed(shop, sku, **cells)
    return error.value.faults


def called(shop: Shop, sku: str = SKU) -> int | None:
    """The price that a part's reduction is told against today; None where it is not called reduced."""
    with shop.reading() as work:
        reduction = work.catalogue.reduction_of(work.catalogue.parts[sku], work.today)
    return None if reduction is None else reduction.prior


def test_fields_are_read_as_a_file_is_and_what_is_left_out_stays(shop: Shop) -> None:
    before = now(shop)
    after = changed(shop, price="1499,50", volume_l="74")
    assert (after.price, after.gear.number("volume_l")) == (1_499_50, 74)
    assert (after.name, after.cost, after.gear.text("track")) == (before.name, before.cost, before.gear.text("track"))
    assert now(shop) == after
    with shop.reading() as work:
        newest = list_steps(work)[0]
    assert (newest.kind, newest.by) == ("edit", "Orla")
    assert newest.about == f"{before.name}: price €{before.price / 100:,.2f} → €1,499.50, volume 72 → 74"
    with shop.writing("Orla") as work:
        undo_step(work, newest.version)
    assert now(shop) == before


def test_every_fault_is_told_at_its_field_and_nothing_is_changed(shop: Shop) -> None:
    before, other = now(shop), now(shop, "DUN-140")
    faults = refused(shop, name="", price="cheap", mass_kg="800", gtin="123", sold="perhaps")
    assert {fault.field for fault in faults} == {"name", "price", "mass_kg", "gtin", "sold"}
    assert [fault.field for fault in refused(shop, gtin=other.gtin)] == ["gtin"]
    assert [fault.field for fault in refused(shop, markdown_price=str(before.price))] == ["markdown_price"]
    assert now(shop) == before


def test_what_somebody_else_changed_meanwhile_is_not_overwritten(shop: Shop) -> None:
    shown = digest_of(now(shop))
    changed(shop, name="Renamed 72")
    with shop.writing("Orla") as work, pytest.raises(Conflict):
        change_part(work, SKU, {"price": "1.00"}, shown)
    with shop.writing("Orla") as work, pytest.raises(NotFound):
        change_part(work, "NO-SUCH", {}, shown)
    assert now(shop).name == "Renamed 72"


def test_a_new_part_begins_its_history_and_an_empty_shelf(shop: Shop) -> None:
    cells = {**typed_of(now(shop)), "sku": "NEW/72?&é", "gtin": FREE_GTIN}
    with shop.writing("Orla") as work:
        part = add_part(work, "board", cells)
    with shop.reading() as work:
        assert work.catalogue.history[part.sku] == (PricePoint(part.sku, work.today, part.price),)
        assert part.sku not in load_on_hand(work.session)
    with shop.writing("Orla") as work, pytest.raises(InvalidInput) as error:
        add_part(work, "board", {**cells, "name": ""})
    assert {fault.field for fault in error.value.faults} == {"sku", "name"}


def test_a_retired_part_comes_back_unless_its_gtin_is_anothers_by_then(shop: Shop) -> None:
    with shop.writing("Orla") as work:
        retire_part(work, SKU, digest_of(part_of(work, SKU)))
    assert now(shop).retired
    with shop.writing("Orla") as work:
        add_part(work, "board", {**typed_of(now(shop)), "sku": "NEW-72"})
    with shop.writing("Orla") as work, pytest.raises(InvalidInput):
        bring_back_part(work, SKU, digest_of(part_of(work, SKU)))
    changed(shop, "NEW-72", gtin=FREE_GTIN)
    with shop.writing("Orla") as work:
        assert not bring_back_part(work, SKU, digest_of(part_of(work, SKU))).retired


def test_marked_down_ended_and_marked_down_again_within_thirty_days_is_not_called_reduced(
    shop: Shop, clock: Clock
) -> None:
    price = now(shop).price
    clock.forward(days=40)  # Its price is known for more than thirty days.
    first = changed(shop, markdown_price="1000.00").markdown
    assert first is not None
    assert first.since is not None
    assert called(shop) == price, "a markdown without a day begins today"
    clock.forward(days=5)
    changed(shop, markdown_price="950.00", markdown_from=first.since.isoformat())
    assert called(shop) == price, "one that grows is told against the price before its first day"
    clock.forward(days=5)
    (fault,) = refused(shop, markdown_price="990.00")
    assert fault.field == "markdown_from", "a smaller one does not keep its day"
    changed(shop, markdown_price="")
    clock.forward(days=20)
    assert changed(shop, markdown_price="960.00").markdown is not None
    assert called(shop) is None, "950 was charged within the thirty days before"
    changed(shop, markdown_price="940.00")
    assert called(shop) == 950_00
    changed(shop, markdown_price="")
    clock.forward(days=40)
    changed(shop, markdown_price="960.00")
    assert called(shop) == price


def test_a_markdown_set_into_the_past_is_refused_with_the_price_that_was_charged(shop: Shop, clock: Clock) -> None:
    clock.forward(days=40)
    (fault,) = refused(shop, markdown_price="1000.00", markdown_from="2026-12-24")
    assert fault.field == "markdown_from"
    assert fault.message.startswith("Until yesterday it cost €")
    assert fault.accepted == "2027-01-04 or a later day"


def test_the_markdown_is_made_the_plain_price(shop: Shop) -> None:
    changed(shop, markdown_price="1000.00")
    with shop.writing("Orla") as work:
        part = make_it_the_price(work, SKU, digest_of(part_of(work, SKU)))
    assert (part.price, part.markdown) == (1_000_00, None)


def test_stock_is_booked_once_by_one_form_and_not_over_what_others_booked(shop: Shop) -> None:
    with shop.reading() as work:
        before, shown = load_on_hand(work.session)[SKU], where_it_stands(work, SKU).newest
    for _ in range(2):
        with shop.writing("Orla") as work:
            book_stock(work, SKU, "delivery", 2, "spring", shown)
    with shop.writing("Maeve") as work, pytest.raises(Conflict):
        book_stock(work, SKU, "damage", 1, "dropped", shown)
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput):
        book_stock(work, SKU, "damage", 1, "a bell\x07", shown)
    with shop.reading() as work:
        stands = where_it_stands(work, SKU)
        assert load_on_hand(work.session)[SKU] == before + 2
    assert [(one.movement.kind, one.by, one.movement.why) for one in stands.booked[:1]] == [
        ("delivery", "Orla", "spring")
    ]
    for _ in range(2):
        with shop.writing("Orla") as work:
            book_stock(work, SKU, "count", 1, "counted", stands.newest)
    with shop.reading() as work:
        assert load_on_hand(work.session)[SKU] == 1


def test_many_prices_are_changed_as_one_step_or_not_at_all(shop: Shop) -> None:
    change, skus = BulkChange("price", percent=Decimal(10), ending="90"), ("DUN-72", "DUN-112")
    before = [now(shop, sku).price for sku in skus]
    with shop.reading() as work:
        _, shown = work_out(work, change, skus)
    changed(shop, "DUN-112", cost="700.00")
    with shop.writing("Orla") as work, pytest.raises(Conflict):
        apply_change(work, change, skus, shown)
    assert [now(shop, sku).price for sku in skus] == before
    with shop.reading() as work:
        _, shown = work_out(work, change, skus)
    for _ in range(2):
        with shop.writing("Orla") as work:
            apply_change(work, change, skus, shown)
    after = [now(shop, sku).price for sku in skus]
    assert all(price % 100 == 90 and abs(price - 1.1 * was) <= 50 for price, was in zip(after, before, strict=True))
    with shop.reading() as work:
        steps = [step for step in list_steps(work) if step.kind == "bulk"]
    assert len(steps) == 1, "the same form sent twice is done once"
    with shop.writing("Orla") as work:
        undo_step(work, steps[0].version)
    assert [now(shop, sku).price for sku in skus] == before


def test_stock_of_many_parts_is_booked_once_and_where_there_is_enough(shop: Shop) -> None:
    with shop.reading() as work:
        on_hand = load_on_hand(work.session)
    change, skus = StockChange("damage", 1, "storm"), ("DUN-72", "DUN-112")
    with shop.reading() as work:
        rows, shown = work_out_stock(work, change, skus)
    left = [max(0, on_hand[sku] - 1) for sku in skus]
    assert [max(0, row.after) for row in rows] == left
    for _ in range(2):
        with shop.writing("Orla") as work:
            apply_stock(work, change, skus, shown)
    with shop.reading() as work:
        assert [load_on_hand(work.session)[sku] for sku in skus] == left


def test_at_most_four_photographs_are_kept_of_a_part(shop: Shop) -> None:
    photo = clean_photo(phone_photo((40, 30)))
    with shop.writing("Orla") as work:
        change_photos(work, SKU, [photo] * MOST_PHOTOS, [])
    with shop.writing("Orla") as work, pytest.raises(InvalidInput):
        change_photos(work, SKU, [photo], [])
    with shop.writing("Orla") as work:
        kept = photos_of(work, about_part(SKU))
        change_photos(work, SKU, [photo], [kept[0].token, kept[1].token])
        assert len(photos_of(work, about_part(SKU))) == MOST_PHOTOS - 1
