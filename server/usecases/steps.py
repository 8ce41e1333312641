"""Changing parts in one step, and undoing the newest step that stands."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping

from server.domain.catalogue import Part
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.policy import policy_from
from server.domain.prices import PricePoint, history_after
from server.domain.sets import faults_beside_sets
from server.domain.steps import Step, StepKind
from server.persistence.catalogue import (
    delete_price_points,
    lock_catalogue,
    save_parts,
    save_price_points,
    save_version,
)
from server.persistence.folder import policy_faults
from server.persistence.policies import save_policy, terms_as_text, terms_in_force
from server.persistence.steps import (
    Before,
    load_before,
    load_steps,
    mark_undone,
    newest_standing,
    put_back,
    replace_points,
    rows_before,
    save_step,
    terms_made,
)
from server.usecases.work import Work

MOST_STEPS = 100
NO_STEP = "There is no such step of the catalogue."
NOT_NEWEST = "Something was changed after it: undo that first, newest first."
POLICY_MOVED = (
    "The policy that came with it was changed since, on the policy's own page, and undoing would put an older one over it. "
    "If that is what you want, bring the policy back to what this step made of it first."
)
MOVED = "Somebody else changed this part meanwhile: look at it again."


def change_parts(
    work: Work, parts: Iterable[Part], *, kind: StepKind, about: str, shown: Mapping[str, Part] | None = None
) -> int:
    """Put parts in place of those under their SKUs, with their prices in the history, as one step; the version it makes.

    `shown` are the parts as whoever changes them saw them: raises `Conflict` where one has changed since, `InvalidInput` where a
    change would break a set.
    """
    session = work.session
    lock_catalogue(session)
    before = work.look_again()
    moved = [sku for sku, part in (shown or {}).items() if before.parts.get(sku) != part]
    if moved:
        raise Conflict([Fault("sku", f"{', '.join(moved)}: {MOVED}", "the part as it is now")])
    changed = [part for part in parts if before.parts.get(part.sku) != part]
    if not changed:
        return before.version
    faults = faults_beside_sets(changed, before)
    if faults:
        raise InvalidInput(faults)
    found = rows_before(session, [part.sku for part in changed], (), None)
    save_parts(session, changed, ())
    changes = {
        part.sku: history_after(part.sku, part.price, part.markdown, before.history.get(part.sku, ()), work.today)
        for part in changed
    }
    delete_price_points(session, [(sku, day) for sku, change in changes.items() for day in change.gone])
    save_price_points(session, [point for change in changes.values() for point in change.put])
    return finish_step(work, kind, about, found)


def finish_step(work: Work, kind: StepKind, about: str, found: Before) -> int:
    """Keep what was changed as a step with what it found, write the deed, and commit; the version it makes."""
    version = save_version(work.session, work.now, work.actor)
    save_step(work.session, version, kind, about, found)
    work.note_deed(f"changed the catalogue: {about}")
    work.commit()
    return version


def list_steps(work: Work) -> list[Step]:
    """The newest steps, newest first."""
    return load_steps(work.session, MOST_STEPS)


def undo_faults(work: Work, found: Before, version: int) -> list[Fault]:
    """Why what a step found cannot be put back although no step came after it: the policy has moved on.

    The policy has versions of its own. What a step found of it is put back only over what the step itself left; and whichever policy
    holds then must find the lessons and the zones that it names.
    """
    session = work.session
    now, left = terms_in_force(session, work.now), terms_made(session, version)
    if found.terms is not None and now != left:
        return [Fault("policy", POLICY_MOVED, "a policy as the step left it")]
    policy = work.catalogue.policy if found.terms is None else policy_from(json.loads(found.terms))
    return policy_faults(policy, found.lessons_of(), found.zones_of())


def undo_step(work: Work, version: int) -> int:
    """Put parts, prices, sets, places and policy back as a step found them; the version that this makes.

    Stock, holds and quotes stay as they are. Parts the step brought are retired. Prices that were in force for whole days stay in
    the history, since they were charged; a step undone on its own day leaves no trace there. Raises `NotFound`, and `Conflict`
    where something was changed after it.
    """
    session = work.session
    lock_catalogue(session)
    catalogue = work.look_again()
    found = load_before(session, version)
    if found is None:
        raise NotFound("step", NO_STEP)
    if newest_standing(session) != version:
        raise Conflict([Fault("step", NOT_NEWEST, "the newest step that stands")])
    faults = undo_faults(work, found, version)
    if faults:
        raise Conflict(faults)
    step = next(step for step in load_steps(session, catalogue.version) if step.version == version)
    terms = terms_in_force(session, work.now)
    again = rows_before(session, found.parts, found.sets, terms_as_text(terms) if found.terms and terms else None)
    put_back(session, found)
    replace_points(session, found.parts, _points_after(work, found, step, again))
    if found.terms is not None:
        save_policy(session, found.terms, work.now, work.actor, note=f"step {version} of the catalogue undone")
    undoing = save_version(session, work.now, work.actor)
    save_step(session, undoing, "undo", f"undid step {version}: {step.about}", again, undoes=version)
    mark_undone(session, version, work.now, work.actor)
    work.note_deed(f"undid step {version} of the catalogue")
    work.commit()
    return undoing


def _points_after(work: Work, found: Before, step: Step, again: Before) -> list[PricePoint]:
    """The price points that stay: those the step found, and what was charged on whole days since."""
    today, day = work.today, work.catalogue.policy.shop.day_of(step.at)
    if day == today:
        return found.points_of()
    kept = [point for point in found.points_of() if point.since < day]
    kept += [point for point in again.points_of() if day <= point.since <= today]
    points: list[PricePoint] = []
    for sku, part in found.parts_of().items():
        known = [point for point in kept if point.sku == sku]
        change = history_after(sku, part.price, part.markdown, known, today)
        put = {point.since: point for point in [*known, *change.put]}
        points += [point for since, point in put.items() if since not in change.gone]
    return points + [point for point in kept if found.parts[point.sku] is None]
