"""Amounts as places write them: what is put together here is what Babel writes, for every place and amount."""

from __future__ import annotations

from decimal import Decimal

import pytest
from babel.numbers import format_currency
from hypothesis import given
from hypothesis import strategies as st

from server.outside.amounts import money_in_words

PLACES = ("en_IE", "de_DE", "de_CH", "fr_FR", "es_ES", "pl_PL", "pt_PT", "nl_NL", "hi_IN", "ar_EG", "en_US", "sv_SE")
"""Among them those that leave four digits ungrouped, group by lakh, or write the sign behind."""


@given(st.integers(0, 10**13), st.sampled_from(PLACES), st.sampled_from(("EUR", "CHF", "JPY", "KWD", "INR", "PLN")))
def test_an_amount_is_written_as_babel_writes_it(cents: int, place: str, currency: str) -> None:
    assert money_in_words(cents, currency, place) == format_currency(Decimal(cents) / 100, currency, locale=place)


@pytest.mark.parametrize(("cents", "words"), [(123450, "€1,234.50"), (-31000, "−€310.00"), (0, "€0.00")])
def test_the_shop_s_own_way_with_a_true_minus(cents: int, words: str) -> None:
    assert money_in_words(cents, "EUR", "en_IE") == words
