"""The whole story of a quote and of what was sold of it: what happened, when, by whom and why, each entry once and in its order."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from server.domain.changes import Change, changes_between
from server.domain.money import Cents
from server.domain.quotes import Quote
from server.domain.sales import MARK_WORDS, MEANS_WORDS, Sale
from server.domain.standing import Withdrawn
from server.domain.stock import PastHold

BY_THE_CLOCK = "the clock"


@dataclass(frozen=True, slots=True)
class Told:
    """An entry of the story: what, when, by whom, why.

    `changes` are those of a revision of this number; None for a first one, and for whatever is no revision.
    """

    what: str
    at: datetime
    by: str
    why: str = ""
    revision: int = 0
    amount: Cents | None = None
    """Of a payment, in cents; positive either way."""
    changes: tuple[Change, ...] | None = None


def told_of_revisions(revisions: Sequence[tuple[Quote, str]], most: int) -> list[Told]:
    """The newest revisions, so many at most, with what each changed; `revisions` are newest first, one more where there is one."""
    told = [
        Told(f"Revision {now.revision}", now.issued_at, by, "", now.revision, None, changes_between(before, now))
        for (now, by), (before, _) in pairwise(revisions[: most + 1])
    ]
    oldest, by = revisions[-1]
    if oldest.revision == 1:
        told.append(Told("Revision 1", oldest.issued_at, by, "", 1))
    return told


def told_of_holds(holds: Iterable[PastHold], now: datetime, sold_at: datetime | None) -> list[Told]:
    """What became of the holds: asked for, confirmed, let go of, lapsed by the clock; from the contract on, the sale tells the rest."""
    told = []
    for one in holds:
        hold = one.hold
        told.append(Told(f"Agreed to revision {hold.revision}, and its parts set aside", hold.made_at, one.asked_by))
        is_sold = sold_at is not None and (one.ended_at is None or one.ended_at >= sold_at)
        if one.confirmed_at is not None and not (is_sold and one.confirmed_at == sold_at):
            told.append(Told("The hold was confirmed", one.confirmed_at, one.confirmed_by))
        if is_sold:
            continue
        if one.ended_at is not None and one.ended_because != "expired":
            told.append(Told("The parts were let go of", one.ended_at, one.ended_by, one.ended_because))
        elif hold.expires_at <= now:
            told.append(Told("The hold lapsed, and its parts were free again", hold.expires_at, BY_THE_CLOCK))
    return told


def told_of_sale(sale: Sale) -> list[Told]:
    """What was done with a sale, as its marks have it."""
    told = []
    for mark in sale.marks:
        words, amount = MARK_WORDS[mark.kind], mark.about.get("amount")
        if mark.kind in ("payment", "paid_out", "entry_back") and isinstance(amount, int):
            means = MEANS_WORDS[mark.about["means"]]
            told.append(Told(f"{words}, {means}", mark.at, mark.by, mark.why, amount=abs(amount)))
            continue
        said = str(mark.about.get("said", ""))
        told.append(Told(f"{words}: {said}" if said else words, mark.at, mark.by, mark.why))
    return told


def whole_story(
    revisions: Sequence[Told],
    holds: Sequence[Told],
    seen: tuple[int, datetime] | None,
    lapsed_at: datetime | None,
    withdrawn: Withdrawn | None,
    sale: Sale | None,
) -> tuple[Told, ...]:
    """All of it, newest first; what happened at one moment stands as it was told, a contract after the agreement it is made of."""
    told = [*reversed(revisions)]
    if seen is not None:
        told.append(Told(f"Revision {seen[0]} was seen", seen[1], "customer"))
    told += holds
    if lapsed_at is not None and sale is None and withdrawn is None:
        told.append(Told("The price was good until then", lapsed_at, BY_THE_CLOCK))
    if withdrawn is not None:
        told.append(Told("The quote was withdrawn", withdrawn.at, withdrawn.by, withdrawn.because))
    if sale is not None:
        told += told_of_sale(sale)
    told.sort(key=lambda one: one.at)
    return tuple(reversed(told))
