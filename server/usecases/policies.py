"""Versions of the policy: a new one with the day it takes effect, one brought back, one taken back before its day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.policy import Policy, policy_from
from server.domain.policy_book import Difference, PolicyVersion, beginning_of, in_force_at, left_behind
from server.persistence.catalogue import lock_catalogue
from server.persistence.folder import policy_faults
from server.persistence.policies import (
    drop_version,
    load_terms,
    load_versions,
    save_policy,
    terms_as_text,
    version_in_force,
)
from server.usecases.work import Work

NO_VERSION = "There is no such version of the policy."
MOVED = "The policy was changed meanwhile: look at what is in force now, and change that."
LONGEST_WAIT_DAYS = 730


def check_terms(work: Work, terms: Mapping[str, Any]) -> Policy:
    """The policy that tables make; raises `InvalidInput` with every fault, what the policy names in the catalogue included."""
    policy = policy_from(terms)
    catalogue = work.catalogue
    faults = policy_faults(policy, catalogue.lessons, catalogue.zones)
    if faults:
        raise InvalidInput(faults)
    return policy


def change_policy(work: Work, terms: Mapping[str, Any], from_day: date | None, note: str, shown: int) -> int:
    """Make terms the next version, in force at once or from the beginning of a day to come; its number.

    `shown` is the version that was in force when they were written: raises `Conflict` where another is now, `InvalidInput` for
    terms or a day that cannot be. Quotes keep the version they were made under.
    """
    lock_catalogue(work.session)
    policy = work.look_again().policy
    check_terms(work, terms)
    if from_day is not None and not 0 <= (from_day - work.today).days <= LONGEST_WAIT_DAYS:
        raise InvalidInput(
            [Fault("from_day", "A policy cannot take effect on that day.", "today or a day in the next two years")]
        )
    if policy.version != shown:
        raise Conflict([Fault("shown", MOVED, f"a change of version {policy.version}")])
    is_at_once = from_day is None or from_day == work.today
    effective_at = None if is_at_once or from_day is None else beginning_of(from_day, policy.shop.time_zone)
    version = save_policy(work.session, terms_as_text(terms), work.now, work.actor, effective_at, note)
    when = "at once" if effective_at is None else f"from {from_day}"
    work.note_deed(f"changed the policy: version {version}, {when}")
    work.commit()
    return version


def list_versions(work: Work) -> list[PolicyVersion]:
    """Every version, oldest first."""
    return load_versions(work.session)


def terms_of(work: Work, version: int) -> dict[str, Any]:
    """The tables of a version, decimals as text; raises `NotFound`."""
    terms = load_terms(work.session, version)
    if terms is None:
        raise NotFound("policy", NO_VERSION)
    return terms


def drop_policy(work: Work, version: int) -> None:
    """Take a version back before its day; raises `NotFound`, and `Conflict` once it has taken effect."""
    lock_catalogue(work.session)
    found = next((one for one in load_versions(work.session) if one.version == version), None)
    if found is None:
        raise NotFound("policy", NO_VERSION)
    if not found.is_to_come(work.now) or version == version_in_force(work.session, work.now):
        raise Conflict([Fault("version", "It has taken effect already.", "a version whose day is to come")])
    drop_version(work.session, version, work.now, work.actor)
    work.note_deed(f"took version {version} of the policy back")
    work.commit()


@dataclass(frozen=True)
class Waiting:
    """A version to come with its terms, and what was changed since it was made that it would undo on its day."""

    version: PolicyVersion
    terms: Mapping[str, Any]
    left_behind: tuple[Difference, ...]


def versions_to_come(work: Work) -> tuple[Waiting, ...]:
    """The versions whose day is to come, in the order of their days."""
    versions = load_versions(work.session)
    current = terms_of(work, work.catalogue.policy.version)
    waiting = sorted((one for one in versions if one.is_to_come(work.now)), key=lambda one: one.starts_at)
    return tuple(_waiting(work, one, versions, current) for one in waiting)


def made_from(one: PolicyVersion, versions: Sequence[PolicyVersion]) -> PolicyVersion | None:
    """The version that was in force when a version was made; None for the first."""
    return in_force_at([other for other in versions if other.version < one.version], one.made_at)


def _waiting(work: Work, one: PolicyVersion, versions: Sequence[PolicyVersion], current: Mapping[str, Any]) -> Waiting:
    before = made_from(one, versions)
    base = current if before is None else terms_of(work, before.version)
    terms = terms_of(work, one.version)
    return Waiting(one, terms, left_behind(base, current, terms))
