"""Steps of the catalogue in the database: the rows as they were before each, and putting them back."""

from __future__ import annotations

import json
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, cast

from sqlalchemy.orm import defer
from sqlmodel import Session, SQLModel, col, delete, select

from server.domain.catalogue import LessonKind, Part, Spot, Zone
from server.domain.prices import PricePoint
from server.domain.steps import Step, StepKind
from server.persistence.catalogue import lesson_kind_from, part_from, spot_from, zone_from
from server.persistence.policies import load_terms
from server.persistence.tables import (
    CatalogueRow,
    LessonKindRow,
    PartRow,
    PricePointRow,
    SetRow,
    SpotRow,
    StepRow,
    ZoneRow,
)

PLACES: tuple[type[SQLModel], ...] = (SpotRow, LessonKindRow, ZoneRow)
MOST_AT_ONCE = 500
"""So many SKUs are asked for in one query: databases bound the values of one."""


@dataclass(frozen=True, slots=True)
class Before:
    """What a step found: parts by SKU as rows (None: there was none), their price points, sets, all places, and the policy's
    terms where the step changed them."""

    parts: dict[str, dict[str, Any] | None]
    points: list[dict[str, Any]]
    sets: dict[str, dict[str, Any] | None]
    places: dict[str, list[dict[str, Any]]]
    terms: str | None

    def only(self, skus: Collection[str], sets: Collection[str]) -> Before:
        """Of these parts and sets alone."""
        return Before(
            {sku: row for sku, row in self.parts.items() if sku in skus},
            [point for point in self.points if point["sku"] in skus],
            {sku: row for sku, row in self.sets.items() if sku in sets},
            self.places,
            self.terms,
        )

    def joined(self, other: Before) -> Before:
        """With another's parts and sets beside one's own; places are one's own where there are any."""
        return Before(
            self.parts | other.parts,
            self.points + other.points,
            self.sets | other.sets,
            self.places or other.places,
            self.terms,
        )

    def lessons_of(self) -> dict[str, LessonKind]:
        """The kinds of lessons as values."""
        rows = self.places[str(LessonKindRow.__tablename__)]
        return {row["kind"]: lesson_kind_from(LessonKindRow.model_validate(row)) for row in rows}

    def zones_of(self) -> dict[str, Zone]:
        """The zones as values."""
        rows = self.places[str(ZoneRow.__tablename__)]
        return {row["zone"]: zone_from(ZoneRow.model_validate(row)) for row in rows}

    def spots_of(self) -> dict[str, Spot]:
        """The spots as values."""
        rows = self.places[str(SpotRow.__tablename__)]
        return {row["name"]: spot_from(SpotRow.model_validate(row)) for row in rows}

    def parts_of(self) -> dict[str, Part]:
        """The parts that were there as values."""
        there = {sku: row for sku, row in self.parts.items() if row is not None}
        return {sku: part_from(PartRow.model_validate(row)) for sku, row in there.items()}

    def points_of(self) -> list[PricePoint]:
        """The price points as values."""
        return [PricePoint(row["sku"], date.fromisoformat(row["since"]), row["price"]) for row in self.points]


def rows_before(session: Session, skus: Iterable[str], sets: Iterable[str], terms: str | None) -> Before:
    """The rows of some parts and sets, and of all places, as they are now."""
    wanted, named = sorted(set(skus)), sorted(set(sets))
    parts: dict[str, dict[str, Any] | None] = dict.fromkeys(wanted)
    points: list[dict[str, Any]] = []
    for some in _in_turns(wanted):
        parts |= {row.sku: _plain(row) for row in session.exec(select(PartRow).where(col(PartRow.sku).in_(some)))}
        found = session.exec(select(PricePointRow).where(col(PricePointRow.sku).in_(some)))
        points += [{"sku": row.sku, "since": row.since.isoformat(), "price": row.price} for row in found]
    return Before(
        parts=parts,
        points=points,
        sets=dict.fromkeys(named)
        | {row.sku: _plain(row) for row in session.exec(select(SetRow)) if row.sku in set(named)},
        places={str(table.__tablename__): [_plain(row) for row in session.exec(select(table))] for table in PLACES},
        terms=terms,
    )


def rows_after(session: Session, version: int, found: Before) -> Before:
    """The rows that a step found, as it left them: as the next step that touched them found them, else as they are now."""
    parts, sets = {*found.parts}, {*found.sets}
    after = Before({}, [], {}, {}, None)
    query = select(StepRow.before).where(col(StepRow.version) > version).order_by(col(StepRow.version))
    for text in session.exec(query.execution_options(yield_per=5)):
        later = Before(**json.loads(text))
        after = after.joined(later.only(parts, sets))
        parts, sets = parts - later.parts.keys(), sets - later.sets.keys()
        if not parts and not sets:
            break
    return after.joined(rows_before(session, parts, sets, None))


def terms_made(session: Session, version: int) -> dict[str, Any] | None:
    """The policy's terms that were in force once a version of the catalogue was made."""
    row = session.get(CatalogueRow, version)
    return None if row is None else load_terms(session, row.policy)


def _in_turns(skus: Sequence[str]) -> Iterable[Sequence[str]]:
    return (skus[start : start + MOST_AT_ONCE] for start in range(0, len(skus), MOST_AT_ONCE))


def _plain(row: SQLModel) -> dict[str, Any]:
    return row.model_dump(mode="json")


def save_step(
    session: Session, version: int, kind: StepKind, about: str, before: Before, undoes: int | None = None
) -> None:
    """Keep what a step was about and what it found."""
    text = json.dumps(
        {
            "parts": before.parts,
            "points": before.points,
            "sets": before.sets,
            "places": before.places,
            "terms": before.terms,
        }
    )
    session.add(StepRow(version=version, kind=kind, about=about, before=text, undoes=undoes))


_STEPS = (
    select(StepRow, CatalogueRow.made_at, CatalogueRow.made_by)
    .join(CatalogueRow, col(CatalogueRow.version) == col(StepRow.version))
    .options(defer(StepRow.before))  # type: ignore[arg-type]
)


def load_steps(session: Session, most: int) -> list[Step]:
    """The newest steps, newest first."""
    newest = _STEPS.order_by(col(StepRow.version).desc()).limit(most)
    return [_step_from(*row) for row in session.exec(newest)]


def load_step(session: Session, version: int) -> Step | None:
    """A step by the version that it made; None where there is no such step."""
    row = session.exec(_STEPS.where(col(StepRow.version) == version)).first()
    return None if row is None else _step_from(*row)


def _step_from(row: StepRow, at: datetime, by: str) -> Step:
    return Step(
        version=row.version,
        kind=cast(StepKind, row.kind),
        about=row.about,
        at=at,
        by=by,
        undoes=row.undoes,
        undone_at=row.undone_at,
        undone_by=row.undone_by or "",
    )


def newest_standing(session: Session) -> int | None:
    """The version of the newest step that is none of undoing and was not undone."""
    return session.exec(
        select(StepRow.version)
        .where(col(StepRow.kind) != "undo", col(StepRow.undone_at).is_(None))
        .order_by(col(StepRow.version).desc())
        .limit(1)
    ).first()


def load_before(session: Session, version: int) -> Before | None:
    """What a step found; None where there is no such step."""
    row = session.get(StepRow, version)
    return None if row is None else Before(**json.loads(row.before))


def mark_undone(session: Session, version: int, at: datetime, by: str) -> None:
    """Note that a step was undone."""
    row = session.get_one(StepRow, version)
    row.undone_at, row.undone_by = at, by


def put_back(session: Session, before: Before) -> None:
    """Parts, sets and places as a step found them; parts that it brought are retired, since quotes and ledgers may name them."""
    tables: tuple[tuple[type[PartRow | SetRow], dict[str, dict[str, Any] | None]], ...] = (
        (PartRow, before.parts),
        (SetRow, before.sets),
    )
    for table, found in tables:
        for sku, row in found.items():
            if row is None:
                session.get_one(table, sku).retired = True
            else:
                session.merge(table.model_validate(row))
    for place in PLACES:
        session.exec(delete(place))
        session.add_all(place.model_validate(row) for row in before.places[str(place.__tablename__)])
    session.flush()


def replace_points(session: Session, skus: Iterable[str], points: Iterable[PricePoint]) -> None:
    """Put price points in place of all that some parts have."""
    for some in _in_turns(sorted(set(skus))):
        session.exec(delete(PricePointRow).where(col(PricePointRow.sku).in_(some)))
    session.add_all(PricePointRow(sku=point.sku, since=point.since, price=point.price) for point in points)
    session.flush()
