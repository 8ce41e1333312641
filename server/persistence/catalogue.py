"""The catalogue in the database: parts, prices, spots, lessons, zones and policy, under one version number."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, datetime
from sys import intern
from types import MappingProxyType
from typing import Any

from sqlalchemy import Row, bindparam, func, inspect
from sqlmodel import Session, col, delete, select

from server.domain.catalogue import Catalogue, Gear, LessonKind, MeasureValue, Part, Spot, Zone
from server.domain.prices import Markdown, PricePoint
from server.persistence.plain import plain_row, table_of
from server.persistence.policies import in_force, load_policy, version_in_force
from server.persistence.sets import load_sets
from server.persistence.tables import CatalogueRow, LessonKindRow, Moment, PartRow, PricePointRow, SpotRow, ZoneRow

AT_ONCE = 500
"""So many rows are asked for in one query: databases bound the values of one."""
REPLACING = 7_200_818  # The number of the lock that says "the catalogue is being replaced".


_PARTS = select(*(column for column in inspect(PartRow).columns))
"""Parts as plain rows: the whole table is read at once, and nothing in it is changed."""


_POINTS = select(col(PricePointRow.sku), col(PricePointRow.since), col(PricePointRow.price)).order_by(
    col(PricePointRow.since)
)


def _measures_from(text: str) -> Mapping[str, MeasureValue]:
    """The measures of a part; names and words that many parts share are kept once, a third of what 20,000 parts take."""
    told = json.loads(text).items()
    return MappingProxyType({intern(name): intern(value) if isinstance(value, str) else value for name, value in told})


def part_from(row: PartRow | Row[Any]) -> Part:
    """A part from its row."""
    markdown = None if row.markdown_price is None else Markdown(row.markdown_price, row.markdown_since)
    return Part(
        sku=row.sku,
        name=row.name,
        maker=intern(row.maker),
        gtin=row.gtin,
        price=row.price,
        cost=row.cost,
        gear=Gear(intern(row.slot), _measures_from(row.measures)),
        sold=row.sold,
        markdown=markdown,
        retired=row.retired,
    )


def row_from(part: Part) -> PartRow:
    """The row of a part."""
    return PartRow(
        sku=part.sku,
        slot=part.slot,
        name=part.name,
        maker=part.maker,
        gtin=part.gtin,
        price=part.price,
        cost=part.cost,
        measures=json.dumps(dict(part.gear.measures)),
        sold=part.sold,
        markdown_price=part.markdown.price if part.markdown else None,
        markdown_since=part.markdown.since if part.markdown else None,
        retired=part.retired,
    )


def lock_catalogue(session: Session) -> None:
    """Keep others from replacing the catalogue until this transaction ends (SQLite's writers are alone anyway)."""
    if session.get_bind().dialect.name == "postgresql":
        session.execute(select(func.pg_advisory_xact_lock(REPLACING)))


def newest_version(session: Session) -> int | None:
    """The version of the catalogue in force; None before the first was loaded."""
    return session.exec(select(func.max(col(CatalogueRow.version)))).one()


_VERSIONS = select(
    select(func.max(table_of(CatalogueRow).c.version)).scalar_subquery(),
    in_force(bindparam("at", type_=Moment())).scalar_subquery(),
)
"""Asked in every unit of work, so it is put together once."""


def versions_at(session: Session, at: datetime) -> tuple[int, int]:
    """The versions of the catalogue and of the policy in force at a moment; zeros before the first."""
    catalogue, policy = plain_row(session, _VERSIONS, {"at": at})
    return catalogue or 0, policy or 0


def load_catalogue(session: Session, at: datetime) -> Catalogue:
    """The catalogue in force, read whole, with the policy of a moment; an empty one before the first was loaded."""
    version, policy = versions_at(session, at)
    if not version:
        return Catalogue({})
    history: dict[str, list[PricePoint]] = {}
    for sku, since, price in session.execute(_POINTS):
        history.setdefault(sku, []).append(PricePoint(sku, since, price))
    rows = sorted(session.execute(_PARTS), key=lambda row: str(row.sku))
    return Catalogue(
        parts=MappingProxyType({part.sku: part_from(part) for part in rows}),
        spots=MappingProxyType({spot.name: spot for spot in _spots(session)}),
        lessons=MappingProxyType({kind.kind: kind for kind in _lesson_kinds(session)}),
        zones=MappingProxyType({zone.zone: zone for zone in _zones(session)}),
        history=MappingProxyType({sku: tuple(points) for sku, points in history.items()}),
        policy=load_policy(session, policy),
        version=version,
        sets=MappingProxyType({one.sku: one for one in load_sets(session)}),
    )


def spot_from(row: SpotRow) -> Spot:
    """A spot from its row."""
    facts = json.loads(row.facts)
    return Spot(**{**facts, "means_kn": tuple(facts["means_kn"]), "water_c": tuple(facts["water_c"])})


def lesson_kind_from(row: LessonKindRow) -> LessonKind:
    """A kind of lesson from its row."""
    return LessonKind(row.kind, row.title, row.fee, row.cost, row.minutes, row.places)


def zone_from(row: ZoneRow) -> Zone:
    """A zone from its row."""
    return Zone(row.zone, row.fee, row.cost, row.days)


def _spots(session: Session) -> Iterable[Spot]:
    return map(spot_from, session.exec(select(SpotRow).order_by(col(SpotRow.place))))


def _lesson_kinds(session: Session) -> Iterable[LessonKind]:
    return map(lesson_kind_from, session.exec(select(LessonKindRow).order_by(col(LessonKindRow.place))))


def _zones(session: Session) -> Iterable[Zone]:
    return map(zone_from, session.exec(select(ZoneRow).order_by(col(ZoneRow.place))))


def save_parts(session: Session, parts: Iterable[Part], retired: Iterable[str]) -> None:
    """Put parts in place of what stood under their SKUs, and retire those that are gone."""
    rows = [row_from(part) for part in parts]
    skus = [row.sku for row in rows]
    held = [
        session.exec(select(PartRow).where(col(PartRow.sku).in_(skus[start : start + AT_ONCE]))).all()
        for start in range(0, len(skus), AT_ONCE)
    ]
    for row in rows:
        session.merge(row)
    del held  # Until here it kept the rows at hand, so that none was asked for by itself.
    for sku in retired:
        session.get_one(PartRow, sku).retired = True
    session.flush()


def save_price_points(session: Session, points: Iterable[PricePoint]) -> None:
    """Add points to the price history; a point of the same part and day is put right."""
    known = {(row.sku, row.since): row for row in session.exec(select(PricePointRow))}
    for point in points:
        row = known.get((point.sku, point.since))
        if row is None:
            row = PricePointRow(sku=point.sku, since=point.since, price=point.price)
            known[point.sku, point.since] = row
            session.add(row)
        row.price = point.price


def delete_price_points(session: Session, gone: Iterable[tuple[str, date]]) -> None:
    """Take days out of the price history of parts."""
    for sku, day in gone:
        session.exec(delete(PricePointRow).where(col(PricePointRow.sku) == sku, col(PricePointRow.since) == day))


def save_places(session: Session, spots: Iterable[Spot], lessons: Iterable[LessonKind], zones: Iterable[Zone]) -> None:
    """Put spots, kinds of lessons and zones in place of those that were there."""
    for table in (SpotRow, LessonKindRow, ZoneRow):
        session.exec(delete(table))
    for place, spot in enumerate(spots):
        session.add(SpotRow(name=spot.name, place=place, facts=json.dumps(asdict(spot))))
    for place, kind in enumerate(lessons):
        session.add(LessonKindRow(place=place, **asdict(kind)))
    for place, zone in enumerate(zones):
        session.add(ZoneRow(place=place, **asdict(zone)))


def save_version(session: Session, at: datetime, by: str) -> int:
    """Make a new version of the catalogue, under the policy in force; its number."""
    row = CatalogueRow(policy=version_in_force(session, at) or 0, made_at=at, made_by=by)
    session.add(row)
    session.flush()
    return row.version or 0
