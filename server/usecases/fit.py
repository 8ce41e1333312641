"""Reading answers, and putting kits together for them before the shelf of today."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from server.domain.agreed import NOTHING_AGREED, Agreed, bounds_of, fitting_digest
from server.domain.codes import read_code
from server.domain.deposits import PaidLesson, decide_deposits
from server.domain.errors import Fault, InvalidInput, Unreadable
from server.domain.kits import Choice, Fitter
from server.domain.learner import SEEN, Answers, read_answers, read_sighting
from server.domain.money import Cents
from server.domain.pricing import tier_for
from server.domain.quotes import Quote
from server.persistence.deposits import load_lessons
from server.persistence.quotes import load_quote
from server.usecases.work import Work


def fitter_for(
    work: Work,
    raw: Mapping[str, Any],
    revises: str | None = None,
    agreed: Agreed = NOTHING_AGREED,
    *,
    is_bound: bool = True,
) -> Fitter:
    """The fitter for plain answers; raises `InvalidInput` with every fault, unknown deposit codes included.

    With `revises`, the token of the quote that is changed, what that quote holds is free to it. What was agreed by hand is
    held to its bounds unless it `is_bound` to none, as on the desk while it is being worked out.
    """
    raw = with_what_was_seen(work, raw, revises)
    faults: list[Fault] = []
    answers: Answers | None = None
    try:
        answers = read_answers(raw, work.catalogue)
    except InvalidInput as error:
        faults += error.faults
    lessons, unknown = paid_lessons(work, raw.get("deposit_codes"))
    faults += unknown
    if answers is None or faults:
        raise InvalidInput(faults)
    return Fitter.of(
        answers,
        work.shelf_for(revises),
        work.today,
        lessons,
        agreed,
        bounds_of(agreed, work.catalogue.policy) if is_bound and agreed.changes_price else None,
        is_vouched=bool(agreed.vouched_for) and agreed.vouched_for == fitting_digest(raw),
    )


def with_what_was_seen(work: Work, raw: Mapping[str, Any], revises: str | None) -> Mapping[str, Any]:
    """The answers with what an instructor has seen since, where they revise a quote; of two sightings the later one holds.

    A draft that was begun before the lesson knows nothing of it, and must not undo it.
    """
    if revises is None:
        return raw
    try:
        quote = load_quote(work.session, revises)
    except Unreadable:
        return raw
    kept = quote.answers.get(SEEN) if quote is not None else None
    own = raw.get(SEEN)
    if kept is None or (own is not None and read_sighting(own).seen_at >= read_sighting(kept).seen_at):
        return raw
    return {**raw, SEEN: kept}


def paid_lessons(work: Work, codes: object) -> tuple[list[PaidLesson], list[Fault]]:
    """The lessons under the codes a learner gave, each once, with a fault for each that was never issued."""
    if not isinstance(codes, (list, tuple)):
        return [], []
    faults: list[Fault] = []
    plain: dict[str, str] = {}
    for place, code in enumerate(codes):
        field = f"deposit_codes[{place}]"
        if isinstance(code, str):
            try:
                plain.setdefault(read_code(code, field), field)
            except InvalidInput as error:
                faults += error.faults
    known = load_lessons(work.session, list(plain))
    faults += [
        Fault(field, f"We know no paid lesson under {code}.", "the code on the lesson's receipt")
        for code, field in plain.items()
        if code not in known
    ]
    return [known[code] for code in plain if code in known], faults


def deposit_today(work: Work, quote: Quote) -> Cents:
    """The lesson fees that would be given back with a quote's kit if it were bought today."""
    lessons, _ = paid_lessons(work, quote.answers.get("deposit_codes"))
    policy = work.catalogue.policy
    tier = tier_for((line.slot for line in quote.kit.price.lines if line.is_core), policy)
    return decide_deposits(lessons, tier.lessons if tier else None, policy.refund_window_days, work.today).total


def choose_kits(work: Work, raw: Mapping[str, Any]) -> tuple[Fitter, Choice]:
    """The fitter for plain answers and everything it would choose."""
    fitter = fitter_for(work, raw)
    return fitter, fitter.choose()
