"""Mistakes at the desk are put right by a further entry with its reason, once each; nothing that was written is changed."""

from __future__ import annotations

import pytest

from server.domain.errors import Conflict, InvalidInput
from server.usecases.corrections import correct_serial, take_entry_back
from server.usecases.work import Shop
from tests.builders_handover import handed
from tests.builders_sales import bought, new_key, paid, sale_now


def test_a_payment_is_taken_back_once_with_its_rounding_and_the_balance_stands_as_before(shop: Shop) -> None:
    before = bought(shop, paid=100_00)
    before = paid(shop, before.id, before.owed - 10_22)
    sale = paid(shop, before.id, 10_20, "cash")  # Two cents were rounded away beside it.
    entry = next(one for one in sale.settlements if one.means == "cash")
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput, match="why"):
        take_entry_back(work, sale.id, entry.id, " ", new_key())
    key = new_key()
    for _ in range(2):
        with shop.writing("Maeve") as work:
            after = take_entry_back(work, sale.id, entry.id, "typed in the wrong sale", key)
    assert (after.owed, after.state) == (before.owed, "confirmed")
    assert after.settlements[: len(sale.settlements)] == sale.settlements, "what was written stays as it was"
    assert sum(one.means == "cash" for one in after.settlements) == 2
    for number in (entry.id, next(one.id for one in after.settlements if one.amount == -10_20)):
        with shop.writing("Maeve") as work, pytest.raises(Conflict, match="taken back already"):
            take_entry_back(work, sale.id, number, "once more", new_key())


def test_a_serial_number_is_corrected_with_a_reason_and_stands_on_one_thing_only(shop: Shop) -> None:
    one, other = handed(shop, bought(shop)), handed(shop, bought(shop, mass_kg=78))
    twin = next(
        (mine, theirs)
        for mine in one.goods
        for theirs in other.goods
        if mine.sku == theirs.sku and mine.serial and theirs.serial
    )
    mine, theirs = twin

    def write(serial: str, why: str = "mistyped") -> None:
        with shop.writing("Maeve") as work:
            correct_serial(work, one.id, mine.number, serial, why, new_key())

    for serial, words in ((theirs.serial.lower(), "Another"), (mine.serial, "already"), ("<no>", "cannot be")):
        with pytest.raises(InvalidInput, match=words):
            write(serial)
    with pytest.raises(InvalidInput, match="why"):
        write("A-77", "")
    write("A-77")
    now = sale_now(shop, one.id)
    item, mark = now.item(mine.number), now.done("serial")
    assert item is not None
    assert mark is not None
    assert (item.serial, mark.why) == ("A-77", "mistyped")
    assert (mark.about["before"], mark.about["after"]) == (mine.serial, "A-77")
