"""The versions of a policy: when each takes effect, which is in force at a moment, and what differs between two.

A version made to hold at once takes the place of the one in force; one made for a day to come takes effect when that day begins in the
shop's time zone, over everything that was in force until then.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class PolicyVersion:
    """A version of the policy, without its terms: who made it when and why, and from when it holds.

    `effective_at` is None for what has held since it was made. `dropped_at` is set where it was taken back before its day.
    """

    version: int
    made_at: datetime
    made_by: str
    effective_at: datetime | None = None
    note: str = ""
    dropped_at: datetime | None = None
    dropped_by: str = ""

    @property
    def starts_at(self) -> datetime:
        """When it takes or took effect."""
        return self.made_at if self.effective_at is None else max(self.made_at, self.effective_at)

    def is_to_come(self, now: datetime) -> bool:
        """Whether its day has not begun."""
        return self.dropped_at is None and self.starts_at > now


@dataclass(frozen=True, slots=True)
class InForce:
    """A version with the time during which it was, is or will be in force; `until` is None for the last one."""

    version: PolicyVersion
    since: datetime
    until: datetime | None


def beginning_of(day: date, zone: str) -> datetime:
    """The moment a day begins in a time zone."""
    return datetime.combine(day, time(), ZoneInfo(zone))


def in_force_at(versions: Iterable[PolicyVersion], moment: datetime) -> PolicyVersion | None:
    """The version in force at a moment: the one that started last; of those that started together, the newest."""
    started = [one for one in versions if one.dropped_at is None and one.starts_at <= moment]
    return max(started, key=lambda one: (one.starts_at, one.version), default=None)


def timeline_of(versions: Iterable[PolicyVersion]) -> tuple[InForce, ...]:
    """Every version that ever took effect or will, oldest first, each until the next."""
    standing = sorted((one for one in versions if one.dropped_at is None), key=lambda one: (one.starts_at, one.version))
    following: Sequence[PolicyVersion | None] = [*standing[1:], None]
    spells = [
        InForce(one, one.starts_at, None if after is None else after.starts_at)
        for one, after in zip(standing, following, strict=True)
    ]
    return tuple(spell for spell in spells if spell.until is None or spell.since < spell.until)


@dataclass(frozen=True, slots=True)
class Difference:
    """A term that differs, under its dotted key, as it was and as it is; None where it is not there."""

    key: str
    before: Any
    after: Any


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Difference, ...]:
    """What differs between two policies' tables, by key."""
    old, new = flat(before), flat(after)
    return tuple(
        Difference(key, old.get(key), new.get(key)) for key in sorted({*old, *new}) if old.get(key) != new.get(key)
    )


def flat(value: object, at: str = "") -> dict[str, object]:
    """A policy's tables as one, under dotted keys: `trade_in.share`, `tiers[1].percent`."""
    if isinstance(value, Mapping):
        rows = [(f"{at}.{key}" if at else str(key), item) for key, item in value.items()]
    elif isinstance(value, list) and any(isinstance(item, Mapping) for item in value):
        rows = [(f"{at}[{place}]", item) for place, item in enumerate(value, start=1)]
    else:
        return {at: value}
    return {key: leaf for name, item in rows for key, leaf in flat(item, name).items()}


def left_behind(
    base: Mapping[str, Any], in_force: Mapping[str, Any], waiting: Mapping[str, Any]
) -> tuple[Difference, ...]:
    """What was changed since a version to come was made, and would be undone by it on its day.

    `base` are the terms that it was made from. Each difference is from what is in force to what the waiting version says. What the
    waiting version itself changed is not among them.
    """
    changed_since = {one.key for one in differences(base, in_force)}
    changed_by_it = {one.key for one in differences(base, waiting)}
    return tuple(one for one in differences(in_force, waiting) if one.key in changed_since - changed_by_it)
