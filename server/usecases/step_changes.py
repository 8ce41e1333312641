"""What one step of the catalogue changed, field by field, and what undoing it would bring back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass

from server.domain.catalogue_changes import FieldChange, PartsChanged, fields_changed, parts_changed
from server.domain.deposits import decimal_of
from server.domain.errors import NotFound
from server.domain.policy_book import differences
from server.domain.steps import Step
from server.persistence.folder_out import set_row
from server.persistence.sets import set_from
from server.persistence.steps import Before, load_before, load_steps, newest_standing, rows_after, terms_made
from server.persistence.tables import SetRow
from server.usecases.steps import NO_STEP, undo_faults
from server.usecases.work import Work


@dataclass(frozen=True, slots=True)
class Other:
    """What changed beside parts: of what kind (sets, spots, lessons, delivery, price history, policy), which one, and how."""

    word: str
    name: str
    fields: tuple[FieldChange, ...] = ()
    is_new: bool = False
    is_gone: bool = False


@dataclass(frozen=True, slots=True)
class StepChanges:
    """A step, what it changed, and whether it is the one to undo next."""

    step: Step
    parts: PartsChanged
    others: tuple[Other, ...]
    is_next: bool
    hindrances: tuple[str, ...] = ()
    """Why it cannot be undone although it is the next."""


def step_changes(work: Work, version: int) -> StepChanges:
    """What a step changed; raises `NotFound`."""
    session = work.session
    found = load_before(session, version)
    if found is None:
        raise NotFound("step", NO_STEP)
    step = next(step for step in load_steps(session, work.catalogue.version) if step.version == version)
    after = rows_after(session, version, found)
    now = after.parts_of()
    standing = [now[sku] for sku in found.parts if sku in now and not now[sku].retired]
    is_next = newest_standing(session) == version
    return StepChanges(
        step=step,
        parts=parts_changed(found.parts_of(), standing),
        others=tuple(_others(work, version, found, after)),
        is_next=is_next,
        hindrances=tuple(fault.message for fault in undo_faults(work, found, version)) if is_next else (),
    )


def _others(work: Work, version: int, found: Before, after: Before) -> Iterable[Other]:
    yield from _rows("sets", _sets(found), _sets(after))
    yield from _rows("spots", found.spots_of(), after.spots_of())
    yield from _rows("lessons", found.lessons_of(), after.lessons_of())
    yield from _rows("delivery", found.zones_of(), after.zones_of())
    yield from _points(found, after)
    if found.terms is not None:
        changed = differences(json.loads(found.terms), terms_made(work.session, version) or {})
        fields = tuple(FieldChange(one.key, one.before, one.after) for one in changed)
        yield from (Other("policy", "", (field,)) for field in fields)


def _sets(rows: Before) -> dict[str, dict[str, str]]:
    """The sets that stand, as the cells of their rows."""
    there = {sku: row for sku, row in rows.sets.items() if row is not None and not row["retired"]}
    return {sku: set_row(set_from(SetRow.model_validate(row))) for sku, row in there.items()}


def _rows(word: str, before: Mapping[str, object], after: Mapping[str, object]) -> Iterable[Other]:
    """Rows that are new, gone or changed, each under its name."""
    for name in {**before, **after}:
        fields = fields_changed(_said(before.get(name)), _said(after.get(name)))
        if fields:
            yield Other(word, name, fields, is_new=name not in before, is_gone=name not in after)


def _said(row: object) -> dict[str, object]:
    """A row as the fields of its table, amounts of money as decimals."""
    facts = {} if row is None else row if isinstance(row, dict) else asdict(row)  # type: ignore[call-overload]
    return {
        name: decimal_of(value) if isinstance(value, int) and name in ("fee", "cost") else value
        for name, value in facts.items()
    }


def _points(found: Before, after: Before) -> Iterable[Other]:
    """Days of the price history whose price is another."""
    before, now = ({(point.sku, point.since): point.price for point in rows.points_of()} for rows in (found, after))
    for key in sorted(before.keys() | now.keys()):
        if before.get(key) != now.get(key):
            sku, since = key
            old, new = (None if price is None else decimal_of(price) for price in (before.get(key), now.get(key)))
            yield Other("price history", sku, (FieldChange(f"from {since.isoformat()}", old, new),))
