"""People who work in the shop, with cheap hashes: an account made as the program makes it, and a client signed in as its holder."""

from __future__ import annotations

import secrets
from contextlib import suppress
from functools import cache

from fastapi import FastAPI
from sqlmodel import Session, col, select

from server.domain.accounts import Role, name_key
from server.domain.errors import Conflict
from server.persistence.accounts import account_named, add_session
from server.persistence.tables import AccountRow, DeedRow
from server.security.passwords import Cost, Passwords
from server.security.tokens import digest_of
from server.usecases.accounts import add_staff, make_owner_link, sign_in, use_link
from server.usecases.work import Shop, Work
from server.web.signed import cookie_name
from tests.builders_http import ADDRESS, Client

CHEAP = Passwords(Cost(memory_kib=8, passes=1, lanes=1))
WORDS = "seven grey herons stand still"
HOME = "198.51.100.7"


def load_deeds(session: Session) -> list[DeedRow]:
    """The record of deeds, oldest first."""
    return list(session.exec(select(DeedRow).order_by(col(DeedRow.id))))


def account_token(shop: Shop, name: str, role: Role, passwords: Passwords = CHEAP) -> str:
    """The token of a new session; its account is made where there is none, and so is the first owner, Orla."""
    first = _owners_token(shop, passwords)
    if (name, role) == ("Orla", "owner"):
        return first
    with suppress(Conflict):
        with shop.writing() as work:
            link = add_staff(work, first, name, role)
        use_link(shop, passwords, link, WORDS)
    return sign_in(shop, passwords, name, WORDS, HOME).token


def _owners_token(shop: Shop, passwords: Passwords) -> str:
    with shop.writing("command") as work:
        try:
            link = make_owner_link(work, "Orla")
        except Conflict:
            link = ""
    if link:
        use_link(shop, passwords, link, WORDS)
    return sign_in(shop, passwords, "Orla", WORDS, HOME).token


def seat(shop: Shop, name: str, role: Role) -> str:
    """The token of a session, written as signing in leaves it; its account is made where there is none, and so is the owner, Orla."""
    token = secrets.token_urlsafe()
    with shop.writing() as work:
        _account(work, "Orla", "owner")
        account_id = _account(work, name, role)
        add_session(work.session, account_id, digest_of(token), "full", HOME, work.now)
        work.commit()
    return token


def _account(work: Work, name: str, role: Role) -> int:
    row = account_named(work.session, name_key(name))
    if row is None:
        row = AccountRow(name=name, name_key=name_key(name), role=role, password_hash=_hashed(), made_at=work.now)
        work.session.add(row)
        work.session.flush()
    return row.id or 0


@cache
def _hashed() -> str:
    return CHEAP.hashed(WORDS)


def signed_in_as(client: Client, app: FastAPI, name: str, role: Role) -> Client:
    """The client with the session of somebody new."""
    client.keep_cookie(cookie_name(is_secure=ADDRESS.startswith("https://")), seat(app.state.shop, name, role))
    return client
