"""Mistakes at the desk are put right by a further entry with its reason, once each; nothing that was written is changed."""

from __future__ import annotations

import pytest

from server.domain.errors import Conflict, InvalidInput
from server.usecases.corrections import take_entry_back
from server.usecases.work import Shop
from tests.builders_sales import bought, new_key, paid


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
