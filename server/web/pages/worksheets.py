"""The worksheet: what the caller says, the kit and its price as it is typed, and the link or revision that comes of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from urllib.parse import quote as quoted
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.agreed import (
    KIND_WORDS,
)
from server.domain.catalogue import Shelf
from server.domain.changes import Change, changes_between
from server.domain.drafts import Draft
from server.domain.errors import Conflict, Fault, InvalidInput, NotAllowed, Outdated
from server.domain.kits import size_words
from server.domain.policy import Policy
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.domain.worksheets import Worksheet, WorksheetState
from server.outside.qr import Squares, qr_of
from server.usecases.accounts import Account
from server.usecases.desk import quote_by_code
from server.usecases.quotes import read_quote
from server.usecases.work import Work
from server.usecases.worksheets import (
    begin_worksheet,
    copy_worksheet,
    finish_worksheet,
    give_word,
    read_worksheet,
    refuse_word,
    revision_started_from,
    take_as_read,
    take_back,
    with_written,
    withdraw_link,
    word_about,
    write_worksheet,
)
from server.web.pages.asked import AskingPage, mounts_of, tracks_of
from server.web.pages.forms import (
    Form,
    Typed,
    keep_rows,
    text_in,
    trade_rows,
)
from server.web.pages.words import field_words
from server.web.pages.worked import WorkedShown, sees_margin, worked_shown
from server.web.pages.worksheet_form import (
    LINES,
    as_typed,
    changed_elsewhere,
    missing_in,
    read_form,
    shown_on,
    shown_text,
    typed_on,
)
from server.web.render import day_words, is_fragment_asked, moment_words, money_words, see_other
from server.web.signed import NOT_YOURS, StaffOf
from server.web.state import PagesOf, SettingsOf, ShopOf

router = APIRouter(include_in_schema=False)

OWN_WORDS = {
    "discount": "Further discount",
    "why": "Why these parts",
    "name": "For whom",
    "email": "E-mail",
    "phone": "Telephone",
    "note": "Words to the customer",
    "staff_note": "Note for the shop alone",
    "because": "Why not",
}


@dataclass(frozen=True)
class LinkShown:
    """A link that was given: its address, ways to send it, and when it lapses."""

    address: str
    qr: Squares
    by_mail: str
    by_message: str
    text: str
    lapses: str
    opened: str


@dataclass(frozen=True, kw_only=True)
class WorksheetPage(AskingPage):
    """A worksheet as it is shown to the desk."""

    sheet: Worksheet
    state: WorksheetState
    title: str
    code: str
    worked: WorkedShown
    fixing: tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...]
    kinds: tuple[tuple[str, str], ...]
    line_places: tuple[int, ...]
    sees_costs: bool
    link: LinkShown | None
    changes: tuple[Change, ...]
    newest_revision: int
    asked: str
    asked_about: str
    is_owner: bool

    shown: str
    """What the form was shown with, so that a change made elsewhere meanwhile is seen when it is sent."""
    over: str = ""
    """The same as it is by now, for whoever has seen what was changed elsewhere and writes over it."""
    elsewhere: tuple[tuple[str, str, str], ...] = ()
    """What was changed elsewhere: the field, what stands there, and what was typed here."""
    is_late: bool = False
    """Whether this was typed on a worksheet that was sent meanwhile, and so was not kept."""
    is_part: bool = False
    """Whether only what it comes to is shown, so that it must say itself what was not kept."""
    is_saved: bool = False
    """Whether what was typed has just been kept while it was being typed."""

    @property
    def has_fixed(self) -> bool:
        """Whether a part is put in by hand."""
        return any(self.value(f"fix-{slot}") for slot, _, _ in self.fixing)

    def has_any(self, *beginnings: str) -> bool:
        """Whether anything is typed in a field whose name begins so."""
        return any(value and name.startswith(beginnings) for name, value in self.typed.items())

    def words_of(self, name: str) -> str:
        """What a field asks for, in a few words."""
        kind = name.partition("-")[0]
        more = {"line": "A line of one's own", "value": "Valued by us at", "fix": "Part put in"}
        return OWN_WORDS.get(name) or more.get(kind) or field_words(name)


@router.post("/desk/worksheets")
def begin(account: StaffOf, form: Form, shop: ShopOf) -> Response:
    """A new worksheet; with the `code` of a quote one that makes its next revision."""
    code = text_in(form, "code")
    with shop.writing(account.name) as work:
        sheet = begin_worksheet(work, quote_by_code(work, account.id, code) if code else None)
    return see_other(f"/desk/worksheets/{sheet.token}")


@router.get("/desk/worksheets/{token}")
def show(
    request: Request, token: str, account: StaffOf, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """A worksheet with what is written on it, or with the link that came of it."""
    with shop.reading(account.name) as work:
        sheet, draft = read_worksheet(work, token)
        typed, faults = shown_on(work, sheet, draft, account)
        page = _page(work, sheet, draft, account, settings.address, typed, tuple(faults))
        return pages.show(request, "desk/worksheet.html", page, work.catalogue.policy.shop)


@router.post("/desk/worksheets/{token}")
def write(
    request: Request, token: str, account: StaffOf, form: Form, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """Keep what can be read, and all as it was typed; finish it where asked to; as a change in the form (htmx) show what it comes to.

    What cannot be kept (the worksheet was sent, or another window has changed it since) is answered with all that was typed.
    """
    go = text_in(form, "go")
    with shop.writing(account.name) as work:
        sheet, draft = read_worksheet(work, token, to_change=True)
        read = read_form(work, form, account, draft.agreed)
        written = (read.answers, read.agreed, read.written, read.mass_unit, as_typed(form) if read.faults else ())
        terms = work.catalogue.policy.shop
        is_late = sheet.state_at(work.now) != "open"
        if is_late and go == "copy":
            fresh = copy_worksheet(work, token)
            write_worksheet(work, fresh.token, *written)
            return see_other(f"/desk/worksheets/{fresh.token}")
        there, _ = shown_on(work, sheet, draft, account)
        here = read.typed if read.faults else typed_on(*with_written(sheet, draft, *written), work.catalogue)
        shown = (go and text_in(form, "over")) or text_in(form, "shown")
        changed = () if is_late else changed_elsewhere(shown, there, here)
        if is_late or changed:
            elsewhere = tuple((name, _said(there, name), _said(here, name)) for name in changed)
            page = _page(work, sheet, draft, account, settings.address, read.typed, tuple(read.faults))
            page = replace(page, is_late=is_late, elsewhere=elsewhere, over=page.shown, shown=shown)
            # The page has htmx put an answer of 422 in place; of one of 409 nothing would be seen.
            if is_fragment_asked(request):
                page = replace(page, is_part=True)
                return pages.show(request, "desk/worksheet.html", page, terms, block="worked", status=422)
            return pages.show(request, "desk/worksheet.html", page, terms, status=409)
        sheet, draft = write_worksheet(work, token, *written)
        if is_fragment_asked(request):
            page = _page(work, sheet, draft, account, settings.address, read.typed, tuple(read.faults))
            return pages.show(request, "desk/worksheet.html", replace(page, is_saved=True), terms, block="worked")
        faults = [*read.faults, *(missing_in(read.answers) if go == "finish" else ())]
        status = 422 if faults else 200
        if go == "finish" and not faults:
            try:
                sheet, made = finish_worksheet(work, token, account.role)
                return see_other(f"/desk/quotes/{made.code}" if made else f"/desk/worksheets/{token}")
            except (InvalidInput, Conflict) as error:
                faults, status = list(error.faults), 422 if isinstance(error, InvalidInput) else 409
                changes = _changes(work, sheet) if isinstance(error, Outdated) else ()
                page = _page(work, sheet, draft, account, settings.address, read.typed, tuple(faults), changes)
                return pages.show(request, "desk/worksheet.html", page, terms, status=status)
        page = _page(work, sheet, draft, account, settings.address, read.typed, tuple(faults))
        return pages.show(request, "desk/worksheet.html", page, terms, status=status)


@router.post("/desk/worksheets/{token}/word")
def decide(
    request: Request, token: str, account: StaffOf, form: Form, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """What waits for the owner: given their word (the owner's alone), refused with a reason (theirs too), or taken back."""
    go = text_in(form, "go")
    with shop.writing(account.name) as work:
        try:
            if go == "take_back":
                take_back(work, token)
            elif account.role != "owner":
                raise NotAllowed(NOT_YOURS)
            elif go == "refuse":
                refuse_word(work, token, text_in(form, "because"))
            elif go == "give":
                _, made = give_word(work, token, text_in(form, "about"))
                if made:
                    return see_other(f"/desk/quotes/{made.code}")
            else:
                raise InvalidInput([Fault("go", "Say yes, or no and why.", "give, refuse or take_back")])
        except (InvalidInput, Conflict) as error:
            work.session.rollback()
            sheet, draft = read_worksheet(work, token)
            typed = {**typed_on(sheet, draft, work.catalogue), "because": text_in(form, "because")}
            changes = _changes(work, sheet) if isinstance(error, Outdated) else ()
            page = _page(work, sheet, draft, account, settings.address, typed, error.faults, changes)
            status = 409 if isinstance(error, Conflict) else 422
            return pages.show(request, "desk/worksheet.html", page, work.catalogue.policy.shop, status=status)
    return see_other(f"/desk/worksheets/{token}")


@router.post("/desk/worksheets/{token}/read")
def go_on(token: str, account: StaffOf, form: Form, shop: ShopOf) -> Response:
    """Go on from the newer revision whose changes were just shown."""
    said = text_in(form, "revision")
    with shop.writing(account.name) as work:
        take_as_read(work, token, int(said) if said.isascii() and said.isdigit() and len(said) < 8 else 0)
    return see_other(f"/desk/worksheets/{token}")


@router.post("/desk/worksheets/{token}/withdraw")
def withdraw(token: str, account: StaffOf, shop: ShopOf) -> Response:
    """Make the link lead nowhere from now on."""
    with shop.writing(account.name) as work:
        withdraw_link(work, token)
    return see_other(f"/desk/worksheets/{token}")


@router.post("/desk/worksheets/{token}/copy")
def copy(token: str, account: StaffOf, shop: ShopOf) -> Response:
    """Begin a new worksheet with all that is written on this one."""
    with shop.writing(account.name) as work:
        sheet = copy_worksheet(work, token)
    return see_other(f"/desk/worksheets/{sheet.token}")


def _page(
    work: Work,
    sheet: Worksheet,
    draft: Draft,
    account: Account,
    address: str,
    typed: Typed,
    faults: tuple[Fault, ...] = (),
    changes: tuple[Change, ...] = (),
) -> WorksheetPage:
    catalogue = work.catalogue
    policy = catalogue.policy
    code, newest = "", 0
    if sheet.quote_token:
        quote = read_quote(work, sheet.quote_token)
        code, newest = quote.code, quote.revision
    state = sheet.state_at(work.now)
    rows = trade_rows(typed)
    return WorksheetPage(
        typed=typed,
        faults=faults,
        catalogue=catalogue,
        keeps=tuple(keep_rows()),
        trades=tuple(rows),
        tracks=tracks_of(catalogue),
        mounts=mounts_of(catalogue),
        sheet=sheet,
        state=state,
        title="The next revision" if draft.revises else "A kit for a caller",
        code=code,
        worked=worked_shown(work, draft, account),
        fixing=_fixing(work.shelf_for(draft.revises), policy),
        kinds=tuple(KIND_WORDS.items()),
        line_places=tuple(range(LINES)),
        sees_costs=sees_margin(account, policy),
        link=_link(sheet, address, policy) if sheet.sent_at and not draft.revises else None,
        changes=changes,
        newest_revision=newest,
        asked=moment_words(sheet.asked_at, policy.shop) if sheet.asked_at else "",
        asked_about=word_about(work, sheet, draft) if state == "waiting" else "",
        is_owner=account.role == "owner",
        shown=shown_text(shown_on(work, sheet, draft, account)[0]),
    )


def _said(typed: Typed, name: str) -> str:
    value = typed.get(name, "")
    return value if isinstance(value, str) else ", ".join(value)


def _fixing(shelf: Shelf, policy: Policy) -> tuple[tuple[str, str, tuple[tuple[str, str], ...]], ...]:
    """For each slot the parts that may be put in, smallest first: those in stock before the others."""
    rows = []
    for slot in CORE_SLOTS:
        parts = sorted(
            shelf.catalogue.sold_in(slot), key=lambda part: (not shelf.is_free(part), part.gear.size, part.sku)
        )
        options = tuple(
            (
                part.sku,
                f"{size_words(part.gear)} · {part.name}, {part.maker} · {money_words(part.price, policy.shop)}"
                + ("" if shelf.is_free(part) else " · none free"),
            )
            for part in parts
        )
        rows.append((slot, SLOT_WORDS[slot], options))
    return tuple(rows)


def _link(sheet: Worksheet, address: str, policy: Policy) -> LinkShown:
    own = f"{address}/prepared/{sheet.token}"
    lapses = day_words(sheet.lapses_at.date(), policy.shop) if sheet.lapses_at else ""
    hello = f"Hello {sheet.name}, here" if sheet.name else "Here"
    text = (
        f"{hello} is your kit from {policy.shop.name}, with your answers filled in: {own} "
        f"Correct anything you like; it is good until {lapses}."
    )
    subject = f"Your kit from {policy.shop.name}"
    return LinkShown(
        address=own,
        qr=qr_of(own),
        by_mail=f"mailto:{quoted(sheet.email)}?" + urlencode({"subject": subject, "body": text}, quote_via=quoted),
        by_message=f"sms:{quoted(sheet.phone.replace(' ', ''), safe='+')}?"
        + urlencode({"body": text}, quote_via=quoted),
        text=text,
        lapses=lapses,
        opened=moment_words(sheet.opened_at, policy.shop) if sheet.opened_at else "",
    )


def _changes(work: Work, sheet: Worksheet) -> tuple[Change, ...]:
    """What has changed on the quote since the worksheet was begun."""
    before = revision_started_from(work, sheet)
    return changes_between(before, read_quote(work, sheet.quote_token)) if before else ()
