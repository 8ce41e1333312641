"""Changing parts in one step, and undoing the newest step that stands."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import date

from server.domain.catalogue import Part
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.policy import policy_from
from server.domain.prices import NOT_SOLD, HistoryChange, PricePoint, history_after
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
    load_step,
    load_steps,
    mark_undone,
    newest_standing,
    put_back,
    replace_points,
    rows_before,
    save_step,
    terms_made,
)
from server.usecases.naming import needed_places
from server.usecases.offered import offered_today
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
    offered = offered_today(work, [part.sku for part in changed])
    changes = {part.sku: _history_of(part, before.history.get(part.sku, ()), work.today, offered) for part in changed}
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
    """Why what a step found cannot be put back although no step came after it: the policy, a lesson or a sale has moved on.

    The policy has versions of its own. What a step found of it is put back only over what the step itself left; and whichever policy
    holds then must find the lessons and the zones that it names.
    """
    session = work.session
    now, left = terms_in_force(session, work.now), terms_made(session, version)
    if found.terms is not None and now != left:
        return [Fault("policy", POLICY_MOVED, "a policy as the step left it")]
    policy = work.catalogue.policy if found.terms is None else policy_from(json.loads(found.terms))
    lessons, zones = found.lessons_of(), found.zones_of()
    missed = needed_places(work, zones=zones, lessons=lessons, spots=found.spots_of(), policy=policy)
    return policy_faults(policy, lessons, zones) or [Fault("step", one.message, one.accepted) for one in missed]


def undo_step(work: Work, version: int) -> int:
    """Put parts, prices, sets, places and policy back as a step found them; the version that this makes.

    Stock, holds and quotes stay as they are. Parts the step brought are retired. Prices that were charged, on whole days or to somebody
    on the step's own, stay in the history; a step undone on its day otherwise leaves no trace there. Raises `NotFound`, and
    `Conflict` where something was changed after it.
    """
    session = work.session
    lock_catalogue(session)
    work.look_again()
    step, found = load_step(session, version), load_before(session, version)
    if step is None or found is None:
        raise NotFound("step", NO_STEP)
    if newest_standing(session) != version:
        raise Conflict([Fault("step", NOT_NEWEST, "the newest step that stands")])
    faults = undo_faults(work, found, version)
    if faults:
        raise Conflict(faults)
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


def _history_of(part: Part, known: Iterable[PricePoint], today: date, offered: Mapping[str, int]) -> HistoryChange:
    return history_after(part.sku, part.asked, part.markdown, known, today, offered=offered.get(part.sku))


def _points_after(work: Work, found: Before, step: Step, again: Before) -> list[PricePoint]:
    """The price points that stay: those the step found, and what was charged since: on whole days, or to somebody today."""
    today, day = work.today, work.catalogue.policy.shop.day_of(step.at)
    offered = offered_today(work, found.parts)
    was, since = _by_sku(found.points_of()), _by_sku(again.points_of())
    points: list[PricePoint] = []
    for sku, part in found.parts_of().items():
        before, after = was.get(sku, []), since.get(sku, [])
        today_at = [point.price for point in after if point.since == today and point.price != NOT_SOLD]
        if day == today and not any(offered.get(sku, price + 1) <= price for price in today_at):
            points += before
            continue
        kept = [point for point in before if point.since < day]
        kept += [point for point in after if point.since >= day]
        change = _history_of(part, kept, today, offered)
        put = {point.since: point for point in [*kept, *change.put]}
        points += [point for at, point in put.items() if at not in change.gone]
    for sku in (sku for sku, row in found.parts.items() if row is None and day != today):
        kept = [point for point in since.get(sku, []) if point.since <= today]
        change = history_after(sku, None, None, kept, today)
        points += [*(point for point in kept if point.since != today), *change.put]
    return points


def _by_sku(points: Iterable[PricePoint]) -> dict[str, list[PricePoint]]:
    grouped: dict[str, list[PricePoint]] = {}
    for point in points:
        grouped.setdefault(point.sku, []).append(point)
    return grouped
