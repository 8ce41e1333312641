"""Reading a policy's tables: every fault at once, each with what is accepted, and no key misspelt in silence."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from itertools import pairwise
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from server.domain.errors import Fault

T = TypeVar("T")


class Reader:
    """Reads a policy's tables key by key, gathers every fault, and knows which keys were never asked for."""

    def __init__(self, source: Mapping[str, Any], at: str = "") -> None:
        self.source = source
        self.at = at
        self.faults: list[Fault] = []
        self.asked: set[str] = set()

    def table(self, key: str) -> Reader:
        """The reader of an inner table, which gathers faults into the same list."""
        self.asked.add(key)
        value = self.source.get(key, {})
        if not isinstance(value, Mapping):
            self._fault(key, "This is not a table.", f"a table [{self.at}{key}]")
            value = {}
        inner = Reader(value, f"{self.at}{key}.")
        inner.faults = self.faults
        return inner

    def take(self, key: str, default: T, convert: Callable[[Any], T], accepted: str) -> T:
        """A key's value, or the default where it is left out or faulty."""
        self.asked.add(key)
        if key not in self.source:
            return default
        try:
            return convert(self.source[key])
        except (ValueError, TypeError, InvalidOperation, KeyError, OSError):
            self._fault(key, f"{_shown(self.source[key])} is not accepted.", accepted)
            return default

    def refuse_the_rest(self) -> None:
        """A fault for each key that was never asked for."""
        for key in self.source:
            if key not in self.asked:
                self._fault(key, "This is not a key of the policy.", "one of: " + ", ".join(sorted(self.asked)))

    def _fault(self, key: str, message: str, accepted: str) -> None:
        self.faults.append(Fault(f"{self.at}{key}", message, accepted))


def _shown(value: Any) -> str:
    """A value as its owner wrote it, or near it."""
    words = str(value) if isinstance(value, Decimal) else repr(value)
    return words if len(words) <= 60 else words[:60] + "…"


def decimal_between(low: str, high: str) -> Callable[[Any], Decimal]:
    """A decimal from one number to another, both included."""

    def convert(value: Any) -> Decimal:
        if isinstance(value, bool) or not isinstance(value, (int, float, str, Decimal)):
            raise TypeError
        number = Decimal(str(value))
        if not number.is_finite() or not Decimal(low) <= number <= Decimal(high):
            raise ValueError
        return number

    return convert


def number_between(low: float, high: float) -> Callable[[Any], float]:
    """A number from one to another, both included."""
    exact = decimal_between(str(low), str(high))
    return lambda value: float(exact(value))


def whole_between(low: int, high: int) -> Callable[[Any], int]:
    """A whole number from one to another, both included."""

    def convert(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            raise ValueError
        return value

    return convert


def short_text(value: Any) -> str:
    """A text of at most 200 characters."""
    if not isinstance(value, str) or len(value) > 200:
        raise ValueError
    return value


def yes_no(value: Any) -> bool:
    """True or false."""
    if not isinstance(value, bool):
        raise ValueError
    return value


def time_zone(value: Any) -> str:
    """The name of a time zone."""
    ZoneInfo(short_text(value))
    return str(value)


def slots_among(allowed: tuple[str, ...]) -> Callable[[Any], tuple[str, ...]]:
    """A list of slots, each once."""

    def convert(value: Any) -> tuple[str, ...]:
        if not isinstance(value, (list, tuple)) or any(slot not in allowed for slot in value):
            raise ValueError
        return tuple(dict.fromkeys(value))

    return convert


def mass_knots(value: Any) -> tuple[tuple[float, float], ...]:
    """Pairs of a mass in kg and an area in m2, by rising mass."""
    knots = tuple((number_between(1, 300)(mass), number_between(0.5, 12)(area)) for mass, area in value)
    if len(knots) < 2 or any(left[0] >= right[0] for left, right in pairwise(knots)):
        raise ValueError
    return knots


def rates_by_day(value: Any) -> tuple[tuple[date, Decimal], ...]:
    """Pairs of a day and a percentage, by rising day."""
    rates = tuple((_day(day), decimal_between("0", "100")(percent)) for day, percent in value)
    if any(left[0] >= right[0] for left, right in pairwise(rates)):
        raise ValueError
    return rates


def _day(value: Any) -> date:
    if not isinstance(value, str) or len(value) != len("2027-01-01"):
        raise ValueError
    return date.fromisoformat(value)


def list_of_words(value: Any) -> tuple[str, ...]:
    """A list of at most 50 texts, each once."""
    if not isinstance(value, (list, tuple)) or len(value) > 50:
        raise ValueError
    return tuple(dict.fromkeys(short_text(word) for word in value))


def money_up_to(most: str) -> Callable[[Any], int]:
    """Money as its owner writes it, in whole cents."""
    exact = decimal_between("0", most)

    def convert(value: Any) -> int:
        cents = exact(value) * 100
        if cents != int(cents):
            raise ValueError
        return int(cents)

    return convert
