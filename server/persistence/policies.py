"""The versions of the policy: kept for good, the one in force found by the moment."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import BindParameter, Select, or_
from sqlmodel import Session, col, select

from server.domain.policy import Policy, policy_from
from server.domain.policy_book import PolicyVersion, beginning_of, timeline_of
from server.persistence.plain import plain_value, table_of
from server.persistence.tables import PolicyRow


def terms_as_text(terms: Mapping[str, Any]) -> str:
    """The policy's tables as text that keeps every decimal exact."""

    def exact(value: Any) -> Any:
        if isinstance(value, Decimal):
            return str(value)
        raise TypeError(f"{type(value).__name__} is no term of a policy")

    return json.dumps(terms, default=exact, sort_keys=True)


def in_force(at: datetime | BindParameter[datetime]) -> Select[Any]:
    """The query for the number of the version in force at a moment."""
    policies = table_of(PolicyRow).c
    effective = policies.effective_at
    return (
        select(policies.version)
        .where(policies.dropped_at.is_(None), or_(effective.is_(None), effective <= at))
        .order_by(effective.is_(None), effective.desc(), policies.version.desc())
        .limit(1)
    )


def version_in_force(session: Session, at: datetime) -> int | None:
    """The number of the version in force at a moment; None before the first."""
    version: int | None = plain_value(session, in_force(at))
    return version


def terms_in_force(session: Session, at: datetime) -> dict[str, Any] | None:
    """The policy's tables in force at a moment, decimals as text; None before the first."""
    version = version_in_force(session, at)
    return None if version is None else load_terms(session, version)


def load_terms(session: Session, version: int) -> dict[str, Any] | None:
    """The tables of a version, decimals as text; None where there is no such version."""
    row = session.get(PolicyRow, version)
    return None if row is None else json.loads(row.terms)


def load_policy(session: Session, version: int) -> Policy:
    """The policy of a version; it has to be there."""
    row = session.get_one(PolicyRow, version)
    return policy_from(json.loads(row.terms), version)


def load_versions(session: Session) -> list[PolicyVersion]:
    """Every version without its terms, oldest first."""
    return [_version(row) for row in session.exec(select(PolicyRow).order_by(col(PolicyRow.version)))]


def _version(row: PolicyRow) -> PolicyVersion:
    return PolicyVersion(
        row.version or 0,
        row.made_at,
        row.made_by,
        row.effective_at,
        row.note or "",
        row.dropped_at,
        row.dropped_by or "",
    )


def save_policy(
    session: Session, terms: str, at: datetime, by: str, effective_at: datetime | None = None, note: str = ""
) -> int:
    """Keep a new version, in force from a moment to come or, without one, at once; its number."""
    now_in_force = version_in_force(session, at)
    takes_place_of = None if now_in_force is None else session.get_one(PolicyRow, now_in_force).effective_at
    row = PolicyRow(terms=terms, made_at=at, made_by=by, effective_at=effective_at or takes_place_of, note=note or None)
    session.add(row)
    session.flush()
    return row.version or 0


def drop_version(session: Session, version: int, at: datetime, by: str) -> None:
    """Take a version back before its day."""
    row = session.get_one(PolicyRow, version)
    row.dropped_at, row.dropped_by = at, by


def load_vat_rates(session: Session) -> list[tuple[datetime, Decimal]]:
    """The shop's rates of VAT in per cent, each with the moment it came or will come into force, oldest first."""
    rates: list[tuple[datetime, Decimal]] = []
    for spell in timeline_of(load_versions(session)):
        shop = load_policy(session, spell.version.version).shop
        changes = [(beginning_of(day, shop.time_zone), rate) for day, rate in shop.vat_from]
        inside = [one for one in changes if spell.since < one[0] and (spell.until is None or one[0] < spell.until)]
        for since, percent in [(spell.since, shop.vat_on(shop.day_of(spell.since))), *inside]:
            if not rates or rates[-1][1] != percent:
                rates.append((since, percent))
    return rates
