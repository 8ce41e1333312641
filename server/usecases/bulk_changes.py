"""Changing many parts as one: worked out first, done whole, or not at all where something moved meanwhile."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from hashlib import sha256

from server.domain.bulk_changes import BulkChange, Changed, change_all
from server.domain.errors import Conflict, Fault
from server.domain.part_words import bulk_words
from server.domain.stock import Movement, MovementKind, counted
from server.persistence.steps import load_before
from server.persistence.stock import load_on_hand, lock_parts, newest_change, save_movements
from server.usecases.catalogue_edits import digest_of, part_of, refuse_unreadable, words_in
from server.usecases.steps import change_parts, list_steps
from server.usecases.work import Work

PREVIEW_MOVED = (
    "Something of these parts has changed since the preview: nothing was done. This is what it would be now."
)
AT_ONCE = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class StockChange:
    """What happened to as many pieces of each part, and why; of a count, how many were found of each."""

    kind: MovementKind
    pieces: int
    why: str


@dataclass(frozen=True, slots=True)
class Booking:
    """What it would book for a part: pieces on hand before and after, or that there are too few."""

    sku: str
    name: str
    before: int
    movement: Movement | None

    @property
    def after(self) -> int:
        """Pieces on hand afterwards."""
        return self.before + (self.movement.change if self.movement else 0)

    @property
    def is_refused(self) -> bool:
        """Whether fewer are on hand than are to go."""
        return self.after < 0


def work_out(work: Work, change: BulkChange, skus: Sequence[str]) -> tuple[tuple[Changed, ...], str]:
    """What a change would make of parts, and its digest; nothing is changed. Raises `NotFound`."""
    rows = change_all(change, [part_of(work, sku) for sku in skus], work.catalogue, work.today)
    return rows, _digest(change, _made(rows))


def work_out_stock(work: Work, change: StockChange, skus: Sequence[str]) -> tuple[tuple[Booking, ...], str]:
    """What would be booked for parts, and its digest; nothing is booked. Raises `NotFound`."""
    on_hand = load_on_hand(work.session)
    rows = tuple(_booking(change, sku, part_of(work, sku).name, on_hand.get(sku, 0)) for sku in skus)
    return rows, _digest(change, repr(rows))


def _booking(change: StockChange, sku: str, name: str, before: int) -> Booking:
    if change.kind == "count":
        return Booking(sku, name, before, counted(sku, before, change.pieces, change.why))
    return Booking(sku, name, before, Movement(sku, change.kind, change.pieces, change.why))


def apply_change(work: Work, change: BulkChange, skus: Sequence[str], shown: str) -> int:
    """Do to all parts that are not refused what the preview of this digest said, as one step; the version it makes.

    The same form sent twice is done once. Raises `NotFound`, and `Conflict` where anything moved since the preview.
    """
    rows, digest = work_out(work, change, skus)
    if digest != shown:
        version = _done_before(work, change, skus, shown)
        if version:
            return version
        raise Conflict([Fault("change", PREVIEW_MOVED)])
    done = [row for row in rows if not row.refused]
    before = {row.before.sku: row.before for row in done}
    parts = [row.after for row in done]
    about = bulk_words(change, parts, *words_in(work))
    return change_parts(work, parts, kind="bulk", about=about, shown=before)


def apply_stock(work: Work, change: StockChange, skus: Sequence[str], shown: str) -> None:
    """Book for all parts what the preview of this digest said; the same form sent twice books once.

    Raises `NotFound`, `InvalidInput` for the reason, and `Conflict` where the ledger of any part moved since the preview.
    """
    refuse_unreadable(change.why)
    lock_parts(work.session, skus)
    rows, digest = work_out_stock(work, change, skus)
    if digest != shown:
        if all(_was_booked(work, change, sku) for sku in skus):
            return
        raise Conflict([Fault("change", PREVIEW_MOVED)])
    booked = [row.movement for row in rows if row.movement is not None and not row.is_refused]
    save_movements(work.session, booked, work.now, work.actor)
    work.note_deed(f"booked {change.kind} for {len(booked)} parts: {change.why}")
    work.commit()


def _done_before(work: Work, change: BulkChange, skus: Sequence[str], shown: str) -> int:
    """The version of the newest step if it is this very change of the parts as it found them, by the same hand, just now; else 0."""
    newest = next(iter(list_steps(work)), None)
    if newest is None or (newest.kind, newest.by) != ("bulk", work.actor) or work.now - newest.at > AT_ONCE:
        return 0
    found = load_before(work.session, newest.version)
    were = found.parts_of() if found is not None else {}
    rows = change_all(change, [were.get(sku) or part_of(work, sku) for sku in skus], work.catalogue, work.today)
    return newest.version if _digest(change, _made(rows)) == shown else 0


def _was_booked(work: Work, change: StockChange, sku: str) -> bool:
    """Whether the newest entry of a part is this very booking, by the same hand, just now."""
    newest = newest_change(work.session, sku)
    if newest is None or (newest.movement.kind, newest.movement.why, newest.by) != (
        change.kind,
        change.why,
        work.actor,
    ):
        return False
    return work.now - newest.at <= AT_ONCE


def _made(rows: Sequence[Changed]) -> str:
    return digest_of(*(part for row in rows for part in (row.before, row.after)))


def _digest(change: object, made: str) -> str:
    return sha256(f"{change!r}{made}".encode()).hexdigest()[:16]
