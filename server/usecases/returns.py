"""Giving back: the notice that opens a case, what it would come to, and doing it once, all of it together.

Locks are taken in the order of all verbs of a sale: the sale, lessons, pieces, parts, the series of papers last.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from server.domain.days import day_in_words
from server.domain.deposits import decimal_of
from server.domain.digests import shown_digest
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.faulty import Case, Progress, progress_of
from server.domain.periods import last_day_of
from server.domain.pieces import Piece, Source
from server.domain.quotes import Quote
from server.domain.return_rows import Worked, work_out
from server.domain.returns import (
    Around,
    Asked,
    GearIn,
    Row,
    Told,
    as_new_faults,
    may_come_back,
    told_before,
    usual_kind,
)
from server.domain.sales import Item, MarkKind, Paper, PaperLine, Sale
from server.domain.slots import SLOT_WORDS
from server.domain.stock import Movement
from server.persistence.cases import add_case, load_case, load_cases, load_open_cases, save_outcome
from server.persistence.pieces import add_piece, load_piece, pieces_from_sale, save_piece
from server.persistence.policies import load_policy
from server.persistence.sales import save_item
from server.persistence.stock import lock_parts, save_movements, take_from_hold
from server.usecases.deposits import charge_again_with
from server.usecases.kit_lessons import fees_of, free_lessons_taken
from server.usecases.reservations import let_go, reservation_of_piece, reserved, tell_let_go
from server.usecases.sales import (
    case_done_under,
    check_key,
    held_by,
    holidays_around,
    issue,
    locked_sale,
    mark,
    paper_name,
    policy_of,
    read_sale,
    settle,
    tell_owner,
)
from server.usecases.work import Work, new_token

LONGEST_TEXT = 600
MOST_CASES = 200
DONE = "done"
NO_CASE = "There is no such return or fault."
WENT_HOME = "Its owner has taken it back, so it is not for sale any more."
OTHER_SUM = "It comes to something else by now: look at it again before it is done."
TEXT_ACCEPTED = f"at most {LONGEST_TEXT} characters"
WHY_ACCEPTED = f"a reason of 1 to {LONGEST_TEXT} characters"


@dataclass(frozen=True)
class OpenCase:
    """A case with its sale and how far it has come."""

    case: Case
    sale: Sale
    progress: Progress


def around_of(work: Work, sale: Sale) -> Around:
    """What stands around a sale today: its policy, holidays, its lessons and old gear, and what plain delivery cost then."""
    made = sale.done("confirmed")
    return Around(
        policy=policy_of(work, sale),
        today=work.today,
        holidays=holidays_around(work, sale),
        fees=fees_of(work, sale),
        free_taken=free_lessons_taken(sale),
        gear=tuple(_gear_in(piece) for piece in pieces_from_sale(work.session, sale.id) if _is_taken_in(piece)),
        plain_delivery=made.about.get("plain_delivery") if made is not None else None,
    )


def _is_taken_in(piece: Piece) -> bool:
    return piece.source == "trade_in" and piece.state != "given_back"


def _gear_in(piece: Piece) -> GearIn:
    word = SLOT_WORDS.get(piece.slot, piece.slot)
    label = f"Old {word}" + (f", {piece.name}" if piece.name else "")
    where = {"expected": "expected", "sold": "sold", "scrapped": "scrapped"}.get(piece.state, "here")
    return GearIn(piece.id, label, piece.bought, where)  # type: ignore[arg-type]


def digest_of(worked: Worked) -> str:
    """A short text that is another one as soon as a return comes to something else."""
    return shown_digest((worked.rows, worked.lines, worked.settlements, sorted(worked.gone.items())))


def preview_return(work: Work, sale: Sale, asked: Asked) -> Worked:
    """What giving something back would come to today; writes nothing."""
    return work_out(sale, asked, around_of(work, sale))


def told_of_quote(work: Work, quote: Quote) -> Told:
    """What is told before the purchase about giving back the parts of a quote, under the policy that it was made with."""
    now = work.catalogue.policy
    policy = now if now.version == quote.policy_version else load_policy(work.session, quote.policy_version)
    return told_before(policy.sales, quote.kit.price.lines)


# The notice.


def give_notice(
    work: Work, number: int, items: Collection[int], text: str, key: str, notice_on: date | None = None
) -> Case:
    """Open a case for what a customer says they give back, once for each form and each thing, and acknowledge it.

    Whoever says it in time has kept the right, whatever is worked out later; after the last day it is kept as a question to the
    shop. Without a day it is today. Raises `InvalidInput` with every fault, `NotFound`.
    """
    check_key(key)
    sale = locked_sale(work, number)
    done = case_done_under(sale, key)
    if done is not None:
        return read_case(work, done)
    day = notice_on or work.today
    faults = []
    named = [item for item in sale.items if item.number in items and may_come_back(item)]
    if not named or len(named) != len(set(items)):
        faults.append(Fault("take", "What is given back? Nothing is ticked that can be.", "at least one thing"))
    told = {item: case for case in load_cases(work.session, sale.id) if case.is_waiting for item in case.items}
    fresh = [item for item in named if item.number not in told]
    if named and not fresh:
        words = f"We have your notice of {day_in_words(told[named[0].number].notice_on)} for this already: it counts."
        faults.append(Fault("take", words, "something that was not named yet"))
    if len(text) > LONGEST_TEXT or not text.replace("\r", "").replace("\n", "").isprintable():
        faults.append(Fault("text", "This text cannot be kept.", TEXT_ACCEPTED))
    if not sale.made_on <= day <= work.today:
        accepted = f"a day from {sale.made_on.isoformat()} to {work.today.isoformat()}"
        faults.append(Fault("notice_on", "They cannot have told us on this day.", accepted))
    if faults:
        raise InvalidInput(faults)
    numbers = [item.number for item in fresh]
    case = _opened(work, sale, day, {"kind": usual_kind(sale), "items": numbers, "text": text.strip()})
    mark(work, sale.id, "notice", key, text.strip(), {"case": case.id, "items": numbers, "on": day.isoformat()})
    _tell_notice(work, sale, case, fresh)
    work.commit()
    return case


def _opened(work: Work, sale: Sale, day: date, record: Mapping[str, Any]) -> Case:
    due = last_day_of(day, policy_of(work, sale).sales.refund_days, holidays_around(work, sale))
    case = Case(0, sale.id, "return", day, record, due, opened_by=work.actor)
    return replace(case, id=add_case(work.session, case, work.now, work.actor))


def _tell_notice(work: Work, sale: Sale, case: Case, items: Iterable[Item]) -> None:
    assert case.due_on is not None
    tell_owner(
        work,
        sale,
        "notice_received",
        {
            "day": day_in_words(case.notice_on),
            "items": "\n".join(item.label for item in items),
            "due": day_in_words(case.due_on),
        },
    )


def read_case(work: Work, number: int) -> Case:
    """A case by its number; raises `NotFound`."""
    case = load_case(work.session, number)
    if case is None:
        raise NotFound("case", NO_CASE)
    return case


def cases_of(work: Work, sale: Sale) -> list[Case]:
    """The cases of a sale, oldest first."""
    return load_cases(work.session, sale.id)


def list_open_cases(work: Work) -> list[OpenCase]:
    """The cases that are not settled, those first whose money is due first."""
    found = []
    for case in load_open_cases(work.session, MOST_CASES):
        sale = read_sale(work, case.sale)
        found.append(OpenCase(case, sale, progress_of(case, sale.marks)))
    return found


def close_case(work: Work, number: int, why: str, key: str) -> Case:
    """Settle a case with a word on why nothing more is to be done: taken back, or all of it is done; once for each form.

    Raises `NotFound`, `InvalidInput` without a reason, or `Conflict` for a return that was done and is still owed.
    """
    check_key(key)
    sale = locked_sale(work, read_case(work, number).sale)
    case = read_case(work, number)
    if case.is_settled or sale.done_under(key) is not None:
        return case
    if not 0 < len(why.strip()) <= LONGEST_TEXT or not why.strip().isprintable():
        raise InvalidInput([Fault("why", "Say why, in a few words.", WHY_ACCEPTED)])
    if case.kind == "return" and case.outcome and sale.owed < 0:
        raise Conflict([Fault("case", "The customer is still owed money for this: pay it out first.")])
    kind: MarkKind = "notice" if case.kind == "return" else "fault"
    mark(work, sale.id, kind, key, why.strip(), {"case": case.id, "closed": True})
    save_outcome(work.session, case.id, why.strip(), case.due_on, work.now)
    work.commit()
    return read_case(work, number)


# Doing it.


def take_back(work: Work, number: int, asked: Asked, as_new: Collection[int], digest: str, key: str) -> Sale:
    """Take back what is asked for, as it was shown (`digest`), in one transaction and once for each form.

    It writes the credit note, what settles beside it, where the things are now, and what was done; what came back goes to the used
    pieces to be looked at, or with its number in `as_new` to the stock. The money is paid out later. Raises `NotFound`,
    `InvalidInput` with every reason, or `Conflict` where it comes to something else by now.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    asked = replace(asked, why=" ".join(asked.why.split()))
    worked = preview_return(work, sale, asked)
    refusals = [*worked.refusals, *as_new_faults(asked, as_new)]
    if len(asked.why) > LONGEST_TEXT or not asked.why.isprintable():
        refusals.append(Fault("why", "This text cannot be kept.", TEXT_ACCEPTED))
    if refusals:
        raise InvalidInput(refusals)
    if digest != digest_of(worked):
        raise Conflict([Fault("digest", OTHER_SUM)])
    why = asked.why or "given back"
    charged = charge_again_with(work, sale.code, worked.charged_again, why)
    if sum(entry.amount for entry in charged) != -sum(
        amount for means, amount, _ in worked.settlements if means == "lesson_fee"
    ):
        raise Conflict([Fault("digest", OTHER_SUM)])
    _hand_back_gear(work, worked)
    _move_goods(work, sale, asked, worked, as_new)
    for means, amount, note in worked.settlements:
        sale = settle(work, sale, means, amount, note, checked=False)
    case, others = _cases_for(work, sale, asked, worked)
    about: dict[str, Any] = {"kind": asked.kind, "items": sorted(worked.gone), "total": worked.total, "case": case.id}
    if asked.kind == "fault":
        about |= _fault_of(work, sale, asked)
    kind: MarkKind = "withdrawn" if set(worked.gone.values()) == {"withdrawn"} else "returned"
    mark(work, sale.id, kind, key, why, about)
    words = f"took back {len(asked.coming)} of sale {sale.id}, {decimal_of(worked.total)} to the customer"
    work.note_deed(words)
    _tell_done(work, sale, worked.rows)
    if worked.lines:
        gross = sum(line.gross for line in worked.lines)
        invoices = invoices_of(sale, worked.lines)
        corrects = invoices[0].number if invoices else None
        if len(invoices) > 1:
            why += f" (also for {', '.join(paper_name(work, one) for one in invoices[1:])})"
        sale = issue(work, sale, "credit_note" if gross <= 0 else "invoice", worked.lines, why=why, corrects=corrects)
    sale = read_sale(work, sale.id)
    for one in (case, *others):
        save_outcome(work.session, one.id, DONE, one.due_on, None if sale.owed < 0 else work.now)
    work.commit()
    return sale


def first_invoice(sale: Sale) -> Paper | None:
    """The invoice of the contract, which credit notes name."""
    return next((paper for paper in sale.papers if paper.kind == "invoice"), None)


def invoices_of(sale: Sale, lines: Iterable[PaperLine]) -> tuple[Paper, ...]:
    """The invoices on which stands what some lines credit, oldest first; the contract's where none of them names an item."""
    numbers = {line.item for line in lines if line.gross < 0 and line.item is not None}
    papers = [paper for paper in sale.papers if paper.kind == "invoice"]
    found = []
    for paper in papers:
        here = {line.item for line in paper.lines} & numbers
        if here:
            found.append(paper)
            numbers -= here
    return tuple(found or papers[:1])


def _hand_back_gear(work: Work, worked: Worked) -> None:
    """Old gear goes home, and who had it set aside is told; what was sold on while this was worked out cannot."""
    for number in worked.gear_back:
        piece = load_piece(work.session, number, to_change=True)
        if piece is None or piece.state in ("sold", "scrapped", "given_back"):
            raise Conflict([Fault("digest", OTHER_SUM)])
        one = reservation_of_piece(work, number)
        if one is not None:
            what = reserved(work, one)
            let_go(work, one, WENT_HOME)
            tell_let_go(work, what, WENT_HOME)
        save_piece(work.session, replace(piece, state="given_back"), work.now)


def _move_goods(work: Work, sale: Sale, asked: Asked, worked: Worked, as_new: Collection[int]) -> None:
    """Where each thing is now: let go of where it was only set aside, else to the used pieces or the stock."""
    going = [item for item in sale.items if item.number in worked.gone]
    used = {one.number for one in asked.coming if one.wear_percent}
    coming = {one.number for one in asked.coming}
    for item in going:
        is_looked_at = item.number in coming and (item.number not in as_new or item.piece is not None)
        if item.is_goods and not item.is_held and is_looked_at:
            if asked.kind == "fault":
                to_pieces(work, sale, item, condition="poor", note="Came back as faulty.")
            else:
                to_pieces(work, sale, item, condition="good" if item.number in used else "like_new")
    lock_parts(work.session, (item.sku for item in going if item.is_goods and item.piece is None))
    hold = held_by(work, sale)
    for item in going:
        if item.is_held and hold is not None:
            take_from_hold(work.session, hold, item.sku, "release", work.now, work.actor, f"sale {sale.id} given back")
        elif item.is_goods and item.piece is None and item.number in as_new and item.was_out:
            movement = Movement(item.sku, "returned", 1, f"sale {sale.id}, as new")
            save_movements(work.session, [movement], work.now, work.actor)
        gone = replace(item, is_held=False, gone=worked.gone[item.number], gone_on=work.today)
        save_item(work.session, sale.id, gone)


def to_pieces(
    work: Work, sale: Sale, item: Item, *, condition: str, source: Source = "returned", note: str = ""
) -> None:
    """What came back becomes a used piece to be looked at; a used piece that was sold is one again, for sale if it never left."""
    if item.piece is not None:
        piece = load_piece(work.session, item.piece, to_change=True)
        if piece is not None:
            save_piece(work.session, replace(piece, state="to_inspect" if item.was_out else "for_sale"), work.now)
        return
    if not item.was_out:
        return
    part = work.catalogue.parts.get(item.sku)
    came = Piece(
        id=0,
        token=new_token(),
        source=source,
        state="to_inspect",
        slot=item.slot,
        name=item.label,
        maker=part.maker if part else "",
        condition=condition,
        bought=max(0, item.charged),
        scheme="standard",
        percent=item.percent,
        sku=item.sku,
        serial=item.serial,
        measures=dict(part.gear.measures) if part else None,
        note=note,
        from_sale=sale.id,
        from_item=item.number,
    )
    add_piece(work.session, came, work.now, work.actor)


def _cases_for(work: Work, sale: Sale, asked: Asked, worked: Worked) -> tuple[Case, list[Case]]:
    """The notice that this settles and others that it settles with it, each with the day by which its money is due.

    A notice is settled once all that it named is gone; where none is, a case of its own keeps what is owed on the list until it is
    paid. A day that money was due by before is never moved to a later one.
    """
    waiting = [case for case in load_cases(work.session, sale.id) if case.is_waiting]
    about = [case for case in waiting if any(number in case.items for number in worked.gone)]
    gone = {item.number for item in sale.items if item.gone}.union(worked.gone)
    settled = [case for case in about if gone.issuperset(case.items)]
    due = min(day for day in (worked.due_on, *(case.due_on for case in about)) if day is not None)
    if settled:
        return replace(settled[0], due_on=due), settled[1:]
    record = {"kind": asked.kind, "items": [one.number for one in asked.coming], "text": asked.why}
    return replace(_opened(work, sale, asked.notice_on, record), due_on=due), []


def _fault_of(work: Work, sale: Sale, asked: Asked) -> dict[str, Any]:
    """The fault that a price given back settles, so that its case tells the remedy."""
    coming = {one.number for one in asked.coming}
    for case in load_cases(work.session, sale.id):
        if case.kind == "fault" and not case.is_settled and coming.intersection(case.items):
            return {"case": case.id, "remedy": "refund"}
    return {}


def _tell_done(work: Work, sale: Sale, rows: Iterable[Row]) -> None:
    rows = tuple(rows)
    tell_owner(
        work,
        sale,
        "return_done",
        {
            "lines": "\n".join(f"{row.label}: {decimal_of(row.amount)}" for row in rows),
            "total": decimal_of(sum(row.amount for row in rows)),
        },
    )
