"""Bringing in a catalogue in place of the one there was, and telling what that changes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from datetime import date

from server.domain.catalogue import Catalogue, Part
from server.domain.catalogue_changes import FieldChange, part_change, parts_changed
from server.domain.deposits import decimal_of
from server.domain.errors import Fault, FileFault, InvalidInput
from server.domain.policy_book import differences
from server.domain.prices import NOT_SOLD, PricePoint, history_after
from server.domain.steps import StepKind
from server.domain.stock import Movement, counted
from server.outside.workbook import workbook_of
from server.persistence.catalogue import (
    delete_price_points,
    lock_catalogue,
    save_parts,
    save_places,
    save_price_points,
    save_version,
)
from server.persistence.folder import Folder
from server.persistence.folder_out import files_of, set_row, sheets_of
from server.persistence.policies import save_policy, terms_as_text, terms_in_force
from server.persistence.sets import save_sets
from server.persistence.steps import rows_before, save_step
from server.persistence.stock import load_on_hand, lock_parts, save_movements
from server.usecases.naming import needed_places
from server.usecases.offered import offered_today
from server.usecases.work import Work

Rows = Sequence[Mapping[str, object]]


@dataclass(frozen=True, slots=True)
class Changes:
    """What bringing in a folder changes, in lines to read."""

    new: tuple[str, ...]
    changed: tuple[str, ...]
    retired: tuple[str, ...]
    counts: tuple[Movement, ...]
    others: tuple[str, ...]
    unchanged: int

    def lines(self) -> list[str]:
        """A line for each change, and what stays."""
        rows = [f"new      {line}" for line in self.new]
        rows += [f"changed  {line}" for line in self.changed]
        rows += [f"retired  {sku}" for sku in self.retired]
        rows += [f"count    {entry.sku}: {entry.change:+d}, {entry.why}" for entry in self.counts]
        rows += [f"changed  {line}" for line in self.others]
        rows.append(
            f"{len(self.new)} new, {len(self.changed)} changed, {len(self.retired)} retired, {self.unchanged} unchanged, "
            f"{len(self.counts)} counts booked"
        )
        return rows


def compare(before: Catalogue, on_hand: Mapping[str, int], folder: Folder) -> Changes:
    """What a folder would change, field by field; retired parts come back as new."""
    parts = parts_changed(before.parts, folder.parts.values())
    back = [change.after for change in parts.back]
    counts = [counted(sku, on_hand.get(sku, 0), found, f"counted {found}") for sku, found in folder.on_hand.items()]
    return Changes(
        new=tuple(f"{part.sku} {part.name}" for part in (*parts.new, *back)),
        changed=tuple(f"{one.after.sku}: {difference(one.before, one.after)}" for one in parts.changed),
        retired=tuple(part.sku for part in parts.retired),
        counts=tuple(entry for entry in counts if entry is not None),
        others=tuple(_others(before, folder)),
        unchanged=parts.unchanged,
    )


def difference(old: Part, new: Part) -> str:
    """What became another field of a part, in one line; empty where nothing did."""
    return ", ".join(map(str, part_change(old, new).fields))


def _others(before: Catalogue, folder: Folder) -> list[str]:
    rows = []
    for word, old, new in (
        ("spots", list(before.spots.values()), folder.spots),
        ("lessons", list(before.lessons.values()), folder.lessons),
        ("delivery", list(before.zones.values()), folder.zones),
    ):
        rows += _rows_changed(word, [asdict(row) for row in old], [asdict(row) for row in new])
    listed = [set_row(one) for one in before.sets.values() if not one.retired]
    rows += _rows_changed("sets", listed, [set_row(one) for one in folder.sets.values()])
    known = {(point.sku, point.since): point.price for points in before.history.values() for point in points}
    for point in folder.history:
        price = known.get((point.sku, point.since))
        if price != point.price:
            was = "none" if price is None else _price_words(price)
            rows.append(f"price history: {point.sku} from {point.since} {was} -> {_price_words(point.price)}")
    return rows


def _price_words(price: int) -> str:
    return "not on sale" if price == NOT_SOLD else decimal_of(price)


def _rows_changed(word: str, old: Rows, new: Rows) -> list[str]:
    """A line for each row that is new, gone or changed; a row is known by its first field."""
    before, after = ({str(next(iter(row.values()))): row for row in rows} for rows in (old, new))
    lines = [f"{word}: new {name}" for name in after if name not in before]
    lines += [f"{word}: gone {name}" for name in before if name not in after]
    for name in before.keys() & after.keys():
        for field, value in after[name].items():
            if before[name][field] != value:
                lines.append(f"{word}: {name}: {field} {before[name][field]} -> {value}")
    if not lines and list(before) != list(after):
        lines.append(f"{word}: in another order")
    return sorted(lines)


def preview(work: Work, folder: Folder) -> Changes:
    """What bringing in a folder would change; nothing is changed."""
    changes = compare(work.catalogue, load_on_hand(work.session), folder)
    in_force = terms_in_force(work.session, work.now)
    if in_force is None:
        return changes
    lines = [
        f"policy: {FieldChange(one.key, one.before, one.after)}"
        for one in differences(in_force, json.loads(terms_as_text(folder.terms or {})))
    ]
    return replace(changes, others=(*changes.others, *lines))


def replace_catalogue(
    work: Work, folder: Folder, kind: StepKind = "load", about: str = "", *, books_counts: bool = True
) -> Changes:
    """Put a folder's catalogue in place of what was there, as one step; absent SKUs are retired, quotes keep their record.

    The folder must be without faults; raises `InvalidInput` where it lacks a place that something names. Pieces on hand are booked as
    a count unless they are to be left alone; a price that the history does not know yet begins today.
    """
    if folder.faults:
        raise ValueError("a folder with faults changes nothing")
    session = work.session
    lock_catalogue(session)
    before = work.look_again()
    missed = places_missed(work, folder)
    if missed:
        raise InvalidInput(Fault(one.file, one.message, one.accepted) for one in missed)
    lock_parts(session, {*folder.on_hand, *before.parts})
    changes = preview(work, folder)
    changes = changes if books_counts else replace(changes, counts=())
    in_force, wanted = terms_in_force(session, work.now), terms_as_text(folder.terms or {})
    has_new_terms = in_force is None or terms_as_text(in_force) != wanted
    put, gone = _history_changes(folder, before, work.today, offered_today(work, before.parts))
    differing = [part for part in folder.parts.values() if before.parts.get(part.sku) != part]
    sets = [one for one in folder.sets.values() if before.sets.get(one.sku) != one]
    gone_sets = [sku for sku, one in before.sets.items() if not one.retired and sku not in folder.sets]
    touched = {
        *(part.sku for part in differing),
        *changes.retired,
        *(point.sku for point in put),
        *(sku for sku, _ in gone),
    }
    found = rows_before(
        session,
        touched,
        {*(one.sku for one in sets), *gone_sets},
        terms_as_text(in_force) if in_force is not None and has_new_terms else None,
    )
    save_parts(session, differing, changes.retired)
    save_sets(session, sets, gone_sets)
    delete_price_points(session, gone)
    save_price_points(session, put)
    save_places(session, folder.spots, folder.lessons, folder.zones)
    save_movements(session, changes.counts, work.now, work.actor)
    if has_new_terms:
        save_policy(session, wanted, work.now, work.actor)
    version = save_version(session, work.now, work.actor)
    if before.version:
        save_step(session, version, kind, about or changes.lines()[-1], found)
        work.note_deed(f"brought in a catalogue: {about or changes.lines()[-1]}")
    work.commit()
    return changes


def places_missed(work: Work, folder: Folder) -> tuple[FileFault, ...]:
    """A fault for each place that a folder does not have although something names it."""
    return needed_places(
        work,
        zones={zone.zone for zone in folder.zones},
        lessons={kind.kind for kind in folder.lessons},
        spots={spot.name for spot in folder.spots},
        policy=folder.policy,
    )


def _history_changes(
    folder: Folder, before: Catalogue, today: date, offered: Mapping[str, int]
) -> tuple[list[PricePoint], set[tuple[str, date]]]:
    """Points of the price history that are put, and days that are taken out: what the folder says of past prices, and a point for
    each part whose newest one is not what it costs now."""
    known = {sku: {point.since: point for point in points} for sku, points in before.history.items()}
    said = [point for point in folder.history if known.get(point.sku, {}).get(point.since) != point]
    for point in said:
        known.setdefault(point.sku, {})[point.since] = point
    asked = {sku: (part.asked, part.markdown) for sku, part in folder.parts.items()}
    asked |= {sku: (None, None) for sku, part in before.parts.items() if not part.retired and sku not in asked}
    changes = {
        sku: history_after(
            sku, *terms, known.get(sku, {}).values(), today, offered=offered.get(sku), was_watched=sku in before.history
        )
        for sku, terms in asked.items()
    }
    gone = {(sku, day) for sku, change in changes.items() for day in change.gone}
    points = [*said, *(point for change in changes.values() for point in change.put)]
    return [point for point in points if (point.sku, point.since) not in gone], gone


def catalogue_files(work: Work) -> dict[str, bytes]:
    """The catalogue in force as the files of a catalogue folder, the policy among them; reading them again changes nothing."""
    return files_of(work.catalogue, load_on_hand(work.session), terms_in_force(work.session, work.now))


def catalogue_workbook(work: Work) -> bytes:
    """The catalogue in force as a workbook with a sheet a slot; the policy is not in it and stays as it is when it is read."""
    return workbook_of(sheets_of(work.catalogue, load_on_hand(work.session)))
