"""Who is signed in: the session's cookie, and what a handler asks for so that only staff or the owner come through."""

from __future__ import annotations

from typing import Annotated

from fastapi import Depends, Request
from starlette.responses import Response

from server.domain.errors import NeedsFactor, NotAllowed, NotSignedIn
from server.settings import Settings
from server.usecases.accounts import Account, session_of
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIE, SESSION_COOKIES
from server.web.state import ShopOf

ONES_OWN = ("/account", "/sign-out")
"""Where somebody may go who has to set a second factor first."""
NOT_YOURS = "This is the owner's. Ask them, or sign in as the owner."


def _is_secure(request: Request) -> bool:
    address: str = request.app.state.settings.address
    return address.startswith("https://")


def cookie_name(*, is_secure: bool) -> str:
    """The name of the session's cookie; over https one that only this host can have set."""
    return SESSION_COOKIES[1] if is_secure else SESSION_COOKIE


def token_in(request: Request) -> str:
    """The token of the session that a request carries; empty where it carries none."""
    return request.cookies.get(cookie_name(is_secure=_is_secure(request)), "")


def remember_session(request: Request, answer: Response, token: str) -> None:
    """Give the browser a session; it forgets it when it is closed, and no script reads it."""
    is_secure = _is_secure(request)
    name = cookie_name(is_secure=is_secure)
    answer.set_cookie(name, token, path="/", secure=is_secure, httponly=True, samesite="lax")


def forget_session(request: Request, answer: Response) -> None:
    """Take the session from the browser."""
    is_secure = _is_secure(request)
    answer.delete_cookie(cookie_name(is_secure=is_secure), path="/", secure=is_secure, httponly=True, samesite="lax")


def signed_in(request: Request, shop: ShopOf) -> Account:
    """Who is signed in; raises `NotSignedIn`. What a page shows of the desk's own comes from here too."""
    token = token_in(request)
    is_use = "shown" not in request.query_params
    account = session_of(shop, token, is_use=is_use) if token else None
    if account is None:
        raise NotSignedIn
    request.state.account = account
    if _lacks_factor(request.app.state.settings, account) and not request.url.path.startswith(ONES_OWN):
        raise NeedsFactor
    return account


def _lacks_factor(settings: Settings, account: Account) -> bool:
    """Whether an account has no second factor where the settings ask for one."""
    asked = settings.second_factor
    return not account.has_factor and (asked == "everyone" or (asked == "owners" and account.role == "owner"))


def is_somebody(request: Request, shop: Shop) -> bool:
    """Whether a request comes from somebody who is signed in at the desk."""
    token = token_in(request)
    return bool(token) and session_of(shop, token) is not None


def owner(account: Annotated[Account, Depends(signed_in)]) -> Account:
    """The owner who is signed in; raises `NotSignedIn` or `NotAllowed`."""
    if account.role != "owner":
        raise NotAllowed(NOT_YOURS)
    return account


StaffOf = Annotated[Account, Depends(signed_in)]
OwnerOf = Annotated[Account, Depends(owner)]
SessionTokenOf = Annotated[str, Depends(token_in)]
