"""Changing the catalogue part by part, by hand: fields, prices, stock by a reason, photographs, retiring and bringing back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from server.domain.catalogue import Part
from server.domain.days import day_in_words
from server.domain.digests import shown_digest
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.listing import Listed, list_parts, listed_as
from server.domain.money import Cents
from server.domain.part_words import change_words
from server.domain.reductions import Verdict, judge_markdown, moved_words
from server.domain.slots import SLOT_WORDS
from server.domain.stock import Movement, MovementKind
from server.outside.amounts import money_in_words
from server.outside.photos import Photo
from server.persistence.columns import file_of, part_columns
from server.persistence.expected import load_deliveries
from server.persistence.folder import read_part
from server.persistence.folder_out import cells_of
from server.persistence.stock import (
    Booked,
    load_booked,
    load_held,
    load_on_hand,
    load_open_holds,
    lock_parts,
    newest_change,
)
from server.usecases.photos import drop_photo, keep_photos, photos_of
from server.usecases.steps import MOVED, change_parts
from server.usecases.stock import book_movement
from server.usecases.work import Work

NO_PART = "The catalogue has no part of this SKU."
MOST_BOOKED = 60
MOST_PHOTOS = 4
LONGEST_WHY = 200
LEDGER_MOVED = (
    "Something else was booked for this part meanwhile: look at its ledger, and say it again if it is still so."
)
MOST_DELIVERIES = 200


@dataclass(frozen=True, slots=True)
class Stands:
    """Where a part stands: its ledger newest first, the quotes it is held for, and pieces to come by their days."""

    booked: tuple[Booked, ...]
    newest: int
    codes: tuple[str, ...]
    to_come: tuple[tuple[int, date, int], ...]


def about_part(sku: str) -> str:
    """What the photographs of a part are kept under."""
    return f"part:{sku}"


def digest_of(*parts: Part) -> str:
    """A text that is another one as soon as anything of these parts is: a form says by it what it was shown with."""
    plain = [(replace(part, gear=None), sorted(part.gear.measures.items())) for part in parts]  # type: ignore[arg-type]
    return shown_digest(plain)


def typed_of(part: Part) -> dict[str, str]:
    """A part as it would be typed, under the names of its file's columns; whether it is sold is always said."""
    return {**cells_of(part, {}), "sold": "yes" if part.sold else "no"}


def columns_of(slot: str) -> tuple[tuple[str, str, bool], ...]:
    """The columns of a slot's file but its pieces on hand: each with its name, what is accepted, whether it may be blank."""
    columns = part_columns(file_of(slot))
    return tuple((one.name, one.accepted, one.may_be_blank) for one in columns if one.name not in ("on_hand", "slot"))


def all_listed(work: Work) -> tuple[Listed, ...]:
    """All parts as they stand today."""
    held = load_held(work.session, work.now)
    return list_parts(work.catalogue, load_on_hand(work.session), held, work.today)


def part_listed(work: Work, sku: str) -> Listed:
    """A part as it stands today; raises `NotFound`."""
    part = part_of(work, sku)
    on_hand = load_on_hand(work.session).get(sku, 0)
    held = load_held(work.session, work.now).get(sku, 0)
    return listed_as(part, work.catalogue, on_hand, held, work.today)


def part_of(work: Work, sku: str) -> Part:
    """A part by its SKU, retired or not; raises `NotFound`."""
    part = work.catalogue.parts.get(sku)
    if part is None:
        raise NotFound("sku", NO_PART)
    return part


def where_it_stands(work: Work, sku: str) -> Stands:
    """A part's ledger, what it is held for, and what is to come of it."""
    newest = newest_change(work.session, sku)
    deliveries = load_deliveries(work.session, ended=False, most=MOST_DELIVERIES)
    return Stands(
        booked=tuple(load_booked(work.session, sku, MOST_BOOKED)),
        newest=newest.number if newest else 0,
        codes=tuple(one.code for one in load_open_holds(work.session, work.now) if sku in one.hold.skus),
        to_come=tuple((one.id, one.due_about, one.to_come) for one in deliveries if one.sku == sku),
    )


def change_part(work: Work, sku: str, cells: Mapping[str, str], shown: str) -> tuple[Part, Verdict | None]:
    """Change fields of a part, named as the columns of its file; those left out stay. The part, and what its markdown may be called.

    `shown` is the digest of the part as the form showed it. A new markdown without a day begins today. Raises `NotFound`,
    `InvalidInput` at the fields, and `Conflict` where the part has changed meanwhile.
    """
    before, after, verdict = read_change(work, sku, cells, shown)
    change_parts(work, [after], kind="edit", about=change_words(before, after, *words_in(work)), shown={sku: before})
    return after, verdict


def read_change(work: Work, sku: str, cells: Mapping[str, str], shown: str) -> tuple[Part, Part, Verdict | None]:
    """A part as it is, as it would be, and what its markdown may be called then; nothing is changed. Raises as `change_part`."""
    before = _unmoved(work, sku, shown)
    given = _with_day(before, {**cells_of(before, {}), **cells, "sku": sku}, work.today)
    after, verdict = _read(work, before.slot, given, before)
    return before, replace(after, retired=before.retired), verdict


def add_part(work: Work, slot: str, cells: Mapping[str, str]) -> Part:
    """Add a part; raises `InvalidInput` at the fields, also where its SKU is another's."""
    sku = cells.get("sku", "")
    faults = []
    other = work.catalogue.parts.get(sku) or work.catalogue.sets.get(sku)
    if other is not None:
        faults.append(Fault("sku", f"{sku} is used already, for {other.name}.", "each SKU once"))
    try:
        part, _ = _read(work, slot, _with_day(None, cells, work.today), None)
    except InvalidInput as error:
        raise InvalidInput([*faults, *error.faults]) from error
    if faults:
        raise InvalidInput(faults)
    change_parts(work, [part], kind="edit", about=f"{part.name}: new, a {SLOT_WORDS[part.slot]}")
    return part


def retire_part(work: Work, sku: str, shown: str) -> Part:
    """Take a part off the list for good; its record, stock and quotes stay. Raises `NotFound` and `Conflict`."""
    before = _unmoved(work, sku, shown)
    after = replace(before, retired=True)
    change_parts(work, [after], kind="retire", about=f"{before.name}: retired", shown={sku: before})
    return after


def bring_back_part(work: Work, sku: str, shown: str) -> Part:
    """Put a retired part on the list again; raises `NotFound`, `Conflict`, and `InvalidInput` where its GTIN is another's by now."""
    before = _unmoved(work, sku, shown)
    _, faults = read_part(before.slot, cells_of(before, {}), work.catalogue)
    taken = [fault for fault in faults if fault.field == "gtin"]
    if taken:
        raise InvalidInput(taken)
    after = replace(before, retired=False)
    change_parts(work, [after], kind="edit", about=f"{before.name}: brought back", shown={sku: before})
    return after


def make_it_the_price(work: Work, sku: str, shown: str) -> Part:
    """Make a part's markdown its plain price, so that nothing need be said of a reduction; raises `NotFound` and `Conflict`."""
    before = _unmoved(work, sku, shown)
    if before.markdown is None:
        return before
    after = replace(before, price=before.markdown.price, markdown=None)
    change_parts(work, [after], kind="edit", about=change_words(before, after, *words_in(work)), shown={sku: before})
    return after


def book_stock(work: Work, sku: str, kind: MovementKind, pieces: int, why: str, shown: int) -> Movement | None:
    """Book by hand what happened to a part; a count takes what was found. None where nothing was to be booked.

    `shown` is the number of the newest entry that the form was shown with. The same form sent twice books once; raises `Conflict`
    where something else was booked meanwhile, `NotFound`, and `InvalidInput` at the fields.
    """
    part_of(work, sku)
    refuse_unreadable(why)
    lock_parts(work.session, [sku])
    newest = newest_change(work.session, sku)
    if (newest.number if newest else 0) != shown:
        if newest is not None and _is_this(newest, work, kind, pieces, why):
            return newest.movement
        raise Conflict([Fault("kind", LEDGER_MOVED)])
    return book_movement(work, sku, kind, pieces, why)


def refuse_unreadable(why: str) -> None:
    """Raise `InvalidInput` where a reason for the ledger is too long or has signs that cannot be shown."""
    if len(why) > LONGEST_WHY or not why.isprintable():
        raise InvalidInput([Fault("why", "This reason is not accepted.", f"text of at most {LONGEST_WHY} characters")])


def _is_this(newest: Booked, work: Work, kind: MovementKind, pieces: int, why: str) -> bool:
    """Whether the newest entry is what a form says, by the same hand."""
    movement = newest.movement
    if (movement.kind, movement.why, newest.by) != (kind, why, work.actor):
        return False
    found = load_on_hand(work.session).get(movement.sku, 0)
    return found == pieces if kind == "count" else movement.pieces == pieces


def change_photos(work: Work, sku: str, photos: Sequence[Photo], drop: Sequence[str]) -> None:
    """Keep further photographs of a part and delete others; raises `NotFound`, and `InvalidInput` where they are too many."""
    part_of(work, sku)
    about = about_part(sku)
    there = photos_of(work, about)
    kept = [photo for photo in there if photo.token not in drop]
    if len(kept) + len(photos) > MOST_PHOTOS:
        words = f"{len(kept)} photographs are kept, and these are {len(photos)} more."
        raise InvalidInput([Fault("photos", words, f"at most {MOST_PHOTOS} in all")])
    for photo in there:
        if photo.token in drop:
            drop_photo(work, about, photo.token)
    keep_photos(work, about, photos)
    work.note_deed(f"changed the photographs of {sku}")
    work.commit()


def words_in(work: Work) -> tuple[Callable[[Cents], str], Callable[[date], str]]:
    """How amounts and days are written in sentences about prices."""
    terms = work.catalogue.policy.shop
    return lambda cents: money_in_words(cents, terms.currency, terms.locale), day_in_words


def _unmoved(work: Work, sku: str, shown: str) -> Part:
    part = part_of(work, sku)
    if digest_of(part) != shown:
        raise Conflict([Fault("sku", f"{sku}: {MOVED}", "the part as it is now")])
    return part


def _with_day(before: Part | None, cells: Mapping[str, str], today: date) -> Mapping[str, str]:
    """The cells, with today as the day of a markdown that was given none, unless it had none before."""
    if not cells.get("markdown_price"):
        return {**cells, "markdown_from": ""}
    was = {} if before is None else cells_of(before, {})
    is_new = cells["markdown_price"] != was.get("markdown_price")
    day = today.isoformat() if is_new else ""
    return {**cells, "markdown_from": cells.get("markdown_from") or day}


def _read(work: Work, slot: str, cells: Mapping[str, str], before: Part | None) -> tuple[Part, Verdict | None]:
    part, faults = read_part(slot, cells, work.catalogue)
    if part is None:
        raise InvalidInput(faults)
    verdict = judge_markdown(before, part, work.catalogue.history.get(part.sku, ()), work.today)
    if verdict is not None and verdict.moved:
        words = moved_words(verdict, *words_in(work))
        raise InvalidInput([Fault("markdown_from", words, f"{work.today.isoformat()} or a later day")])
    return part, verdict
