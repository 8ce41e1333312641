"""Giving back: what it comes to at the desk before it is done, the notice on the customer's own page, and what is open."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal

from fastapi import APIRouter
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.faulty import CLAIM_WORDS, REMEDY_WORDS, Case
from server.domain.lessons import read_day
from server.domain.money import Cents
from server.domain.policy import ShopTerms
from server.domain.return_rows import Worked
from server.domain.returns import (
    HELD_BACK,
    LONGER,
    RETURN_KINDS,
    RETURN_WORDS,
    Asked,
    Coming,
    Row,
    Told,
    as_new_faults,
    kept_for_use,
    last_day_for,
    may_come_back,
    told_before,
    usual_kind,
)
from server.domain.sales import CONCLUDED_WORDS, Item, Sale, charged_for
from server.usecases.returns import (
    cases_of,
    close_case,
    digest_of,
    give_notice,
    list_open_cases,
    preview_return,
    read_case,
    take_back,
)
from server.usecases.sales import holidays_around, policy_of, read_sale, sale_for
from server.usecases.work import Work, new_token
from server.web.pages.calls import RowNumber
from server.web.pages.forms import Form, TypedForm, number, text_in, texts_in
from server.web.render import day_words, see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)
desk_router = APIRouter(include_in_schema=False)

FIELD_WORDS = {
    "kind": "Why it may come back",
    "notice_on": "When they told us",
    "take": "What comes back",
    "why": "In a few words",
    "closing": "Why",
    "wear": "Kept for use",
    "fetch": "We fetch it",
    "new": "As new, back to the shelf",
}


@dataclass(frozen=True, slots=True)
class ThingShown:
    """A thing that may come back, in words; `most` is the most per cent kept for use, and `most_kept` what that is in cents."""

    number: int
    label: str
    charged: int
    note: str
    most: str
    most_kept: int
    is_bulky: bool
    was_out: bool


@dataclass(frozen=True)
class ReturnPage(TypedForm):
    """A return at the desk: what may come back, what it comes to, and the form that does it."""

    number: int
    code: str
    name: str
    how: str
    until: str
    is_over: bool
    waiting: str
    waiting_text: str
    waiting_id: int
    kinds: tuple[tuple[str, str], ...]
    things: tuple[ThingShown, ...]
    today: str
    worked: Worked | None
    due: str
    tier: str
    digest: str
    key: str
    freight: int
    left: int
    held_back: str
    carried: tuple[tuple[str, str], ...]
    typed: Mapping[str, str] = field(default_factory=dict)
    ticked: frozenset[str] = frozenset()
    faults: tuple[Fault, ...] = ()

    def has(self, name: str) -> bool:
        """Whether a box is ticked."""
        return name in self.ticked

    def may_be_new(self, number: int) -> bool:
        """Whether a thing may go back to the shelf as new: nothing faulty or worn does; a tick that was made stays to be taken out."""
        is_worn = self.value(f"wear-{number}").strip() not in ("", "0")
        return self.has(f"new-{number}") or not (is_worn or self.value("kind") == "fault")

    def words_of(self, name: str) -> str:
        """What a field is called."""
        return FIELD_WORDS.get(name.split("-")[0], "")


@dataclass(frozen=True)
class Read:
    """A return as it was typed: what is asked for where it can be read, what is as new, and what cannot be read."""

    asked: Asked
    as_new: frozenset[int]
    typed: Mapping[str, str]
    ticked: frozenset[str]
    faults: tuple[Fault, ...]


def _read(form: FormData, sale: Sale, today: date) -> Read:
    typed = {name: text_in(form, name) for name in form if name not in ("take", "key", "digest", "do")}
    taken = [int(one) for one in texts_in(form, "take") if one.isascii() and one.isdigit() and len(one) < 6]
    faults = []
    coming = []
    for item in dict.fromkeys(taken):
        text = typed.get(f"wear-{item}", "")
        wear = number(text) if text else 0.0
        if isinstance(wear, str):
            faults.append(Fault(f"wear-{item}", "This is no number of per cent.", "a number such as 10"))
            wear = 0.0
        coming.append(Coming(item, Decimal(f"{wear:g}"), bool(typed.get(f"fetch-{item}"))))
    day = read_day(typed.get("notice_on", ""))
    if day is None:
        faults.append(Fault("notice_on", "This is not a day.", "a day such as 2026-12-05"))
    kind = typed.get("kind", "")
    if kind not in RETURN_KINDS:
        faults.append(Fault("kind", "On which ground does it come back?", "one of the list"))
        kind = usual_kind(sale)
    ticked = {f"take-{item}" for item in taken}
    ticked |= {name for name in typed if name.startswith(("fetch-", "new-")) and typed[name]}
    as_new = frozenset(item for item in taken if typed.get(f"new-{item}"))
    asked = Asked(kind, day or today, tuple(coming), typed.get("why", ""))
    return Read(asked, as_new, typed, frozenset(ticked), tuple(faults))


def _waiting(cases: list[Case]) -> Case | None:
    return next((case for case in cases if case.is_waiting), None)


def _filled(sale: Sale, waiting: Case | None, today: date) -> FormData:
    """The form before anything was typed: what the customer told us, if they did."""
    fields: list[tuple[str, str | UploadFile]] = [
        ("kind", usual_kind(sale)),
        ("notice_on", (waiting.notice_on if waiting else today).isoformat()),
    ]
    here = {item.number for item in sale.items if may_come_back(item)}
    fields += [("take", str(item)) for item in (waiting.items if waiting else ()) if item in here]
    return FormData(fields)


def _thing(sale: Sale, item: Item, bulky: tuple[str, ...], wear: Decimal) -> ThingShown:
    charged = charged_for(sale.papers, item.number)
    was_out = item.was_out
    note = "came free with the kit" if not charged and item.worth else ""
    if item.is_goods and not was_out:
        note = (note + ", " if note else "") + "not handed over yet"
    most_kept = kept_for_use(sale, item, wear) if was_out else 0
    most = wear if most_kept else Decimal(0)
    if item.serial:
        note = (note + ", " if note else "") + f"no. {item.serial}"
    return ThingShown(
        item.number,
        item.label,
        charged,
        note,
        f"{most:g}" if most else "",
        most_kept,
        item.slot in bulky and was_out,
        item.is_goods and was_out and item.piece is None,
    )


def _page(work: Work, sale: Sale, read: Read | None, faults: tuple[Fault, ...] = ()) -> ReturnPage:
    waiting = _waiting(cases_of(work, sale))
    is_typed = read is not None
    read = read or _read(_filled(sale, waiting, work.today), sale, work.today)
    worked = preview_return(work, sale, read.asked) if is_typed or read.asked.coming else None
    faults = faults or _all_faults(read, worked)
    policy = policy_of(work, sale)
    shop, terms = policy.shop, policy.sales
    last = last_day_for(sale, usual_kind(sale), terms, holidays_around(work, sale))
    labels = {item.number: item.label for item in sale.items}
    carried = [(name, text) for name, text in read.typed.items() if text]
    carried += [("take", str(one.number)) for one in read.asked.coming]
    is_shown = worked is not None and not _all_faults(read, worked)
    return ReturnPage(
        number=sale.id,
        code=sale.code,
        name=sale.contact.name,
        how=f"Bought {CONCLUDED_WORDS[sale.concluded]} on {day_words(sale.made_on, shop)}",
        until=day_words(last, shop) if last else "",
        is_over=last is not None and work.today > last,
        waiting=""
        if waiting is None
        else f"{day_words(waiting.notice_on, shop)}: {', '.join(labels.get(one, '') for one in waiting.items)}",
        waiting_text=waiting.text if waiting else "",
        waiting_id=waiting.id if waiting else 0,
        kinds=tuple(
            (kind, RETURN_WORDS[kind].capitalize())
            for kind in RETURN_KINDS
            if kind in (usual_kind(sale), "goodwill", "fault")
        ),
        things=tuple(
            _thing(sale, item, terms.bulky_slots, terms.wear_of(item.slot))
            for item in sale.items
            if may_come_back(item)
        ),
        today=work.today.isoformat(),
        worked=worked if is_shown else None,
        due=day_words(worked.due_on, shop) if worked is not None and worked.due_on else "",
        tier=_tier_words(worked) if worked is not None and is_shown else "",
        digest=digest_of(worked) if worked is not None else "",
        key=new_token(),
        freight=terms.bulky_freight,
        left=sale.owed,
        held_back=HELD_BACK,
        carried=tuple(carried),
        typed=read.typed,
        ticked=read.ticked,
        faults=faults,
    )


def _all_faults(read: Read, worked: Worked | None) -> tuple[Fault, ...]:
    """What cannot be read, and what stands against the rest of it."""
    unread = {fault.field for fault in read.faults}
    refused = worked.refusals if worked is not None else ()
    found = (*refused, *as_new_faults(read.asked, read.as_new))
    return (*read.faults, *(fault for fault in found if fault.field not in unread))


def _tier_words(worked: Worked) -> str:
    if worked.is_whole or worked.tier_before == worked.tier_after:
        return ""
    before = worked.tier_before.percent if worked.tier_before else 0
    after = worked.tier_after.percent if worked.tier_after else 0
    return f"The kit discount goes from {before} % to {after} % for what stays."


@desk_router.get("/desk/sales/{number}/return")
def show(request: Request, number: RowNumber, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """What a return comes to; without anything typed, what the customer told us, or nothing ticked yet."""
    with shop.reading(account.name) as work:
        sale = read_sale(work, number)
        form = FormData([(name, text) for name, text in request.query_params.multi_items()])
        page = _page(work, sale, _read(form, sale, work.today) if form else None)
        status = 422 if page.faults else 200
        return pages.show(
            request, "returns/return.html", page, work.catalogue.policy.shop, block="worked", status=status
        )


@desk_router.post("/desk/sales/{number}/return")
def take(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Take back what was shown, or only note the day on which the customer told us."""
    with shop.reading(account.name) as work:
        sale = read_sale(work, number)
        read = _read(form, sale, work.today)
    try:
        with shop.writing(account.name) as work:
            if read.faults:
                raise InvalidInput(_all_faults(read, preview_return(work, sale, read.asked)))
            if text_in(form, "do") == "notice":
                items = [one.number for one in read.asked.coming]
                give_notice(work, number, items, read.asked.why, text_in(form, "key"), read.asked.notice_on)
                return see_other(f"/desk/sales/{number}/return")
            take_back(work, number, read.asked, read.as_new, text_in(form, "digest"), text_in(form, "key"))
        return see_other(f"/desk/sales/{number}")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _page(work, read_sale(work, number), read, faults)
        return pages.show(request, "returns/return.html", page, work.catalogue.policy.shop, status=status)


# What is open.


@dataclass(frozen=True, slots=True)
class CaseShown:
    """A case on the list, in words; `owed` is what the customer is owed, in cents."""

    id: int
    sale: int
    code: str
    name: str
    what: str
    since: str
    due: str
    is_late: bool
    is_done: bool
    owed: int
    remedy: str
    claim: str


@dataclass(frozen=True)
class CasesPage:
    """Returns and faults that are not settled."""

    returns: tuple[CaseShown, ...]
    faulty: tuple[CaseShown, ...]


def _cases_page(work: Work) -> CasesPage:
    shop = work.catalogue.policy.shop
    shown = []
    for one in list_open_cases(work):
        case, sale = one.case, one.sale
        labels = [item.label for item in sale.items if item.number in case.items]
        shown.append(
            (
                case.kind,
                CaseShown(
                    id=case.id,
                    sale=sale.id,
                    code=sale.code,
                    name=sale.contact.name,
                    what=_few(labels),
                    since=day_words(case.notice_on, shop),
                    due=day_words(case.due_on, shop) if case.due_on else "",
                    is_late=case.due_on is not None and work.today > case.due_on,
                    is_done=bool(case.outcome),
                    owed=max(0, -sale.owed),
                    remedy=REMEDY_WORDS[one.progress.remedy] if one.progress.remedy else "",
                    claim=CLAIM_WORDS[one.progress.claim] if one.progress.claim else "",
                ),
            )
        )
    return CasesPage(
        returns=tuple(case for kind, case in shown if kind == "return"),
        faulty=tuple(case for kind, case in shown if kind == "fault"),
    )


def _few(labels: list[str]) -> str:
    """The first names of a list, and how many more: Board 104, Mast 72 and 4 more."""
    if len(labels) <= 3:
        return ", ".join(labels)
    return f"{labels[0]}, {labels[1]} and {len(labels) - 2} more"


@desk_router.get("/desk/cases")
def cases(request: Request, account: StaffOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Returns and faults that are not settled, the money that is due first before the rest."""
    with shop.reading(account.name) as work:
        return pages.show(request, "returns/cases.html", _cases_page(work), work.catalogue.policy.shop)


@desk_router.post("/desk/cases/{number}/close")
def close(request: Request, number: RowNumber, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """The customer keeps it after all: the notice is settled with a word on why."""
    closing = text_in(form, "closing")
    try:
        with shop.writing(account.name) as work:
            close_case(work, number, closing, text_in(form, "key"))
        return see_other("/desk/cases")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading(account.name) as work:
        page = _page(work, read_sale(work, read_case(work, number).sale), None)
        faults = tuple(replace(fault, field="closing" if fault.field == "why" else fault.field) for fault in faults)
        page = replace(page, typed={**page.typed, "closing": closing}, faults=faults)
        return pages.show(request, "returns/return.html", page, work.catalogue.policy.shop, status=status)


# The customer's own page.


@dataclass(frozen=True, slots=True)
class NoticeShown:
    """A notice that we have, in words."""

    day: str
    what: str
    due: str
    is_done: bool


@dataclass(frozen=True, slots=True)
class ComesTo:
    """What giving back comes to for the customer, in cents; `kept` is the most that is kept if the things were on the water."""

    rows: tuple[Row, ...]
    total: Cents
    kept: Cents
    due: str
    is_whole: bool
    has_bulky: bool


@dataclass(frozen=True)
class GiveBackPage(TypedForm):
    """What a customer may give back, until when, and the form that tells us."""

    token: str
    code: str
    is_right: bool
    until: str
    is_over: bool
    things: tuple[ThingShown, ...]
    notices: tuple[NoticeShown, ...]
    told: Told
    longer: str
    key: str
    left: Cents
    freight: Cents
    comes_to: ComesTo | None = None
    refusals: tuple[str, ...] = ()
    carried: tuple[int, ...] = ()
    may_tick_free: bool = False
    typed: Mapping[str, str] = field(default_factory=dict)
    ticked: frozenset[str] = frozenset()
    faults: tuple[Fault, ...] = ()

    def has(self, name: str) -> bool:
        """Whether a box is ticked."""
        return name in self.ticked


def _give_back_page(work: Work, sale: Sale, taken: Sequence[int] = ()) -> GiveBackPage:
    policy = policy_of(work, sale)
    shop, terms = policy.shop, policy.sales
    kind = usual_kind(sale)
    last = last_day_for(sale, kind, terms, holidays_around(work, sale))
    labels = {item.number: item.label for item in sale.items}
    days = terms.cancel_days if kind == "cancel" else terms.counter_days
    told = {number for case in cases_of(work, sale) if case.is_waiting for number in case.items}
    taken = [number for number in taken if number not in told]
    is_over = days == 0 or (last is not None and work.today > last)
    comes_to, refusals = _comes_to(work, sale, taken) if taken and not is_over else (None, ())
    return GiveBackPage(
        token=sale.token,
        code=sale.code,
        is_right=kind == "cancel" and days > 0,
        until=day_words(last, shop) if last else "",
        is_over=is_over,
        things=tuple(
            _thing(sale, item, terms.bulky_slots, terms.wear_of(item.slot))
            for item in sale.goods
            if may_come_back(item)
            and item.number not in told
            and not (item.received_on is None and not item.charged and not item.worth)
        ),
        notices=tuple(
            _notice(case, labels, shop)
            for case in cases_of(work, sale)
            if case.kind == "return" and case.record.get("kind") != "fault"
        ),
        told=told_before(terms, sale.items, sale.concluded, is_used=all(item.piece for item in sale.goods)),
        longer=LONGER,
        key=new_token(),
        left=sale.owed,
        freight=terms.bulky_freight,
        comes_to=comes_to,
        refusals=refusals,
        carried=tuple(taken),
        may_tick_free=any(
            may_come_back(item) and not item.charged and item.worth > 0 and item.number not in taken
            for item in sale.goods
        ),
        ticked=frozenset(f"take-{item}" for item in taken),
    )


def _comes_to(work: Work, sale: Sale, taken: Sequence[int]) -> tuple[ComesTo | None, tuple[str, ...]]:
    """What giving these back today comes to, tried only and at the most that is kept for use; or why it cannot be worked out."""
    policy = policy_of(work, sale)
    kind, terms = usual_kind(sale), policy.sales
    worked = preview_return(work, sale, Asked(kind, work.today, tuple(Coming(number) for number in taken)))
    if worked.refusals:
        return None, tuple(fault.message for fault in worked.refusals)
    items = [item for item in sale.items if item.number in taken]
    shown = [_thing(sale, item, terms.bulky_slots, terms.wear_of(item.slot)) for item in items]
    kept = sum(thing.most_kept for thing in shown) if kind == "cancel" else 0
    due = day_words(worked.due_on, policy.shop) if worked.due_on else ""
    has_bulky = any(thing.is_bulky for thing in shown)
    return ComesTo(worked.rows, worked.total, kept, due, worked.is_whole, has_bulky), ()


def _taken(values: Iterable[str]) -> list[int]:
    """The numbers that were ticked, each once; what is no number is left out."""
    return list(dict.fromkeys(int(one) for one in values if one.isascii() and one.isdigit() and len(one) < 6))


def _notice(case: Case, labels: Mapping[int, str], shop: ShopTerms) -> NoticeShown:
    what = _few([labels[one] for one in case.items if one in labels])
    due = day_words(case.due_on, shop) if case.due_on else ""
    return NoticeShown(day_words(case.notice_on, shop), what, due, bool(case.outcome))


@router.get("/owned/{token}/give-back")
def give_back_form(request: Request, token: str, shop: ShopOf, pages: PagesOf) -> Response:
    """What may be given back and until when; with something ticked, what that comes to, line by line."""
    with shop.reading() as work:
        page = _give_back_page(work, sale_for(work, token), _taken(request.query_params.getlist("take")))
        return pages.show(request, "returns/give_back.html", page, work.catalogue.policy.shop, block="worked")


@router.post("/owned/{token}/give-back")
def give_back(request: Request, token: str, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Keep the notice, and say that we have it."""
    typed = {"text": text_in(form, "text")}
    items = _taken(texts_in(form, "take"))
    try:
        with shop.writing() as work:
            give_notice(work, sale_for(work, token).id, items, typed["text"], text_in(form, "key"))
        return see_other(f"/owned/{token}/give-back#noticed")
    except (InvalidInput, Conflict) as error:
        faults, status = error.faults, 422 if isinstance(error, InvalidInput) else 409
    with shop.reading() as work:
        page = replace(_give_back_page(work, sale_for(work, token), items), typed=typed, faults=faults)
        return pages.show(request, "returns/give_back.html", page, work.catalogue.policy.shop, status=status)
