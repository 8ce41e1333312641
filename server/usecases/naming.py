"""What names zones, kinds of lessons and spots, so that none is taken away that something still needs."""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal

from server.domain.errors import FileFault
from server.domain.policy import Policy
from server.persistence.places import deliveries_to, lessons_still_booked, times_naming
from server.persistence.policies import load_policy, load_versions
from server.usecases.work import Work

PlaceKind = Literal["zone", "lesson", "spot"]
FILES: dict[PlaceKind, str] = {"zone": "delivery.csv", "lesson": "lessons.csv", "spot": "spots.csv"}


def needed_places(
    work: Work,
    *,
    zones: Collection[str],
    lessons: Collection[str],
    spots: Collection[str],
    policy: Policy | None = None,
) -> tuple[FileFault, ...]:
    """A fault for each place of the catalogue that would be gone although something needs it; `policy` is as in `what_needs`."""
    catalogue = work.catalogue
    gone: list[tuple[PlaceKind, str]] = [
        *(("zone", name) for name in catalogue.zones if name not in zones),
        *(("lesson", name) for name in catalogue.lessons if name not in lessons),
        *(("spot", name) for name in catalogue.spots if name not in spots),
    ]
    return tuple(
        FileFault(FILES[of], None, "", f"{name} is not in it. {words}", f"a row {name}")
        for of, name in gone
        for words in what_needs(work, of, name, policy)
    )


def what_names(work: Work, of: PlaceKind, name: str) -> tuple[str, ...]:
    """What still names a place, in sentences: what needs it, and a policy that names a kind of lesson as needing no wind."""
    mentioned = [
        f"{called} names it as needing no wind."
        for called, terms in _policies(work, None)
        if of == "lesson" and name in terms.lessons.without_wind
    ]
    return (*mentioned, *what_needs(work, of, name))


def what_needs(work: Work, of: PlaceKind, name: str, policy: Policy | None = None) -> tuple[str, ...]:
    """What would fail without a place, in sentences: the policy in force or to come, goods, lesson times, lessons to be taken.

    With `policy` that one is looked at in place of the one in force.
    """
    reasons = [words for called, terms in _policies(work, policy) for words in _needed_by(terms, called, of, name)]
    if of == "zone":
        reasons += _counted(
            deliveries_to(work.session, name), "sale has", "sales have", "goods still to be delivered there"
        )
    if of == "lesson":
        times = times_naming(work.session, work.now, kind=name)
        reasons += _counted(times, "lesson time is", "lesson times are", "of this kind")
        booked = lessons_still_booked(work.session, name) if not times else 0
        reasons += _counted(booked, "lesson of this kind is", "lessons of this kind are", "still to be taken")
    if of == "spot":
        reasons += _counted(
            times_naming(work.session, work.now, spot=name), "lesson time is", "lesson times are", "held there"
        )
    return tuple(reasons)


def _counted(number: int, one: str, more: str, rest: str) -> list[str]:
    return [f"{number} {one if number == 1 else more} {rest}."] if number else []


def _policies(work: Work, policy: Policy | None) -> list[tuple[str, Policy]]:
    """The policy in force and those whose day is to come, each with how it is called."""
    to_come = [one for one in load_versions(work.session) if one.is_to_come(work.now)]
    later = [(f"Version {one.version} of the policy", load_policy(work.session, one.version)) for one in to_come]
    return [("The policy", policy or work.catalogue.policy), *later]


def _needed_by(policy: Policy, called: str, of: PlaceKind, name: str) -> list[str]:
    if of == "zone":
        return [f"{called} names it as the home zone."] if policy.shop.home_zone == name else []
    tiers = [tier.name for tier in policy.tiers if tier.lessons is not None and tier.lessons.kind == name]
    return [f"{called} includes it with “{tier}”." for tier in tiers] if of == "lesson" else []
