"""Amounts of money as a place writes them, by the Unicode CLDR as Babel has it."""

from __future__ import annotations

from decimal import Decimal

from babel.numbers import format_currency

from server.domain.money import Cents


def money_in_words(cents: Cents, currency: str, locale: str) -> str:
    """An amount with its currency and a true minus: €1,234.50, −€310.00."""
    words = str(format_currency(Decimal(abs(cents)) / 100, currency, locale=locale))
    return f"−{words}" if cents < 0 else words
