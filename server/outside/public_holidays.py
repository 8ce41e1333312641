"""Public holidays of a country, by the package `holidays`; its table of a year is made once.

The package is imported by the first table: it takes 25 ms, and no page that is asked first wants one.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from functools import lru_cache


@lru_cache(maxsize=64)
def _of_year(country: str, year: int) -> frozenset[date]:
    import holidays

    try:
        return frozenset(holidays.country_holidays(country, years=[year]))
    except NotImplementedError:
        return frozenset()


def public_holidays(country: str, years: Iterable[int]) -> frozenset[date]:
    """The public holidays of a whole country (ISO 3166, two letters) in some years, without those of its regions.

    Empty for a country that the package does not know: then only Saturdays and Sundays put a last day off.
    """
    return frozenset().union(*(_of_year(country, year) for year in years))
