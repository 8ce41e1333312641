"""Something faulty: the legal guarantee, what is done about it, and the claim to the maker, which is the shop's own affair.

By Directive (EU) 2019/771 (in Ireland the Consumer Rights Act 2022) the shop answers for a fault that was there on delivery and shows
within two years; within the first it is taken to have been there. Repair or replacement come first, free of charge; local law decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Literal, get_args

from server.domain.deposits import decimal_of
from server.domain.money import Cents
from server.domain.periods import months_after
from server.domain.sales import Item, Mark

CaseKind = Literal["return", "fault"]
Remedy = Literal["repair", "replacement", "refund", "none"]
REMEDIES: tuple[Remedy, ...] = get_args(Remedy)
REMEDY_WORDS: Mapping[str, str] = {
    "repair": "repaired",
    "replacement": "replaced by a new one",
    "refund": "the price was given back",
    "none": "looked at: nothing to be done",
}
ClaimStep = Literal["sent", "accepted", "refused"]
CLAIM_STEPS: tuple[ClaimStep, ...] = get_args(ClaimStep)
CLAIM_WORDS: Mapping[str, str] = {
    "sent": "sent to the maker",
    "accepted": "the maker accepts it",
    "refused": "the maker refuses it",
}
OldOne = Literal["maker", "scrapped"]
GUARANTEE_MONTHS, PRESUMED_MONTHS = 24, 12
"""Directive (EU) 2019/771, Articles 10(1) and 11(1)."""


@dataclass(frozen=True, slots=True)
class Case:
    """A return that was given notice of, or something faulty; `record` holds its particulars as they were told.

    It is open until it is settled; `outcome` says what was done, or why it was dropped.
    """

    id: int
    sale: int
    kind: CaseKind
    notice_on: date
    record: Mapping[str, Any]
    due_on: date | None = None
    is_settled: bool = False
    outcome: str = ""
    opened_by: str = ""

    @property
    def is_waiting(self) -> bool:
        """Whether it is a notice of which nothing has come of yet."""
        return self.kind == "return" and not self.is_settled and not self.outcome

    @property
    def items(self) -> tuple[int, ...]:
        """The numbers of the items it is about."""
        return tuple(self.record.get("items", ()))

    @property
    def text(self) -> str:
        """What was said."""
        return str(self.record.get("text", ""))


@dataclass(frozen=True, slots=True)
class Guarantee:
    """The legal guarantee of an item, and the warranty the shop's policy gives beside it: last days, and what holds today."""

    until: date
    presumed_until: date
    warranty_until: date
    says: str


def guarantee_of(item: Item, warranty_months: int, noticed_on: date) -> Guarantee | None:
    """What holds for something that was noticed on a day; None where the customer never had it."""
    if item.received_on is None:
        return None
    until = months_after(item.received_on, GUARANTEE_MONTHS)
    presumed = months_after(item.received_on, PRESUMED_MONTHS)
    if noticed_on <= presumed:
        says = "Noticed within the first year: it is taken to have been faulty from the start, unless we can show otherwise."
    elif noticed_on <= until:
        says = "Noticed within two years: the legal guarantee holds; after the first year the customer may have to show it."
    else:
        says = "Noticed after two years. The law of the country may still help the customer: in Ireland claims run for six years."
    return Guarantee(until, presumed, months_after(item.received_on, warranty_months), says)


@dataclass(frozen=True, slots=True)
class Step:
    """Something that was done about a case, in words: when it was done, by whom, and why."""

    mark: Mark
    says: str


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a case has come: what was done for the customer, where the claim to the maker stands, and every step."""

    remedy: Remedy | None = None
    claim: ClaimStep | None = None
    credited: Cents = 0
    steps: tuple[Step, ...] = ()

    @property
    def may_settle(self) -> bool:
        """Whether nothing is left to be waited for: something was done for the customer, and the maker has answered if asked."""
        return self.remedy is not None and self.claim != "sent"


def progress_of(case: Case, marks: Iterable[Mark]) -> Progress:
    """A case's progress: the fold of the marks that name it."""
    remedy: Remedy | None = None
    claim: ClaimStep | None = None
    credited, steps = 0, []
    for mark in marks:
        if mark.about.get("case") != case.id:
            continue
        if mark.about.get("remedy") in REMEDIES:
            remedy = mark.about["remedy"]
            steps.append(Step(mark, _remedy_words(mark)))
        elif mark.about.get("claim") in CLAIM_STEPS:
            claim = mark.about["claim"]
            credited += int(mark.about.get("credited", 0))
            steps.append(Step(mark, _claim_words(mark)))
    return Progress(remedy, claim, credited, tuple(steps))


def _remedy_words(mark: Mark) -> str:
    words = REMEDY_WORDS[mark.about["remedy"]].capitalize()
    serial = mark.about.get("serial", "")
    return f"{words}, serial number {serial}" if serial else words


def _claim_words(mark: Mark) -> str:
    words = CLAIM_WORDS[mark.about["claim"]].capitalize()
    if mark.about.get("reference"):
        words += f", their reference {mark.about['reference']}"
    if mark.about.get("credited"):
        words += f", credits {decimal_of(mark.about['credited'])}"
    return words
