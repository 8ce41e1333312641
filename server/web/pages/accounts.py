"""Signing in and out, one's own account, and the owner's list of who works here.

What shows a secret (a seed, a one-time link) is the answer to the form that asked for it, never an address to come back to.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Path
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from server.domain.accounts import (
    OWNER_LINK_LIFE,
    ROLES,
    STAFF_LINK_LIFE,
    Role,
    shortest_password,
)
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound, NotSignedIn, SlackwaterError, TooMany
from server.domain.policy import ShopTerms
from server.outside.qr import Squares, qr_of
from server.usecases.accounts import (
    Account,
    Deed,
    Person,
    Welcome,
    add_staff,
    awaits_code,
    begin_second_factor,
    change_password,
    change_role,
    confirm_second_factor,
    end_account,
    end_all_sessions,
    end_own_sessions,
    end_session,
    find_person,
    list_deeds,
    list_people,
    list_sessions,
    look_at_link,
    recover_by_owner,
    set_second_factor,
    sign_in,
    sign_out,
    use_link,
)
from server.usecases.work import Shop, Work
from server.web.pages.forms import Form, text_in
from server.web.render import Pages, local_path, moment_words, see_other
from server.web.signed import OwnerOf, SessionTokenOf, StaffOf, forget_session, is_somebody, remember_session
from server.web.state import PagesOf, PasswordsOf, SettingsOf, ShopOf

router = APIRouter(include_in_schema=False)
open_router = APIRouter(include_in_schema=False)
owner_router = APIRouter(include_in_schema=False)

DESK = "/desk"
EVERYWHERE = "all"
MOST_DEEDS = 10
CLEARED = '"cache", "storage"'
"""What a browser forgets with a session (W3C Clear Site Data): pages it kept, and forms kept for use without signal."""
SAID = {
    "set": "Your password is set. Sign in with it.",
    "out": "You are signed out.",
    "all": "All your sessions have ended.",
    "late": "Your sign-in took too long or has ended. Begin again.",
    "password": "Your password is changed. Everywhere else you are signed out.",
    "factor": "Your second factor is set: every sign-in asks for a code from now on. Everywhere else you are signed out.",
    "session": "The session has ended.",
    "needs": "Here nobody goes on without a second factor: set yours first.",
    "role": "The role is changed, and their sessions have ended.",
    "sessions": "Their sessions have ended.",
    "ended": "The account has ended.",
}
"""What a page says of what was just done; the address names it by its key, so that nobody can put words there."""

Number = Annotated[int, Path(ge=1, le=2**31 - 1)]


@dataclass(frozen=True, kw_only=True)
class AccountForms:
    """What stands at the top of a page, and the faults of the one of its forms that was sent."""

    said: str = ""
    faults: tuple[Fault, ...] = ()
    form: str = ""

    def fault_at(self, form: str, name: str) -> Fault | None:
        """What is wrong with a field of a form."""
        return next((fault for fault in self.faults if form == self.form and fault.field == name), None)


@dataclass(frozen=True)
class SignInPage(AccountForms):
    """Name and password, and where to go then."""

    name: str
    after: str


@dataclass(frozen=True)
class CodePage(AccountForms):
    """The one-time code that finishes a sign-in."""

    after: str


@dataclass(frozen=True)
class WelcomePage(AccountForms):
    """A password to be set by a one-time link."""

    link: str
    welcome: Welcome


@dataclass(frozen=True, slots=True)
class SessionShown:
    """An open session, in words."""

    id: int
    began: str
    seen: str
    address: str
    is_this: bool


@dataclass(frozen=True)
class AccountPage(AccountForms):
    """One's own account."""

    mine: Account
    sessions: tuple[SessionShown, ...]
    shortest: int


@dataclass(frozen=True)
class FactorPage(AccountForms):
    """A second factor being set: the seed as text and to be scanned, shown once, and the first code of it."""

    groups: tuple[str, ...] = ()
    qr: Squares | None = None


@dataclass(frozen=True, slots=True)
class DeedShown:
    """A deed, in words."""

    at: str
    deed: Deed


@dataclass(frozen=True)
class StaffPage(AccountForms):
    """Who works here, and the newest deeds."""

    people: tuple[Person, ...]
    gone: tuple[Person, ...]
    deeds: tuple[DeedShown, ...]
    name: str = ""
    role: str = "staff"
    roles: tuple[Role, ...] = ROLES

    @property
    def names_anybody(self) -> bool:
        """Whether one of the deeds was done to somebody else."""
        return any(one.deed.whom and one.deed.whom != one.deed.who for one in self.deeds)


@dataclass(frozen=True)
class PersonPage(AccountForms):
    """Somebody who works here, and what the owner can do."""

    person: Person
    is_self: bool
    ended: str
    roles: tuple[Role, ...] = ROLES


@dataclass(frozen=True)
class LinkPage:
    """A one-time link that was just made."""

    name: str
    address: str
    hours: int
    forgets_factor: bool


# What handlers share.


def _secret_in(form: FormData, name: str) -> str:
    """A field as it was typed, spaces and all."""
    values = [value for value in form.getlist(name) if isinstance(value, str)]
    return values[-1] if values else ""


def _after(back: str) -> str:
    """Where to go after a sign-in: a path of this server, else the desk."""
    return back if back and local_path(back) == back else DESK


def _address(request: Request) -> str:
    return request.client.host if request.client else "unknown"


def _to(path: str, **said: str) -> str:
    return f"{path}?{urlencode(said)}"


def _refusal(error: SlackwaterError, at: str = "") -> tuple[tuple[Fault, ...], int]:
    """What an error says, at a field where it must wait, and the status it has."""
    if isinstance(error, TooMany):
        return (Fault(at or error.field, str(error)),), 429
    assert isinstance(error, InvalidInput | Conflict)
    return error.faults, 422 if isinstance(error, InvalidInput) else 409


def _terms(shop: Shop) -> ShopTerms:
    with shop.reading() as work:
        return work.catalogue.policy.shop


def _shown(request: Request, pages: Pages, template: str, page: Any, terms: ShopTerms, status: int = 200) -> Response:
    """A page of this room; what it shows is kept nowhere on the way."""
    answer = pages.show(request, f"accounts/{template}.html", page, terms, status=status)
    answer.headers["Cache-Control"] = "no-store"
    return answer


# Anybody's: signing in.


@open_router.get("/sign-in")
def ask_to_sign_in(request: Request, shop: ShopOf, pages: PagesOf, back: str = "", said: str = "") -> Response:
    """The way in; who is in already goes on."""
    if said not in SAID and is_somebody(request, shop):
        return see_other(_after(back))
    page = SignInPage("", _after(back), said=SAID.get(said, ""))
    return _shown(request, pages, "sign_in", page, _terms(shop))


@open_router.post("/sign-in")
def enter(
    request: Request, form: Form, token: SessionTokenOf, shop: ShopOf, passwords: PasswordsOf, pages: PagesOf
) -> Response:
    """A new session, whatever the browser had before; half-way where a code must follow."""
    name, after = text_in(form, "name"), _after(text_in(form, "back"))
    try:
        signed = sign_in(shop, passwords, name, _secret_in(form, "password"), _address(request))
    except (InvalidInput, TooMany) as error:
        faults, status = _refusal(error)
        page = SignInPage(name[:200] if name.isprintable() else "", after, faults=faults, form="sign")
        return _shown(request, pages, "sign_in", page, _terms(shop), status)
    if token:
        with shop.writing() as work:
            sign_out(work, token)
    answer = see_other(_to("/sign-in/code", back=after) if signed.needs_code else after)
    remember_session(request, answer, signed.token)
    return answer


@open_router.get("/sign-in/code")
def ask_for_code(request: Request, token: SessionTokenOf, shop: ShopOf, pages: PagesOf, back: str = "") -> Response:
    """The second step, for whoever has taken the first."""
    if not awaits_code(shop, token):
        return see_other(_to("/sign-in", back=_after(back)))
    return _shown(request, pages, "code", CodePage(_after(back)), _terms(shop))


@open_router.post("/sign-in/code")
def confirm_code(request: Request, form: Form, token: SessionTokenOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The session, whole from now on, under a new token."""
    after = _after(text_in(form, "back"))
    try:
        with shop.writing() as work:
            fresh = confirm_second_factor(work, token, text_in(form, "code"))
    except NotSignedIn:
        return see_other(_to("/sign-in", said="late", back=after))
    except (InvalidInput, TooMany) as error:
        faults, status = _refusal(error, "code")
        return _shown(request, pages, "code", CodePage(after, faults=faults, form="code"), _terms(shop), status)
    answer = see_other(after)
    remember_session(request, answer, fresh)
    return answer


@open_router.get("/welcome/{link}")
def welcome(request: Request, link: str, shop: ShopOf, pages: PagesOf) -> Response:
    """The form of a one-time link; looking at it does not use it up."""
    return _welcome(request, link, shop, pages)


def _welcome(
    request: Request, link: str, shop: Shop, pages: Pages, faults: tuple[Fault, ...] = (), status: int = 200
) -> Response:
    with shop.reading() as work:
        page = WelcomePage(link, look_at_link(work, link), faults=faults, form="new")
        return _shown(request, pages, "welcome", page, work.catalogue.policy.shop, status)


@open_router.post("/welcome/{link}")
def set_password(
    request: Request, link: str, form: Form, shop: ShopOf, passwords: PasswordsOf, pages: PagesOf
) -> Response:
    """Set the password; then sign in with it."""
    try:
        use_link(shop, passwords, link, _typed_twice(form))
    except InvalidInput as error:
        return _welcome(request, link, shop, pages, *_refusal(error))
    return see_other(_to("/sign-in", said="set"))


def _typed_twice(form: FormData) -> str:
    """A new password, which was typed alike both times; it cannot be seen, so a slip would lock its holder out."""
    new = _secret_in(form, "password")
    if new != _secret_in(form, "again"):
        raise InvalidInput([Fault("again", "This is not the same as above. Type both anew.")])
    return new


# One's own.


@router.post("/sign-out")
def leave(request: Request, token: SessionTokenOf, shop: ShopOf) -> Response:
    """End this session, and take it from the browser."""
    with shop.writing() as work:
        sign_out(work, token)
    return _gone(request, "out")


def _gone(request: Request, said: str) -> Response:
    answer = see_other(_to("/sign-in", said=said))
    forget_session(request, answer)
    answer.headers["Clear-Site-Data"] = CLEARED
    return answer


@router.get("/account")
def own_account(
    request: Request, account: StaffOf, token: SessionTokenOf, shop: ShopOf, pages: PagesOf, said: str = ""
) -> Response:
    """Who one is here, where one is signed in, one's password and second factor."""
    return _own(request, account, token, shop, pages, said=SAID.get(said, ""))


@router.get("/account/password")
@router.get("/account/factor")
def back_to_own_account() -> Response:
    """Where somebody asks anew for the answer to a form."""
    return see_other("/account")


def _own(
    request: Request,
    account: Account,
    token: str,
    shop: Shop,
    pages: Pages,
    *,
    said: str = "",
    form: str = "",
    refusal: tuple[tuple[Fault, ...], int] = ((), 200),
) -> Response:
    faults, status = refusal
    with shop.reading(account.name) as work:
        terms = work.catalogue.policy.shop
        sessions = tuple(
            SessionShown(
                one.id, moment_words(one.started_at, terms), moment_words(one.seen_at, terms), one.address, one.is_this
            )
            for one in list_sessions(work, token)
        )
    shortest = shortest_password(has_factor=account.has_factor)
    page = AccountPage(account, sessions, shortest, said=said, faults=faults, form=form)
    return _shown(request, pages, "account", page, terms, status)


@router.post("/account/password")
def change_own_password(
    request: Request,
    form: Form,
    account: StaffOf,
    token: SessionTokenOf,
    shop: ShopOf,
    passwords: PasswordsOf,
    pages: PagesOf,
) -> Response:
    """Another password; every session ends but for this browser's, which goes on under a new token."""
    try:
        fresh = change_password(shop, passwords, token, _secret_in(form, "current"), _typed_twice(form))
    except (InvalidInput, TooMany) as error:
        return _own(request, account, token, shop, pages, form="password", refusal=_refusal(error, "current"))
    answer = see_other(_to("/account", said="password"))
    remember_session(request, answer, fresh)
    return answer


@router.post("/account/factor")
def offer_factor(
    request: Request,
    form: Form,
    account: StaffOf,
    token: SessionTokenOf,
    shop: ShopOf,
    passwords: PasswordsOf,
    pages: PagesOf,
) -> Response:
    """A seed for a second factor, shown on this answer alone."""
    try:
        offered = begin_second_factor(shop, passwords, token, _secret_in(form, "current"), text_in(form, "code"))
    except (InvalidInput, TooMany) as error:
        return _own(request, account, token, shop, pages, form="factor", refusal=_refusal(error, "current"))
    groups = tuple(offered.seed[at : at + 4] for at in range(0, len(offered.seed), 4))
    answer = _shown(request, pages, "factor", FactorPage(groups, qr_of(offered.uri)), _terms(shop))
    remember_session(request, answer, offered.token)
    return answer


@router.post("/account/factor/confirm")
def confirm_factor(request: Request, form: Form, token: SessionTokenOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Take the second factor once its first code is right; after a wrong one the seed is not shown again."""
    try:
        with shop.writing() as work:
            fresh = set_second_factor(work, token, text_in(form, "code"))
    except (InvalidInput, TooMany) as error:
        faults, status = _refusal(error, "code")
        return _shown(request, pages, "factor", FactorPage(faults=faults, form="first"), _terms(shop), status)
    answer = see_other(_to("/account", said="factor"))
    remember_session(request, answer, fresh)
    return answer


@router.get("/account/sessions/end")
def back_to_own_sessions() -> Response:
    """Where somebody asks anew for the answer to the form."""
    return see_other("/account")


@router.post("/account/sessions/end")
def end_own(
    request: Request,
    form: Form,
    account: StaffOf,
    token: SessionTokenOf,
    shop: ShopOf,
    passwords: PasswordsOf,
    pages: PagesOf,
) -> Response:
    """Sign out elsewhere, or everywhere and here too, for whoever knows the password."""
    which, current = text_in(form, "which"), _secret_in(form, "current")
    try:
        if which == EVERYWHERE:
            end_own_sessions(shop, passwords, token, current)
            return _gone(request, "all")
        fresh = end_session(shop, passwords, token, _number_in(which), current)
    except NotFound as error:
        refusal = (Fault("which", str(error)),), 404
        return _own(request, account, token, shop, pages, form="sessions", refusal=refusal)
    except (InvalidInput, TooMany) as error:
        return _own(request, account, token, shop, pages, form="sessions", refusal=_refusal(error, "current"))
    answer = see_other(_to("/account", said="session"))
    remember_session(request, answer, fresh)
    return answer


def _number_in(text: str) -> int:
    """The number of a session; raises `NotFound` where it can be none."""
    if not re.fullmatch(r"[0-9]{1,9}", text, re.ASCII):
        raise NotFound("which", "There is no such session.")
    return int(text)


@owner_router.get("/staff")
def staff(request: Request, token: SessionTokenOf, shop: ShopOf, pages: PagesOf, said: str = "") -> Response:
    """Who works here, and what was done last."""
    with shop.reading() as work:
        page = replace(_staff(work, token), said=SAID.get(said, ""))
        return _shown(request, pages, "staff", page, work.catalogue.policy.shop)


def _staff(work: Work, token: str) -> StaffPage:
    people = list_people(work, token)
    deeds = list_deeds(work, token, "", MOST_DEEDS)
    terms = work.catalogue.policy.shop
    return StaffPage(
        tuple(one for one in people if one.ended_at is None),
        tuple(one for one in people if one.ended_at is not None),
        tuple(DeedShown(moment_words(deed.at, terms), deed) for deed in deeds),
    )


@owner_router.post("/staff")
def add(
    request: Request, form: Form, token: SessionTokenOf, shop: ShopOf, settings: SettingsOf, pages: PagesOf
) -> Response:
    """Somebody new: the answer shows the link by which they set a password."""
    name, role = text_in(form, "name"), text_in(form, "role")
    try:
        with shop.writing() as work:
            link = add_staff(work, token, name, role)  # type: ignore[arg-type]  # The verb refuses what is no role.
    except (InvalidInput, Conflict) as error:
        faults, status = _refusal(error)
        with shop.reading() as work:
            typed = name[:200] if name.isprintable() else ""
            page = replace(_staff(work, token), name=typed, role=role, faults=faults, form="add")
            return _shown(request, pages, "staff", page, work.catalogue.policy.shop, status)
    hours = int(STAFF_LINK_LIFE.total_seconds()) // 3600
    made = LinkPage(name, f"{settings.address}/welcome/{link}", hours, forgets_factor=False)
    return _shown(request, pages, "link", made, _terms(shop))


@owner_router.get("/staff/{number}")
def person(
    request: Request, number: Number, by: OwnerOf, token: SessionTokenOf, shop: ShopOf, pages: PagesOf, said: str = ""
) -> Response:
    """Somebody who works here."""
    return _person(request, number, by, token, shop, pages, said=SAID.get(said, ""))


def _person(
    request: Request,
    number: int,
    by: Account,
    token: str,
    shop: Shop,
    pages: Pages,
    *,
    said: str = "",
    form: str = "",
    refusal: tuple[tuple[Fault, ...], int] = ((), 200),
) -> Response:
    faults, status = refusal
    with shop.reading() as work:
        terms = work.catalogue.policy.shop
        found = find_person(work, token, number)
    ended = moment_words(found.ended_at, terms) if found.ended_at else ""
    page = PersonPage(found, found.id == by.id, ended, said=said, faults=faults, form=form)
    return _shown(request, pages, "person", page, terms, status)


@owner_router.post("/staff/{number}/role")
def give_role(
    request: Request, number: Number, form: Form, by: OwnerOf, token: SessionTokenOf, shop: ShopOf, pages: PagesOf
) -> Response:
    """Another role, and the end of their sessions."""
    try:
        with shop.writing() as work:
            change_role(work, token, number, text_in(form, "role"))  # type: ignore[arg-type]  # As above.
    except (InvalidInput, Conflict) as error:
        return _person(request, number, by, token, shop, pages, form="role", refusal=_refusal(error))
    return see_other(_to(f"/staff/{number}", said="role"))


@owner_router.post("/staff/{number}/sessions/end")
def end_their_sessions(number: Number, token: SessionTokenOf, shop: ShopOf) -> Response:
    """Sign them out everywhere."""
    with shop.writing() as work:
        end_all_sessions(work, token, number)
    return see_other(_to(f"/staff/{number}", said="sessions"))


@owner_router.post("/staff/{number}/recover")
def recover(
    request: Request,
    number: Number,
    form: Form,
    token: SessionTokenOf,
    shop: ShopOf,
    settings: SettingsOf,
    pages: PagesOf,
) -> Response:
    """A way back in for somebody locked out: the answer shows the link."""
    forgets = bool(text_in(form, "forget_factor"))
    with shop.writing() as work:
        link = recover_by_owner(work, token, number, forget_factor=forgets)
        name = find_person(work, token, number).name
    hours = int(OWNER_LINK_LIFE.total_seconds()) // 3600
    made = LinkPage(name, f"{settings.address}/welcome/{link}", hours, forgets)
    return _shown(request, pages, "link", made, _terms(shop))


@owner_router.post("/staff/{number}/end")
def end(request: Request, number: Number, by: OwnerOf, token: SessionTokenOf, shop: ShopOf, pages: PagesOf) -> Response:
    """The end of an account."""
    try:
        with shop.writing() as work:
            end_account(work, token, number)
    except Conflict as error:
        return _person(request, number, by, token, shop, pages, form="end", refusal=_refusal(error))
    return see_other(_to("/staff", said="ended"))
