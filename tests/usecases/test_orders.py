"""The order list worked out from the database, and changed by the owner."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from server.domain.errors import InvalidInput
from server.domain.order_list import OrderLine
from server.domain.seasons import Days
from server.persistence.accounts import newest_deeds
from server.persistence.tables import CounterSaleRow, OrderRow
from server.usecases.counter import sell_at_counter
from server.usecases.numbers import read_asked, read_numbers
from server.usecases.orders import OrderList, Typed, change_orders, read_orders, read_orders_asked
from server.usecases.quotes import issue_quote
from server.usecases.standing import withdraw_quote
from server.usecases.work import Shop
from tests.builders_numbers import HEAVY, traded
from tests.builders_pieces import delivery
from tests.builders_sales import new_key
from tests.builders_shop import learner, number_of

KEY, WING, PART = "board:105", "hand_wing:4.5", "WRK-PUMP1"
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
    [over] = [line.wanted for line in found.unlisted if line.wanted.slot == "board"]
    assert sum(one.asked for one in (*boards, over)) == 6
    assert (over.key, over.asked, over.unmet, sum(one.unmet for one in boards)) == ("board:over", 2, 2, 0)
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


def test_a_day_with_nothing_but_a_return_leaves_the_list_standing(shop: Shop) -> None:
    with shop.writing("Maeve") as work:
        for sku in ("PHL-45", PART):
            work.session.add(CounterSaleRow(key=new_key(), sku=sku, pieces=-1, price=59_00, at=work.now, by="Maeve"))
        work.commit()
    lines = {line.part.sku: line for line in listed(shop).lines if line.wanted.counter or line.part.sku == PART}
    assert (lines[PART].wanted.counter, lines[PART].demand.mean, lines[PART].pieces) == (0, 0, 0)
    assert line_of(shop, WING).wanted.counter == 0


def test_sizes_that_nothing_fits_are_counted_alike_on_both_pages_and_pieces_of_them_can_be_set(shop: Shop) -> None:
    traded(shop)
    with shop.reading() as work:
        numbers = read_numbers(work, read_asked({}, work.today, work.catalogue))
    [over] = [line for line in listed(shop).unlisted if line.wanted.unmet]
    [counted] = [one for one in numbers.sizes["board"] if one.unmet]
    assert (counted.asked, counted.unmet, counted.on_hand) == (over.wanted.asked, over.wanted.unmet, 0) == (2, 2, 0)
    assert over.pieces == 0
    assert over.size == pytest.approx(136 * 1.3)
    typed = [Typed("board:over", "2", "", "0", "")]
    with shop.writing("Orla") as work:
        assert change_orders(work, read_orders_asked(work, {}), typed) == 1
    [over] = [line for line in listed(shop).unlisted if line.wanted.unmet]
    assert over.pieces == 2
    with shop.writing("Orla") as work, pytest.raises(InvalidInput):
        change_orders(work, read_orders_asked(work, {}), [replace(typed[0], sku="PHL-45", sku_shown="")])
    with shop.writing("Orla") as work:
        assert change_orders(work, read_orders_asked(work, {}), [replace(typed[0], pieces="", pieces_shown="2")]) == 1
    assert not any(line.choice for line in listed(shop).unlisted)


def test_a_quote_counts_once_as_its_newest_revision_has_it_and_a_withdrawn_one_counts(shop: Shop) -> None:
    with shop.writing() as work:
        token = issue_quote(work, HEAVY).token
        issue_quote(work, learner(mass_kg=75), revises=token)
    with shop.writing("Maeve") as work:
        withdraw_quote(work, issue_quote(work, learner()).code, "no such board any more")
    found = listed(shop)
    assert (found.base.kept, found.base.decided, found.base.bought) == (2, 1, 0)
    assert sum(line.wanted.asked for line in found.lines if line.wanted.slot == "board") == 2
    assert not found.unlisted
    assert not any(line.wanted.unmet for line in found.lines), "the size that was missed is not asked for any more"
    assert found.kits == pytest.approx(2 / 3)  # One bought and one not added to none of one that decided.


def test_an_empty_shop_has_an_empty_list_and_all_days_are_offered_where_most_quotes_lie_elsewhere(shop: Shop) -> None:
    empty = listed(shop)
    assert (empty.base.kept, empty.kits, empty.base.all_days, empty.unlisted) == (0, 0, None, ())
    assert not any(line.pieces for line in empty.lines)
    with shop.writing() as work:
        issue_quote(work, learner())
    assert not listed(shop).base.lies_elsewhere
    base = listed(shop, **{"from": "2026-04-01", "to": "2026-09-30"}).base
    assert (base.lies_elsewhere, base.all_kept, base.all_days) == (
        True,
        1,
        Days(date(2026, 11, 25), date(2026, 11, 25)),
    )


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
