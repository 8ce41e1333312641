"""Faulty goods at the desk: what is wrong, what was done for the customer, and the claim to the maker, step by step."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.faulty import CLAIM_WORDS, Case, Progress, guarantee_of
from server.domain.lessons import read_day
from server.domain.sales import Sale
from server.usecases.faulty import Done, ToMaker, claim_fault, progress, remedy_fault, report_fault
from server.usecases.returns import cases_of, close_case, read_case
from server.usecases.sales import policy_of, read_sale
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.desk import when_words
from server.web.pages.forms import AMOUNT, Form, TypedForm, cents, text_in
from server.web.render import day_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

REPORT_FIELDS = ("item", "text", "noticed_on")
DONE_FIELDS = ("remedy", "serial", "has_none", "old", "why")
CLAIM_FIELDS = ("claim", "reference", "credited", "claim_why")
FIELD_WORDS = {
    "item": "Which thing",
    "text": "What is wrong",
    "noticed_on": "When it was noticed",
    "remedy": "What was done",
    "serial": "Serial number of the new one",
    "old": "Where the old one went",
    "why": "In a few words",
    "claim": "How the claim stands",
    "reference": "Their reference",
    "credited": "What they credit",
    "claim_why": "What they say",
    "closing": "Why it is settled",
}
REMEDY_CHOICES = (
    ("repair", "Repaired"),
    ("replacement", "Replaced by a new one"),
    ("none", "Looked at: nothing to do"),
)
OLD_CHOICES = (("maker", "to the maker"), ("scrapped", "scrapped"))


@dataclass(frozen=True, slots=True)
class StepShown:
    """A step in words: when, by whom, what, and why."""

    when: str
    by: str
    says: str
    why: str


@dataclass(frozen=True, slots=True)
class FaultShown:
    """A faulty thing in words, how far it has come, and what can be done with it now."""

    id: int
    what: str
    serial: str
    text: str
    since: str
    says: str
    warranty: str
    is_settled: bool
    outcome: str
    has_remedy: bool
    claim: str
    may_answer: bool
    may_settle: bool
    steps: tuple[StepShown, ...]
    price_back: str


@dataclass(frozen=True)
class FaultPage(TypedForm):
    """The faults of a sale: the one that was chosen, the others, and the form for a new one."""

    number: int
    code: str
    name: str
    chosen: FaultShown | None
    others: tuple[tuple[int, str], ...]
    things: tuple[tuple[str, str], ...]
    remedies: tuple[tuple[str, str], ...]
    olds: tuple[tuple[str, str], ...]
    claims: tuple[tuple[str, str], ...]
    key: str
    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()

    def words_of(self, name: str) -> str:
        """What a field is called."""
        return FIELD_WORDS.get(name, "")

    def has_fault_in(self, *names: str) -> bool:
        """Whether something is wrong in one of these fields, so that their form is unfolded."""
        return any(fault.field in names for fault in self.faults)


def _numbers(sale: Sale, case: Case, now: str) -> str:
    """The serial number of a faulty thing, and that of what it was replaced by."""
    replaced = (mark.about for mark in sale.marks if mark.kind == "fault" and mark.about.get("case") == case.id)
    before = next((str(about["old_serial"]) for about in replaced if "old_serial" in about), None)
    if before is None:
        return now
    return f"{before or 'unknown'}, replaced by no. {now}" if now else f"{before}, replaced by one without a number"


def _shown(work: Work, sale: Sale, case: Case) -> FaultShown:
    shop, terms = work.catalogue.policy.shop, policy_of(work, sale).sales
    item = sale.item(case.items[0]) if case.items else None
    noticed = read_day(str(case.record.get("noticed_on", ""))) or case.notice_on
    holds = guarantee_of(item, terms.warranty_of(item.slot), noticed) if item else None
    so_far = progress(sale, case)
    asked: dict[str, Any] = {"kind": "fault", "take": case.items[0] if case.items else "", "why": case.text}
    asked["notice_on"] = case.notice_on.isoformat()
    return FaultShown(
        id=case.id,
        what=item.label if item else "",
        serial=_numbers(sale, case, item.serial) if item else "",
        text=case.text,
        since=day_words(noticed, shop),
        says=holds.says if holds else "",
        warranty=f"Our own warranty runs until {day_words(holds.warranty_until, shop)}." if holds else "",
        is_settled=case.is_settled,
        outcome=case.outcome,
        has_remedy=so_far.remedy is not None,
        claim=CLAIM_WORDS[so_far.claim] if so_far.claim else "",
        may_answer=so_far.claim == "sent",
        may_settle=so_far.may_settle,
        steps=tuple(
            StepShown(when_words(one.mark.at, work.now, shop), one.mark.by, one.says, one.mark.why)
            for one in so_far.steps
        ),
        price_back=f"/desk/sales/{sale.id}/return?{urlencode(asked)}" if item and not item.gone else "",
    )


def _page(
    work: Work, sale: Sale, chosen: int, typed: Mapping[str, str] | None = None, faults: tuple[Fault, ...] = ()
) -> FaultPage:
    cases = [case for case in cases_of(work, sale) if case.kind == "fault"]
    opened = [case.id for case in cases if not case.is_settled]
    number = chosen or (opened[-1] if opened else 0)
    labels = {item.number: item.label for item in sale.items}

    def words(case: Case) -> str:
        what = labels.get(case.items[0], "") if case.items else ""
        return f"{what}, {day_words(case.notice_on, work.catalogue.policy.shop)}" + (
            ": settled" if case.is_settled else ""
        )

    shown = next((case for case in cases if case.id == number), None)
    so_far = progress(sale, shown) if shown is not None else Progress()
    return FaultPage(
        number=sale.id,
        code=sale.code,
        name=sale.contact.name,
        chosen=_shown(work, sale, shown) if shown else None,
        others=tuple((case.id, words(case)) for case in cases if case is not shown),
        things=tuple((str(item.number), item.label) for item in sale.goods if item.is_with_customer),
        remedies=tuple(one for one in REMEDY_CHOICES if one[0] != "replacement" or so_far.remedy != "replacement"),
        olds=OLD_CHOICES,
        claims=tuple((step, said.capitalize()) for step, said in CLAIM_WORDS.items() if so_far.claim or step == "sent"),
        key=new_token(),
        typed=typed if typed is not None else {"noticed_on": work.today.isoformat()},
        faults=faults,
    )


def _again(
    request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf, number: int, case: int, shown: _Refused
) -> Response:
    """The page again with what was typed and what is wrong."""
    with shop.reading(account.name) as work:
        page = _page(work, read_sale(work, number), case, shown.typed, shown.faults)
        return pages.show(request, "returns/fault.html", page, work.catalogue.policy.shop, status=shown.status)


@dataclass(frozen=True, slots=True)
class _Refused:
    typed: Mapping[str, str]
    faults: tuple[Fault, ...]
    status: int

    @classmethod
    def of(cls, typed: Mapping[str, str], error: InvalidInput | Conflict) -> _Refused:
        return cls(typed, error.faults, 422 if isinstance(error, InvalidInput) else 409)


@router.get("/desk/sales/{number}/fault")
def show(
    request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf, case: str = ""
) -> Response:
    """The faults of a sale, one of them unfolded: the one that was asked for, else the newest that is open."""
    chosen = int(case) if case.isascii() and case.isdigit() and len(case) <= 9 else 0
    with shop.reading(account.name) as work:
        page = _page(work, read_sale(work, number), chosen)
        return pages.show(request, "returns/fault.html", page, work.catalogue.policy.shop)


@router.post("/desk/sales/{number}/fault")
def report(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Write down that something is faulty."""
    typed = {name: text_in(form, name) for name in REPORT_FIELDS}
    item = int(typed["item"]) if typed["item"].isascii() and typed["item"].isdigit() and len(typed["item"]) < 6 else 0
    try:
        with shop.writing(account.name) as work:
            day = read_day(typed["noticed_on"])
            case = report_fault(work, number, item, typed["text"], day, text_in(form, "key"))
        return see_other(f"/desk/sales/{number}/fault?case={case.id}")
    except (InvalidInput, Conflict) as error:
        return _again(request, account, shop, pages, number, 0, _Refused.of(typed, error))


def _sale_of(shop: ShopOf, account: StaffOf, number: int) -> int:
    with shop.reading(account.name) as work:
        return read_case(work, number).sale


@router.post("/desk/cases/{number}/remedy")
def remedy(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Write down what was done for the customer."""
    sale = _sale_of(shop, account, number)
    typed = {name: text_in(form, name) for name in DONE_FIELDS}
    done = Done(typed["remedy"], typed["why"], typed["serial"], typed["old"], bool(typed["has_none"]))
    try:
        with shop.writing(account.name) as work:
            remedy_fault(work, number, done, text_in(form, "key"))
        return see_other(f"/desk/sales/{sale}/fault?case={number}")
    except (InvalidInput, Conflict) as error:
        return _again(request, account, shop, pages, sale, number, _Refused.of(typed, error))


@router.post("/desk/cases/{number}/claim")
def claim(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Write down a step of the claim to the maker."""
    sale = _sale_of(shop, account, number)
    typed = {name: text_in(form, name) for name in CLAIM_FIELDS}
    credited = cents(typed["credited"]) if typed["credited"] else 0
    try:
        if isinstance(credited, str):
            raise InvalidInput([Fault("credited", "This is no amount.", AMOUNT)])
        step = ToMaker(typed["claim"], typed["reference"], credited, typed["claim_why"])
        with shop.writing(account.name) as work:
            claim_fault(work, number, step, text_in(form, "key"))
        return see_other(f"/desk/sales/{sale}/fault?case={number}")
    except (InvalidInput, Conflict) as error:
        return _again(request, account, shop, pages, sale, number, _Refused.of(typed, error))


@router.post("/desk/cases/{number}/settle")
def settle(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Settle something faulty with a word."""
    sale = _sale_of(shop, account, number)
    typed = {"closing": text_in(form, "closing")}
    try:
        with shop.writing(account.name) as work:
            close_case(work, number, typed["closing"], text_in(form, "key"))
        return see_other("/desk/cases")
    except (InvalidInput, Conflict) as error:
        faults = tuple(
            Fault("closing" if one.field == "why" else one.field, one.message, one.accepted) for one in error.faults
        )
        status = 422 if isinstance(error, InvalidInput) else 409
        return _again(request, account, shop, pages, sale, number, _Refused(typed, faults, status))
