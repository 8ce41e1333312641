"""Setting parts aside for a quote so that no piece is ever promised twice, and booking what happens to stock."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress

from server.domain.catalogue import Part, Shelf
from server.domain.codes import spaced_code
from server.domain.days import moment_in_words
from server.domain.errors import Fault, InvalidInput, Lapsed, NeedsTheShop, NotFound, NotFree, Outdated, TooMany
from server.domain.kits import size_words
from server.domain.pricing import Line
from server.domain.quotes import Quote, QuotedPart
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, SLOT_WORDS
from server.domain.stock import (
    BY_HAND,
    MOST_OPEN_HOLDS,
    Contact,
    Hold,
    Movement,
    MovementKind,
    OpenHold,
    confirmed_until,
    counted,
    unconfirmed_until,
)
from server.persistence.stock import (
    contact_of,
    end_hold,
    extend_hold,
    lapsed_holds,
    load_on_hand,
    load_open_holds,
    lock_contact,
    lock_parts,
    open_hold_of,
    open_holds_for,
    save_hold,
    save_movements,
)
from server.usecases.fit import deposit_today, fitter_for
from server.usecases.messages import tell
from server.usecases.quotes import locked_quote, refuse_settled
from server.usecases.work import Work


def agree_to_quote(work: Work, token: str, contact: Contact, revision: int) -> tuple[Quote, Hold]:
    """Ask to hold the parts of a quote's newest revision: all of them or none, in one transaction.

    A request, not yet a contract; it expires after the policy's hours unless the shop confirms it. Agreeing again while
    the hold is open changes nothing. Raises `NotFound`, `Outdated`, `Lapsed`, `NeedsTheShop`, `TooMany`, `NotFree`, or `Conflict`
    for a quote that was bought or withdrawn.
    """
    quote = locked_quote(work, token)
    hold = set_aside(work, quote, contact, revision)
    work.commit()
    return quote, hold


def set_aside(work: Work, quote: Quote, contact: Contact, revision: int) -> Hold:
    """As `agree_to_quote`, for a quote that is locked, as a part of something larger that is committed together."""
    token = quote.token
    refuse_settled(work, token)
    if revision != quote.revision:
        words = (
            f"This is revision {revision}; the newest is revision {quote.revision}. Look at it and agree to that one."
        )
        raise Outdated([Fault("revision", words, str(quote.revision))])
    there = open_hold_of(work.session, token, work.now, to_change=True)
    if there is not None and there.revision == revision:
        return there
    if quote.state_on(work.today) == "lapsed":
        raise Lapsed(f"The price was good until {quote.valid_until.isoformat()}: go through the answers again.")
    if quote.talk_first is not None:
        raise NeedsTheShop([quote.talk_first])
    if there is not None:
        end_hold(work.session, there.id, work.now, "replaced by a newer revision", work.actor)
        work.session.flush()
    lock_contact(work.session, contact)
    if open_holds_for(work.session, contact, work.now) >= MOST_OPEN_HOLDS:
        raise TooMany(
            "email" if contact.email else "phone",
            f"There are {MOST_OPEN_HOLDS} requests open under this address or number already. Take one back, or call us.",
            f"at most {MOST_OPEN_HOLDS} open requests",
        )
    skus = _skus_to_hold(work, quote)
    hold = Hold(
        id=0,
        revision=revision,
        skus=skus,
        made_at=work.now,
        expires_at=unconfirmed_until(work.now, work.catalogue.policy),
        deposit_back=deposit_today(work, quote),
    )
    return save_hold(work.session, token, contact, hold, skus, work.actor)


def _skus_to_hold(work: Work, quote: Quote) -> tuple[str, ...]:
    """The parts to set aside: every core part, and the extras that are free (an extra that is not follows)."""
    lines = [line for line in quote.kit.price.lines if line.slot in CORE_SLOTS + EXTRA_SLOTS]
    lock_parts(work.session, (line.sku for line in lines))
    shelf = work.shelf
    gone = [line.slot for line in lines if line.is_core and not _is_free(shelf, line)]
    if gone:
        raise NotFree(_gone(work, quote, gone))
    return tuple(line.sku for line in lines if _is_free(shelf, line))


def _is_free(shelf: Shelf, line: Line) -> bool:
    part = shelf.catalogue.parts.get(line.sku)
    return part is not None and part.slot == line.slot and shelf.is_free(part)


def _gone(work: Work, quote: Quote, slots: Sequence[str]) -> list[Fault]:
    """A fault for each part that is gone, naming the nearest in stock that suits this learner and fits the rest."""
    listed = work.catalogue.parts
    bought = {slot: listed[part.sku] for slot, part in quote.kit.parts.items() if part.sku in listed}
    instead: dict[str, Part] = {}
    with suppress(InvalidInput):  # An answer may hold no longer; then the learner goes through them again.
        fitter = fitter_for(work, quote.answers)
        instead = fitter.in_place_of(bought, [slot for slot in slots if slot in bought])
    return [_gone_fault(quote.kit.parts[slot], instead.get(slot)) for slot in slots]


def _gone_fault(part: QuotedPart, instead: Part | None) -> Fault:
    words = f"{part.name} ({part.sku}) is gone."
    if instead is None:
        words += f" No other {SLOT_WORDS[part.slot]} in stock suits you and fits the rest: change your answers or talk to us."
    else:
        words += f" The nearest in stock is {instead.name} ({instead.sku}), {size_words(instead.gear)}."
    return Fault("skus", words, "a part in stock")


def list_open_holds(work: Work) -> list[OpenHold]:
    """The holds that are open now, those first that expire first."""
    return load_open_holds(work.session, work.now)


def open_hold(work: Work, token: str) -> Hold | None:
    """The hold of a quote that is open now, or None."""
    return open_hold_of(work.session, token, work.now)


def confirm_hold(work: Work, token: str) -> Hold:
    """The shop confirms a request: the parts stay aside for the policy's days, and who asked is told, once.

    Raises `NotFound` where none is open, and `Conflict` where the parts were bought already.
    """
    quote = locked_quote(work, token)
    refuse_settled(work, token)
    hold = _open_hold(work, token)
    if not hold.is_confirmed:
        hold = extend_hold(
            work.session, hold.id, work.now, confirmed_until(work.now, work.catalogue.policy), work.actor
        )
        _tell_confirmed(work, quote, hold)
        work.note_deed(f"confirmed the hold of quote {quote.code}")
    work.commit()
    return hold


def _tell_confirmed(work: Work, quote: Quote, hold: Hold) -> None:
    contact = contact_of(work.session, quote.token)
    if contact is None:
        return
    local = hold.expires_at.astimezone(work.zone)
    tell(
        work,
        "hold_confirmed",
        to_name=contact.name,
        to_email=contact.email,
        about=f"quote:{quote.token}",
        values={
            "code": spaced_code(quote.code),
            "link": f"/quotes/{quote.token}",
            "until": moment_in_words(local),
        },
    )


def release_hold(work: Work, token: str, because: str) -> Hold:
    """Take a request back, so that its parts are free again.

    Raises `NotFound` where none is open, and `Conflict` where the parts were bought: then they are given back, not let go of.
    """
    quote = locked_quote(work, token)
    refuse_settled(work, token)
    hold = _open_hold(work, token)
    end_hold(work.session, hold.id, work.now, because, work.actor)
    work.note_deed(f"let go of the hold of quote {quote.code}")
    work.commit()
    return hold


def _open_hold(work: Work, token: str) -> Hold:
    hold = open_hold_of(work.session, token, work.now, to_change=True)
    if hold is None:
        raise NotFound("token", "No request to hold is open for this quote.")
    return hold


def book_movement(work: Work, sku: str, kind: MovementKind, pieces: int, why: str) -> Movement | None:
    """Book what happened to a part by hand; a count takes what was found and books the difference (None: it agrees).

    Raises `InvalidInput` for an unknown SKU, for a kind that is not booked by hand, or for pieces out of range.
    """
    faults = []
    if sku not in work.catalogue.parts:
        faults.append(Fault("sku", "The catalogue has no such SKU.", "a SKU of the catalogue"))
    if kind not in BY_HAND:
        faults.append(Fault("kind", "This is not booked by hand.", "one of: " + ", ".join(BY_HAND)))
    if not (0 if kind == "count" else 1) <= pieces <= 1_000_000:
        faults.append(
            Fault("pieces", "This is not a number of pieces.", "a whole number, 1 or more (a count: 0 or more)")
        )
    if faults:
        raise InvalidInput(faults)
    lock_parts(work.session, [sku])
    before = load_on_hand(work.session).get(sku, 0)
    movement = counted(sku, before, pieces, why) if kind == "count" else Movement(sku, kind, pieces, why)
    if movement is not None and before + movement.change < 0:
        raise InvalidInput([Fault("pieces", f"Only {before} are on hand.", f"at most {before}")])
    if movement is not None:
        save_movements(work.session, [movement], work.now, work.actor)
        work.note_deed(f"booked {movement.change:+d} of {sku} by hand: {kind.replace('_', ' ')}")
    work.commit()
    return movement


def release_lapsed(work: Work) -> int:
    """Write the release of holds that have expired into the ledger; they were free by the clock already. It does not commit."""
    lapsed = lapsed_holds(work.session, work.now)
    for hold_id in lapsed:
        end_hold(work.session, hold_id, work.now, "expired", work.actor)
    return len(lapsed)
