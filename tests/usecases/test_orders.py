"""The order list worked out from the database, and changed by the owner."""

from __future__ import annotations

import pytest

from server.domain.errors import InvalidInput
from server.domain.order_list import OrderLine
from server.persistence.accounts import newest_deeds
from server.persistence.tables import OrderRow
from server.usecases.counter import sell_at_counter
from server.usecases.numbers import read_asked, read_numbers
from server.usecases.orders import OrderList, Typed, change_orders, read_orders, read_orders_asked
from server.usecases.work import Shop
from tests.builders_numbers import traded
from tests.builders_pieces import delivery
from tests.builders_sales import new_key
from tests.builders_shop import number_of

KEY, WING = "board:105", "hand_wing:4.5"
COUNTED = {"from": "2026-05-27", "to": "2026-11-25"}


def listed(shop: Shop, **typed: str) -> OrderList:
    with shop.reading("Orla") as work:
        return read_orders(work, read_orders_asked(work, typed))


def line_of(shop: Shop, key: str = KEY, **typed: str) -> OrderLine:
    [line] = [one for one in listed(shop, **typed).lines if one.wanted.key == key]
    return line


def changed(shop: Shop, pieces: str, sku: str = "", key: str = KEY) -> int:
    """The owner types pieces or another part into a line as it is shown."""
    line = line_of(shop, key)
    with shop.writing("Orla") as work:
        asked = read_orders_asked(work, {})
        typed = Typed(key, pieces, sku or line.part.sku, str(line.pieces), line.part.sku)
        return change_orders(work, asked, [typed])


def test_demand_is_every_kept_quotes_ideal_size_and_what_was_missed_is_among_it(shop: Shop) -> None:
    traded(shop)
    found = listed(shop)
    boards = [line.wanted for line in found.lines if line.wanted.slot == "board"]
    nowhere = [one for one in found.nowhere if one.slot == "board"]
    assert sum(one.asked for one in (*boards, *nowhere)) == 6
    assert sum(one.unmet for one in (*boards, *nowhere)) == 2
    assert (found.base.kept, found.base.decided, found.base.bought) == (6, 2, 1)
    assert found.terms.share.mean == pytest.approx(2 / 4)
    # Every kit that was quoted came with a pump; what an extra is asked for is what was quoted.
    assert sum(line.wanted.asked for line in found.lines if line.wanted.slot == "pump") == 6


def test_masts_are_counted_by_what_the_quoted_kit_joins(shop: Shop) -> None:
    traded(shop)
    asked = [line.wanted for line in listed(shop).lines if line.wanted.slot == "mast" and line.wanted.asked]
    with shop.reading() as work:
        quotes = read_numbers(work, read_asked({}, work.today, work.catalogue)).quotes
        offered = [work.catalogue.parts[line.sku] for quote in quotes for line in quote.lines if line.slot == "mast"]
    joins = {(part.gear.text("track"), part.gear.text("mount")) for part in offered}
    assert {one.joins for one in asked} == joins
    assert all({(p.gear.text("track"), p.gear.text("mount")) for p in one.parts} == {one.joins} for one in asked)


def test_a_share_set_by_hand_is_certain_and_a_longer_season_wants_more(shop: Shop) -> None:
    traded(shop)
    half = line_of(shop, share="50")
    assert half.demand.deviation < line_of(shop).demand.deviation
    assert line_of(shop, share="100").demand.mean == pytest.approx(2 * half.demand.mean)
    counted = {"share": "50", **COUNTED}  # 183 days.
    longer = line_of(shop, season_from="2027-04-01", season_to="2028-03-31", **counted)
    assert longer.demand.mean == pytest.approx(line_of(shop, **counted).demand.mean * 366 / 183)


def test_what_is_due_and_what_was_sold_over_the_counter_count(shop: Shop) -> None:
    traded(shop)
    before = line_of(shop, WING)
    delivery(shop, sku="PHL-45", pieces=3)
    with shop.writing("Maeve") as work:
        sell_at_counter(work, "PHL-45", 2, new_key())
    after = line_of(shop, WING)
    assert (after.due, after.wanted.counter) == (before.due + 3, before.wanted.counter + 2)
    assert after.on_hand == before.on_hand - 2
    assert after.demand.mean == pytest.approx(before.demand.mean + 2)
    assert line_of(shop, WING, season_from="2026-11-25", season_to="2026-12-11", **COUNTED).due == before.due


def test_the_owners_number_stands_until_it_is_taken_back(shop: Shop) -> None:
    traded(shop)
    suggested = line_of(shop).suggestion.order
    assert changed(shop, str(suggested + 4)) == 1
    assert (line_of(shop).pieces, line_of(shop).suggestion.order) == (suggested + 4, suggested)
    assert line_of(shop, season_from="2028-04-01", season_to="2028-09-30").choice is None, (
        "another season is another list"
    )
    assert changed(shop, str(suggested + 4)) == 0, "what was not changed is left alone"
    assert changed(shop, "") == 1
    assert line_of(shop).choice is None
    with shop.reading() as work:
        assert number_of(work.session, OrderRow) == 0
        assert "the order for 2027-04-01/2027-09-30" in newest_deeds(work.session, 1)[0].what


def test_another_part_of_the_size_is_ordered_with_its_own_cost_and_may_be_changed_again(shop: Shop) -> None:
    traded(shop)
    line = line_of(shop)
    other, third = [part for part in line.wanted.parts if part.sku != line.meant.sku][:2]
    for part in (other, third):
        changed(shop, "2", part.sku)
        assert (line_of(shop).part.sku, line_of(shop).cost) == (part.sku, 2 * part.cost)
    with shop.reading() as work:
        assert number_of(work.session, OrderRow) == 1
    assert part.sku in {sold.sku for maker in listed(shop).makers for sold, _ in maker.parts}


WRONG = [
    ("many", "", "pieces-board:105"),
    ("10000", "", "pieces-board:105"),
    ("-1", "", "pieces-board:105"),
    ("1", "PHL-40", "sku-board:105"),
]


def test_what_cannot_be_ordered_is_named_and_nothing_is_kept(shop: Shop) -> None:
    traded(shop)
    for pieces, sku, field in WRONG:
        with pytest.raises(InvalidInput) as refused:
            changed(shop, pieces, sku)
        assert [fault.field for fault in refused.value.faults] == [field]
    with shop.reading() as work:
        assert number_of(work.session, OrderRow) == 0


WRONG_ADDRESSES = [
    ({"share": "0"}, ["share"]),
    ({"share": "half", "season_from": "x"}, ["season_from", "share"]),
    ({"from": "2026-11-01", "to": "2027-11-01"}, ["to"]),
]


def test_an_address_that_cannot_be_read_says_what_is_accepted(shop: Shop) -> None:
    for typed, fields in WRONG_ADDRESSES:
        with pytest.raises(InvalidInput) as refused:
            listed(shop, **typed)
        assert [fault.field for fault in refused.value.faults] == fields
