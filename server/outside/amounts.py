"""Amounts of money as a place writes them, by the Unicode CLDR as Babel has it."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from functools import lru_cache

from babel import Locale
from babel.numbers import format_currency, get_currency_precision, get_decimal_symbol, get_group_symbol

from server.domain.money import Cents

SAMPLES: tuple[Cents, ...] = (0, 5, 1_00, 999_99, 1_234_50, 12_345_67, 123_456_78, 1_234_567_89, 98_765_432_101_23)


def money_in_words(cents: Cents, currency: str, locale: str) -> str:
    """An amount with its currency and a true minus: €1,234.50, −€310.00."""
    words = _writer(currency, locale)(abs(cents))
    return f"−{words}" if cents < 0 else words


@lru_cache(maxsize=32)
def _writer(currency: str, locale: str) -> Callable[[Cents], str]:
    """How amounts that are not negative are written in a place.

    Babel reads its pattern anew for each amount, which takes 70 µs, and a page has up to two hundred. Where all samples show
    that the place writes thousands in threes and two decimals, with the same signs around them, we put those signs there ourselves.
    Prices and discounts come again on every page, so the words of the latest are kept.
    """

    def by_babel(cents: Cents) -> str:
        return str(format_currency(Decimal(cents) / 100, currency, locale=locale))

    place = Locale.parse(locale)
    before, _, after = by_babel(0).partition("0" + get_decimal_symbol(place) + "00")
    signs = str.maketrans({",": get_group_symbol(place), ".": get_decimal_symbol(place)})

    def at_once(cents: Cents) -> str:
        return before + f"{cents // 100:,}.{cents % 100:02d}".translate(signs) + after

    is_regular = get_currency_precision(currency) == 2 and all(at_once(one) == by_babel(one) for one in SAMPLES)
    return lru_cache(maxsize=4096)(at_once if is_regular else by_babel)
