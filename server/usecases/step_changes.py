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
from server.persistence.steps import Before, load_before, load_step, newest_standing, rows_after, terms_made
from server.persistence.tables import SetRow
from server.usecases.catalogue_edits import words_in
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


def step_changes(work: Work, version: int, *, undoing: bool = False) -> StepChanges:
    """What a step changed, or the other way round what undoing it changes; raises `NotFound`."""
    session = work.session
    step, found = load_step(session, version), load_before(session, version)
    if step is None or found is None:
        raise NotFound("step", NO_STEP)
    after = rows_after(session, version, found)
    before, now = (after, found) if undoing else (found, after)
    then = now.parts_of()
    standing = [then[sku] for sku in found.parts if sku in then and not then[sku].retired]
    is_next = newest_standing(session) == version
    return StepChanges(
        step=step,
        parts=parts_changed(before.parts_of(), standing),
        others=tuple(_others(work, version, found, after, undoing=undoing)),
        is_next=is_next,
        hindrances=tuple(fault.message for fault in undo_faults(work, found, version)) if is_next else (),
    )


def skus_changed(work: Work, version: int) -> frozenset[str]:
    """The parts that a step was about."""
    found = load_before(work.session, version)
    return frozenset(found.parts) if found is not None else frozenset()


def _others(work: Work, version: int, found: Before, after: Before, *, undoing: bool) -> Iterable[Other]:
    """Changes beside parts; of the price history only what the step did, since undoing leaves the days that were charged."""
    before, then = (after, found) if undoing else (found, after)
    yield from _rows("sets", _sets(before), _sets(then))
    yield from _rows("spots", before.spots_of(), then.spots_of())
    yield from _rows("lessons", before.lessons_of(), then.lessons_of())
    yield from _rows("delivery", before.zones_of(), then.zones_of())
    if not undoing:
        yield from _points(work, found, after)
    if found.terms is not None:
        terms = [json.loads(found.terms), terms_made(work.session, version) or {}]
        changed = differences(*(reversed(terms) if undoing else terms))
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


def _points(work: Work, found: Before, after: Before) -> Iterable[Other]:
    """Days of the price history whose price is another, in words."""
    money, day = words_in(work)
    before, now = ({(point.sku, point.since): point.price for point in rows.points_of()} for rows in (found, after))
    for key in sorted(before.keys() | now.keys()):
        if before.get(key) != now.get(key):
            sku, since = key
            old, new = (None if price is None else money(price) for price in (before.get(key), now.get(key)))
            part = work.catalogue.parts.get(sku)
            name = part.name if part is not None else sku
            yield Other("price history", name, (FieldChange(f"from {day(since)}", old, new),))
