"""Faulty goods: what is wrong, what is done about it, and the claim to the maker, each step kept with who, when and why."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from server.domain.deposits import decimal_of
from server.domain.errors import Conflict, Fault, InvalidInput, NotFree
from server.domain.faulty import CLAIM_STEPS, REMEDIES, Case, Progress, progress_of
from server.domain.handover import needs_serial
from server.domain.pieces import Piece
from server.domain.sales import MOST_PAYMENT, Item, Sale
from server.domain.serials import faults_of_typed
from server.domain.stock import Movement
from server.persistence.cases import add_case
from server.persistence.pieces import add_piece
from server.persistence.sales import save_item
from server.persistence.stock import load_free, lock_parts, save_movements
from server.usecases.returns import LONGEST_TEXT, TEXT_ACCEPTED, WHY_ACCEPTED, read_case
from server.usecases.sales import case_done_under, check_key, locked_sale, mark
from server.usecases.work import Work, new_token

LONGEST_REFERENCE = 60
SERIAL_ACCEPTED = f"at most {LONGEST_REFERENCE} letters, figures and signs"


@dataclass(frozen=True, slots=True)
class Done:
    """What was done for the customer: the remedy, a word on it, and for a replacement the new serial number and where the old went."""

    remedy: str
    why: str = ""
    serial: str = ""
    old: str = "maker"
    has_none: bool = False
    """Whether the new one has no serial number on it."""


@dataclass(frozen=True, slots=True)
class ToMaker:
    """A step of a claim to the maker: sent or answered, their reference, what they credit in cents, and a word on it."""

    step: str
    reference: str = ""
    credited: int = 0
    why: str = ""


def _text_faults(field: str, text: str, *, is_needed: bool) -> list[Fault]:
    plain = text.strip()
    if len(plain) > LONGEST_TEXT or not plain.replace("\r", "").replace("\n", "").isprintable():
        return [Fault(field, "This text cannot be kept.", TEXT_ACCEPTED)]
    return [Fault(field, "A few words are needed here.", WHY_ACCEPTED)] if is_needed and not plain else []


def report_fault(work: Work, number: int, item_number: int, text: str, noticed_on: date | None, key: str) -> Case:
    """Open a case for something faulty, once for each form: which item, what is wrong, and since when it is known.

    Raises `NotFound`, `InvalidInput` with every fault.
    """
    check_key(key)
    sale = locked_sale(work, number)
    done = case_done_under(sale, key)
    if done is not None:
        return read_case(work, done)
    item = sale.item(item_number)
    faults = _text_faults("text", text, is_needed=True)
    if item is None or not item.is_goods or not item.is_with_customer:
        faults.insert(0, Fault("item", "Which thing is faulty? It has to be with the customer.", "one of the list"))
    if noticed_on is None or not sale.made_on <= noticed_on <= work.today:
        accepted = f"a day from {sale.made_on.isoformat()} to {work.today.isoformat()}"
        faults.append(Fault("noticed_on", "It cannot have been noticed on this day.", accepted))
    if faults or noticed_on is None:
        raise InvalidInput(faults)
    record = {"items": [item_number], "text": text.strip(), "noticed_on": noticed_on.isoformat()}
    case = Case(0, sale.id, "fault", work.today, record, opened_by=work.actor)
    case = replace(case, id=add_case(work.session, case, work.now, work.actor))
    mark(work, sale.id, "fault", key, text.strip(), {"case": case.id, "items": [item_number]})
    work.commit()
    return case


def _locked_case(work: Work, number: int) -> tuple[Sale, Case, Item]:
    sale = locked_sale(work, read_case(work, number).sale)
    case = read_case(work, number)
    item = sale.item(case.items[0]) if case.items else None
    if case.kind != "fault" or item is None:
        raise Conflict([Fault("case", "This is not about something faulty.")])
    return sale, case, item


def remedy_fault(work: Work, number: int, done: Done, key: str) -> Case:
    """Write down what was done about something faulty: repaired, replaced by a new one, or nothing; once for each form.

    A replacement keeps its place in the sale, with its own serial number: nothing is charged or credited. The new one leaves the
    stock; the old one is kept on record as scrapped or sent to the maker. A price is given back by the return itself. Raises
    `NotFound`, `InvalidInput` with every fault, `NotFree` where no new one is in stock, or `Conflict` for a case that is settled or
    was met by a replacement before.
    """
    check_key(key)
    sale, case, item = _locked_case(work, number)
    if sale.done_under(key) is not None:
        return case
    faults = _text_faults("why", done.why, is_needed=done.remedy == "none")
    if done.remedy not in REMEDIES or done.remedy == "refund":
        faults.insert(0, Fault("remedy", "What was done?", "one of the list"))
    if done.remedy == "replacement" and needs_serial(item):
        faults += faults_of_typed(done.serial.strip(), done.has_none)
    elif len(done.serial) > LONGEST_REFERENCE or not done.serial.isprintable():
        faults.append(Fault("serial", "This serial number cannot be kept.", SERIAL_ACCEPTED))
    if done.remedy == "replacement" and done.old not in ("maker", "scrapped"):
        faults.append(Fault("old", "Where did the old one go?", "to the maker, or thrown away"))
    if faults:
        raise InvalidInput(faults)
    _refuse_settled(case)
    about: dict[str, Any] = {"case": case.id, "remedy": done.remedy}
    if done.remedy == "replacement":
        if progress_of(case, sale.marks).remedy == "replacement":
            words = "This was replaced already: if the new one is faulty too, write that down first."
            raise Conflict([Fault("remedy", words)])
        if not item.is_with_customer or item.piece is not None:
            raise Conflict([Fault("remedy", "There is no second one of this: repair it, or give the price back.")])
        _replace_item(work, sale, item, done)
        about |= {"serial": done.serial.strip(), "old_serial": item.serial, "old": done.old}
        about |= {"item": item.number, "has_none": done.has_none}
    mark(work, sale.id, "fault", key, done.why.strip(), about)
    work.commit()
    return case


def _refuse_settled(case: Case) -> None:
    if case.is_settled:
        raise Conflict([Fault("case", "This is settled already.")])


def _replace_item(work: Work, sale: Sale, item: Item, done: Done) -> None:
    part = work.catalogue.parts.get(item.sku)
    old = Piece(
        id=0,
        token=new_token(),
        source="returned",
        state="scrapped" if done.old == "scrapped" else "given_back",
        slot=item.slot,
        name=item.label,
        maker=part.maker if part else "",
        condition="poor",
        bought=0,
        scheme="standard",
        percent=item.percent,
        sku=item.sku,
        serial=item.serial,
        note="Faulty, scrapped." if done.old == "scrapped" else "Faulty, sent to the maker.",
        from_sale=sale.id,
        from_item=item.number,
    )
    add_piece(work.session, old, work.now, work.actor)
    lock_parts(work.session, [item.sku])
    if load_free(work.session, work.now).get(item.sku, 0) < 1:
        raise NotFree([Fault("remedy", f"No other {item.label} is in stock.", "a repair, or the price back")])
    movement = Movement(item.sku, "handed_over", 1, f"sale {sale.id}, in place of a faulty one")
    save_movements(work.session, [movement], work.now, work.actor)
    save_item(work.session, sale.id, replace(item, serial=done.serial.strip()))
    work.note_deed(f"replaced a faulty {item.sku} in sale {sale.id}")


def claim_fault(work: Work, number: int, claim: ToMaker, key: str) -> Case:
    """Write down a step of the claim to the maker: sent, accepted with what they credit, or refused; once for each form.

    What the maker credits is between the shop and the maker: it changes nothing that the customer owes. Raises `NotFound`,
    `InvalidInput` with every fault, or `Conflict` for an answer to a claim that was not sent, or for a case that is settled.
    """
    check_key(key)
    sale, case, _ = _locked_case(work, number)
    if sale.done_under(key) is not None:
        return case
    faults = _text_faults("claim_why", claim.why, is_needed=claim.step == "refused")
    if claim.step not in CLAIM_STEPS:
        faults.insert(0, Fault("claim", "How does the claim stand?", "one of: " + ", ".join(CLAIM_STEPS)))
    if len(claim.reference) > LONGEST_REFERENCE or not claim.reference.isprintable():
        faults.append(Fault("reference", "This reference cannot be kept.", SERIAL_ACCEPTED))
    if not 0 <= claim.credited <= MOST_PAYMENT or (claim.credited and claim.step != "accepted"):
        accepted = f"an amount from 0.00 to {decimal_of(MOST_PAYMENT)}, with a claim that was accepted"
        faults.append(Fault("credited", "This cannot be what the maker credits.", accepted))
    if faults:
        raise InvalidInput(faults)
    _refuse_settled(case)
    if claim.step != "sent" and progress_of(case, sale.marks).claim is None:
        raise Conflict([Fault("claim", "The claim was not sent yet: write that down first.")])
    about = {"case": case.id, "claim": claim.step, "reference": claim.reference.strip(), "credited": claim.credited}
    mark(work, sale.id, "claim", key, claim.why.strip(), about)
    work.commit()
    return case


def progress(sale: Sale, case: Case) -> Progress:
    """How far a case of a sale has come."""
    return progress_of(case, sale.marks)
