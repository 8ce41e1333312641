"""Sets: what they are as steps of the catalogue, how they stand, and what happened to one booked for its parts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from server.domain.catalogue import Part, PartSet
from server.domain.counter import Stand, stand_of_set
from server.domain.digests import shown_digest
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.money import Cents
from server.domain.sets import can_be_sold, identity_faults, parts_faults, price_apart, sets_in
from server.domain.stock import BY_HAND, Movement, MovementKind
from server.persistence.catalogue import lock_catalogue
from server.persistence.columns import SET_COLUMNS, read_cells, set_from_row
from server.persistence.folder_out import set_row
from server.persistence.sets import save_sets
from server.persistence.steps import rows_before
from server.persistence.stock import load_on_hand, lock_parts, save_movements
from server.usecases.counter import stands_of
from server.usecases.steps import finish_step
from server.usecases.stock import book_movement
from server.usecases.work import Work

NO_SET = "The catalogue has no such set."
MOVED = "Somebody else changed this set meanwhile: look at it again."
COUNT_ITS_PARTS = "A set has no count of its own: count its parts."


@dataclass(frozen=True, slots=True)
class SetStand:
    """A set with its parts as often as they are in it, how it stands, and what its parts cost one by one, in cents."""

    one: PartSet
    parts: tuple[Part, ...]
    stand: Stand
    apart: Cents
    is_on_sale: bool
    short: tuple[str, ...]
    """The SKUs that keep it from being there, of those that are on sale."""


def list_sets(work: Work) -> tuple[SetStand, ...]:
    """Every set that was not retired, by its name."""
    listed = [one for one in work.catalogue.sets.values() if not one.retired]
    return tuple(_stood(work, one) for one in sorted(listed, key=lambda one: (one.name.casefold(), one.sku)))


def list_sets_of(work: Work, sku: str) -> tuple[PartSet, ...]:
    """The sets that a part is in and that were not retired, by their name."""
    named = [one for one in work.catalogue.sets.values() if sku in one.parts and not one.retired]
    return tuple(sorted(named, key=lambda one: (one.name.casefold(), one.sku)))


def read_set(work: Work, sku: str) -> SetStand:
    """A set by its SKU; raises `NotFound` where there is none that is listed."""
    one = work.catalogue.sets.get(sku)
    if one is None or one.retired:
        raise NotFound("sku", NO_SET)
    return _stood(work, one)


def _stood(work: Work, one: PartSet) -> SetStand:
    parts, stands = work.catalogue.parts, stands_of(work, one.parts)
    times = Counter(one.parts)
    return SetStand(
        one=one,
        parts=tuple(parts[sku] for sku in one.parts if sku in parts),
        stand=stand_of_set(one, stands),
        apart=price_apart(one, parts),
        is_on_sale=can_be_sold(one, parts),
        short=tuple(sku for sku, needed in times.items() if stands[sku].free < needed),
    )


def set_of(work: Work, typed: Mapping[str, str]) -> PartSet:
    """A set as it was typed, read by the columns of its file; its parts may also stand one a line. Raises `InvalidInput`."""
    values, faults = read_cells(SET_COLUMNS, {**typed, "parts": "; ".join(typed.get("parts", "").splitlines())})
    if faults:
        known = parts_faults(values["parts"], work.catalogue.parts) if "parts" in values else []
        raise InvalidInput([*faults, *known])
    return set_from_row(values)


def cells_of(one: PartSet) -> dict[str, str]:
    """A set as it would be typed."""
    return {**set_row(one), "sold": "yes" if one.sold else "no"}


def digest_of(one: PartSet) -> str:
    """A short text that is another one as soon as something of a set is."""
    return shown_digest(one)


def put_set(work: Work, made: PartSet, shown: str = "") -> int:
    """Add a set, or put it in place of the one under its SKU, as one step; the version it makes.

    `shown` is the digest of the set as whoever changes it saw it, empty for a new one. Raises `InvalidInput` with what is wrong
    with it, `Conflict` where it has changed since.
    """
    lock_catalogue(work.session)
    catalogue = work.look_again()
    there = catalogue.sets.get(made.sku)
    there = None if there is None or there.retired else there
    if shown and (there is None or digest_of(there) != shown):
        raise Conflict([Fault("sku", MOVED, "the set as it is now")])
    faults = [*identity_faults(made, catalogue.parts.values(), catalogue.sets.values())]
    if not shown and there is not None:
        faults.append(Fault("sku", f"{made.sku} is a set already.", "a SKU of its own"))
    faults += parts_faults(made.parts, catalogue.parts)
    if faults:
        raise InvalidInput(faults)
    if made == there:
        return catalogue.version
    return _keep(work, made, f"set {made.name} {'changed' if there else 'added'}", "edit")


def retire_set(work: Work, sku: str) -> int:
    """Take a set out of the catalogue as one step; its parts stay. Raises `NotFound` where there is none."""
    lock_catalogue(work.session)
    work.look_again()
    one = read_set(work, sku).one
    return _keep(work, replace(one, retired=True), f"set {one.name} retired", "retire")


def _keep(work: Work, made: PartSet, about: str, kind: Literal["edit", "retire"]) -> int:
    found = rows_before(work.session, (), [made.sku], None)
    save_sets(work.session, [made])
    return finish_step(work, kind, about, found)


def book_item(work: Work, sku: str, kind: MovementKind, pieces: int, why: str) -> tuple[Movement, ...]:
    """Book what happened to a part, or to a set as its parts in one act; without an entry where a count agrees.

    Raises `InvalidInput` as `book_movement` does, and for a set that is counted or of which a part is not there.
    """
    one = work.catalogue.sets.get(sku)
    if one is None or one.retired or sku in work.catalogue.parts:
        booked = book_movement(work, sku, kind, pieces, why)
        return () if booked is None else (booked,)
    faults = (
        [Fault("kind", COUNT_ITS_PARTS, "one of: " + ", ".join(BY_HAND[:1] + BY_HAND[2:]))] if kind == "count" else []
    )
    if kind not in BY_HAND or not 1 <= pieces <= 1_000_000:
        faults.append(Fault("pieces", "This is not a number of pieces.", "a whole number, 1 or more"))
    if faults:
        raise InvalidInput(faults)
    lock_parts(work.session, one.parts)
    words = f"{why} (in {sku})" if why else f"in {sku}"
    booked_all = tuple(Movement(part, kind, pieces * times, words) for part, times in Counter(one.parts).items())
    on_hand = load_on_hand(work.session)
    if any(on_hand.get(entry.sku, 0) + entry.change < 0 for entry in booked_all):
        there = sets_in(one, on_hand)
        raise InvalidInput([Fault("pieces", f"The parts of {there} are on hand.", f"at most {there}")])
    save_movements(work.session, booked_all, work.now, work.actor)
    work.commit()
    return booked_all
