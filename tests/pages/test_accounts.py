"""Signing in and out, one's own account, and who works here, over the front door as a browser without script meets them."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from http.cookies import SimpleCookie
from urllib.parse import quote, urlsplit

import httpx
import pyotp
import pytest
from fastapi import FastAPI

from server.outside.qr import qr_of
from server.persistence.accounts import account_named
from server.security.totp import provisioning_uri
from server.usecases.accounts import awaits_code, make_owner_link, recover_by_command, session_of
from server.usecases.work import Shop
from tests.builders_accounts import WORDS, account_token
from tests.builders_http import Client
from tests.builders_shop import Clock
from tests.pages.reader import FORM, Reader, encoded, text_of
from tests.pages.test_valid import check_references

COOKIE = "__Host-slackwater-session"
OTHER_WORDS = "seven dry oars in a shed"
NOBODYS = "no link of anybody's"


@pytest.fixture
def elsewhere(app: FastAPI) -> Iterator[Client]:
    """Another browser, at another address."""
    with Client(app, ("192.0.2.44", 40001)) as made:
        yield made


@pytest.fixture
def orla(client: Client, shop: Shop) -> Client:
    """The first owner's browser, signed in over the front door."""
    account_token(shop, "Orla", "owner")
    sign_in(client, "Orla")
    return client


@pytest.fixture
def maeve(elsewhere: Client, shop: Shop) -> Client:
    """Staff, signed in over the front door from elsewhere."""
    account_token(shop, "Maeve", "staff")
    sign_in(elsewhere, "Maeve")
    return elsewhere


def posted(client: Client, path: str, **fields: str) -> httpx.Response:
    return client.post(path, content=encoded(list(fields.items())), headers=FORM)


def sign_in(client: Client, name: str, password: str = WORDS, back: str = "") -> httpx.Response:
    return posted(client, "/sign-in", name=name, password=password, back=back)


def set_cookie(answer: httpx.Response) -> SimpleCookie:
    """The cookie that an answer sets; there is one at most."""
    return SimpleCookie(answer.headers.get("set-cookie", ""))


def token_of(answer: httpx.Response) -> str:
    return set_cookie(answer)[COOKIE].value


def number_of(shop: Shop, name: str) -> int:
    with shop.reading() as work:
        row = account_named(work.session, name.casefold())
    assert row is not None
    assert row.id is not None
    return row.id


def autocompletes(reader: Reader) -> dict[str, str]:
    """What a browser is told that the fields of a page's own forms hold."""
    check_references(reader.page)
    main = reader.by_id("main")
    fields = {field.get("name", ""): field.get("autocomplete", "") for field in main.iter("input")}
    return {name: said for name, said in fields.items() if said}


def link_on(page: Reader) -> str:
    """The one-time link that a page shows."""
    check_references(page.page)
    return urlsplit(page.by_id("given-link").get("value", "")).path


def test_the_first_owner_sets_a_password_by_the_link_and_signs_in_with_it(client: Client, shop: Shop) -> None:
    with shop.writing("command") as work:
        path = f"/welcome/{make_owner_link(work, 'Orla')}"
    page = Reader(client).open(path)
    assert "For the account of Orla" in page.text
    assert autocompletes(page) == {"name": "username", "password": "new-password", "again": "new-password"}
    assert page.press("Set the password", password="short", again="short").status == 422
    assert "fewer than 15" in page.text
    assert page.press("Set the password", password=WORDS, again=WORDS + " ").status == 422
    assert "not the same" in page.text
    spaced = f" {WORDS} "
    page.press("Set the password", password=spaced, again=spaced)
    assert (urlsplit(page.address).path, page.status) == ("/sign-in", 200)
    assert "Your password is set" in page.text
    assert autocompletes(page) == {"name": "username", "password": "current-password"}
    assert sign_in(client, "Orla", WORDS).status_code == 422, "a space is a character of a password"
    assert page.press("Sign in", name=" orla ", password=spaced).status in (200, 404)
    assert page.address == "/desk"
    assert client.get("/account").status_code == 200
    assert client.get(path).status_code == 404
    assert posted(client, path, password=OTHER_WORDS, again=OTHER_WORDS).status_code == 404
    assert client.get(f"/welcome/{quote(NOBODYS)}").status_code == 404


def test_the_session_is_a_cookie_that_only_this_host_and_no_script_reads(client: Client, shop: Shop) -> None:
    # RFC 6265bis, 4.1.3.2: a name with __Host- holds only with Secure, Path=/ and no Domain.
    account_token(shop, "Orla", "owner")
    [(name, cookie)] = set_cookie(sign_in(client, "Orla")).items()
    assert name == COOKIE
    assert (cookie["httponly"], cookie["secure"]) == (True, True)
    assert (cookie["samesite"].lower(), cookie["path"]) == ("lax", "/")
    assert (cookie["domain"], cookie["max-age"], cookie["expires"]) == ("", "", ""), "forgotten with the browser"
    gone = set_cookie(posted(client, "/sign-out"))[COOKIE]
    assert (gone.value, gone["max-age"], gone["secure"], gone["path"]) == ("", "0", True, "/")
    assert client.get("/account").status_code == 303


def test_signing_in_makes_a_new_session_whatever_the_browser_brought(elsewhere: Client, shop: Shop) -> None:
    token = account_token(shop, "Orla", "owner")
    for brought in ("planted", token):
        cookie = {"cookie": f"{COOKIE}={brought}"}
        body = encoded([("name", "Orla"), ("password", WORDS)])
        given = token_of(elsewhere.post("/sign-in", content=body, headers={**FORM, **cookie}))
        assert given != brought
        assert session_of(shop, given) is not None
        assert session_of(shop, brought) is None, "and what it brought opens nothing"


@pytest.mark.parametrize(
    ("back", "goes_to"),
    [
        ("", "/desk"),
        ("/staff?q=Orla", "/staff?q=Orla"),
        ("https://elsewhere.example/", "/desk"),
        ("//elsewhere.example", "/desk"),
        ("/\\elsewhere.example", "/desk"),
        ("/desk\r\nSet-Cookie: a=b", "/desk"),
    ],
)
@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_sign_in_leads_only_to_paths_of_this_server(client: Client, shop: Shop, back: str, goes_to: str) -> None:
    account_token(shop, "Orla", "owner")
    page = Reader(client).open(f"/sign-in?back={quote(back)}")
    address, body = page.sending("Sign in", name="Orla", password=WORDS)
    assert client.post(address, content=body, headers=FORM).headers["location"] == goes_to
    assert sign_in(client, "Orla", back=back).headers["location"] == goes_to
    assert client.get(f"/sign-in?back={quote(back)}").headers["location"] == goes_to, "who is in goes on"


def test_known_and_unknown_names_are_answered_alike_and_told_how_long_to_wait(client: Client, shop: Shop) -> None:
    account_token(shop, "Orla", "owner")
    answers = {}
    for name in ("Orla", "Erna"):
        tries = [sign_in(client, name, OTHER_WORDS) for _ in range(6)]
        assert all(not answer.headers.get("set-cookie") for answer in tries)
        answers[name] = [(one.status_code, one.text.replace(name, "NAME"), sorted(one.headers)) for one in tries]
    assert answers["Orla"] == answers["Erna"]
    assert [status for status, *_ in answers["Orla"]] == [422] * 5 + [429]
    assert "Wait 30 seconds" in answers["Orla"][-1][1]
    assert 'value="NAME"' in answers["Orla"][-1][1]
    assert WORDS not in str(answers)
    assert OTHER_WORDS not in str(answers)


def test_a_second_factor_is_set_and_then_always_asked_for(orla: Client, shop: Shop, clock: Clock) -> None:
    page = Reader(orla).open("/account")
    assert "An owner should have one" in page.text
    assert autocompletes(page)["current"] == "current-password"
    assert page.press("Set a second factor", current=OTHER_WORDS).status == 422
    assert "not the current password" in page.text
    assert page.press("Set a second factor", current=WORDS).status == 200
    assert page.headers["cache-control"] == "no-store"
    groups = text_of(page.by_id("seed")).split()
    assert {len(group) for group in groups} == {4}
    device = pyotp.TOTP("".join(groups))
    assert qr_of(provisioning_uri(device.secret, "Orla", "Two Herons Watersports")).path in page.html
    assert autocompletes(page) == {"code": "one-time-code"}
    assert page.press("Take it as second factor", code="12345").status == 422
    assert device.secret not in page.html.replace(" ", ""), "shown once"
    first = device.at(clock.now)
    before = orla.get("/account").status_code
    page.press("Take it as second factor", code=first)
    assert "Your second factor is set" in page.text
    assert (before, "Set a new second factor" in page.text) == (200, True)
    assert autocompletes(page)["code"] == "one-time-code"
    page.press("Sign out")

    page.press("Sign in", name="Orla", password=WORDS)
    assert (urlsplit(page.address).path, page.status) == ("/sign-in/code", 200)
    assert autocompletes(page) == {"code": "one-time-code"}
    assert orla.get("/account").headers["location"] == "/sign-in?back=%2Faccount", "half-way opens nothing"
    assert posted(orla, "/account/password").status_code == 403
    address, body = page.sending("Go on", code=first)
    assert orla.post(address, content=body, headers=FORM).status_code == 422, "no code is usable twice"
    clock.forward(minutes=1)
    address, body = page.sending("Go on", code=device.at(clock.now))
    half = sign_in(orla, "Orla")
    assert urlsplit(half.headers["location"]).path == "/sign-in/code"
    whole = orla.post(address, content=body, headers=FORM)
    assert (whole.status_code, whole.headers["location"]) == (303, "/desk")
    assert token_of(whole) != token_of(half)
    assert (session_of(shop, token_of(half)) is None, session_of(shop, token_of(whole)) is None) == (True, False)
    assert not awaits_code(shop, token_of(half)), "nor does it take another code"
    assert orla.get("/account").status_code == 200


def test_half_way_through_a_sign_in_ten_minutes_are_given(orla: Client, clock: Clock) -> None:
    page = Reader(orla).open("/account").press("Set a second factor", current=WORDS)
    device = pyotp.TOTP("".join(text_of(page.by_id("seed")).split()))
    page.press("Take it as second factor", code=device.at(clock.now)).press("Sign out")
    page.open("/sign-in?back=/staff").press("Sign in", name="Orla", password=WORDS)
    clock.forward(minutes=10)
    page.press("Go on", code=device.at(clock.now))
    assert (urlsplit(page.address).path, "took too long" in page.text) == ("/sign-in", True)
    page.press("Sign in", name="Orla", password=WORDS).press("Go on", code=device.at(clock.now))
    assert page.address == "/staff"
    assert Reader(orla).open("/sign-in/code?back=/account").address == "/account", "who is in goes on"
    for _ in range(5):
        sign_in(orla, "Orla")
        assert posted(orla, "/sign-in/code", code="000").status_code == 422
    sign_in(orla, "Orla")
    assert posted(orla, "/sign-in/code", code=device.at(clock.now)).status_code == 429


Way = Callable[[Client, Client, Shop, Clock], object]
WAYS: dict[str, Way] = {
    "signing out": lambda orla, maeve, shop, clock: posted(maeve, "/sign-out"),
    "ending it": lambda orla, maeve, shop, clock: (
        Reader(maeve).open("/account").press("End it", which="all", current=WORDS)
    ),
    "another role": lambda orla, maeve, shop, clock: (
        Reader(orla).open(f"/staff/{number_of(shop, 'Maeve')}").press("Change the role", role="owner")
    ),
    "the owner": lambda orla, maeve, shop, clock: (
        Reader(orla).open(f"/staff/{number_of(shop, 'Maeve')}").press("Sign them out everywhere")
    ),
    "the account's end": lambda orla, maeve, shop, clock: (
        Reader(orla).open(f"/staff/{number_of(shop, 'Maeve')}").press("End the account")
    ),
    "half an hour without use": lambda orla, maeve, shop, clock: clock.forward(minutes=30),
}


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
@pytest.mark.parametrize("way", WAYS)
def test_a_session_is_ended_by(orla: Client, maeve: Client, shop: Shop, clock: Clock, way: str) -> None:
    assert maeve.get("/account").status_code == 200
    WAYS[way](orla, maeve, shop, clock)
    assert maeve.get("/account").headers["location"] == "/sign-in?back=%2Faccount"


def test_a_new_password_ends_every_session_but_this_one(orla: Client, elsewhere: Client) -> None:
    sign_in(elsewhere, "Orla")
    page = Reader(orla).open("/account")
    rows = [text_of(row) for row in page.page.iter("tr")][1:]
    assert [("this one" in row, "198.51.100.7" in row) for row in rows][-2:] == [(True, True), (False, False)]
    assert page.press("Change the password", current=OTHER_WORDS, password=WORDS, again=WORDS).status == 422
    twice = {"password": "watersports-owner-1", "again": "watersports-owner-1"}
    assert page.press("Change the password", current=WORDS, **twice).status == 422
    assert "name of the shop" in page.text
    assert elsewhere.get("/account").status_code == 200, "a refusal ends nothing"
    page.press("Change the password", current=WORDS, password=OTHER_WORDS, again=OTHER_WORDS)
    assert ("is changed" in page.text, orla.get("/account").status_code) == (True, 200)
    assert elsewhere.get("/account").status_code == 303
    assert sign_in(elsewhere, "Orla", WORDS).status_code == 422
    assert sign_in(elsewhere, "Orla", OTHER_WORDS).status_code == 303


def test_one_session_is_ended_from_another_and_nobody_elses(orla: Client, maeve: Client, shop: Shop) -> None:
    page = Reader(orla).open("/account")
    choices = [option.get("value", "") for option in page.by_id("sessions-which").iter("option")]
    one, last = choices[0], choices[-1]
    assert (one.isdecimal(), last) == (True, "all")
    end = "/account/sessions/end"
    assert posted(maeve, end, which=one, current=WORDS).status_code == 404
    assert posted(maeve, end, which="99999999999999999999", current=WORDS).status_code == 404
    assert posted(orla, end, which=one, current=OTHER_WORDS).status_code == 422
    assert "not the current password" in page.press("End it", which="all", current=OTHER_WORDS).text
    assert orla.get("/account").status_code == 200, "knowing the browser is not enough"
    ended = posted(orla, end, which=one, current=WORDS)
    assert ended.headers["location"] == "/account?said=session"
    orla.keep_cookie(COOKIE, token_of(ended))
    assert posted(orla, end, which=one, current=WORDS).status_code == 404


OWNERS = ("/staff", "/staff/1", "/staff/1/role", "/staff/1/sessions/end", "/staff/1/recover", "/staff/1/end")
STAFFS = ("/sign-out", "/account/password", "/account/factor", "/account/sessions/end")


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_who_works_here_is_the_owners_and_nobody_comes_in_unsigned(client: Client, maeve: Client) -> None:
    for path in OWNERS:
        if path in OWNERS[:2]:
            assert maeve.get(path).status_code == 403
            answer = client.get(path)
            assert (answer.status_code, answer.headers["location"]) == (303, f"/sign-in?back={quote(path, safe='')}")
        if path != OWNERS[1]:
            assert posted(maeve, path, name="Erna", role="staff").status_code == 403
            assert posted(client, path, name="Erna", role="staff").status_code == 403
    assert client.get("/account").status_code == 303
    for path in (*STAFFS, "/account/factor/confirm"):
        assert posted(client, path).status_code == 403
    assert "Who works here" not in maeve.get("/account").text
    assert sign_in(client, "Erna").status_code == 422, "nobody was added"


def test_the_owner_adds_recovers_and_ends_people_and_sees_what_was_done(
    orla: Client, elsewhere: Client, shop: Shop, clock: Clock
) -> None:
    page = Reader(orla).open("/staff")
    assert page.press("Make the link", name="ORLA").status == 409
    assert "There is an account of this name" in page.text
    assert page.press("Make the link", name="  ").status == 422
    added = orla.post("/staff", content=encoded([("name", "Fergal"), ("role", "skipper")]), headers=FORM)
    assert added.status_code == 422
    page.press("Make the link", name="Fergal", role="staff")
    assert (page.status, page.headers["cache-control"], "24 hours" in page.text) == (200, "no-store", True)
    theirs = Reader(elsewhere).open(link_on(page))
    theirs.press("Set the password", password=WORDS, again=WORDS).press("Sign in", name="Fergal", password=WORDS)
    factor = theirs.open("/account").press("Set a second factor", current=WORDS)
    device = pyotp.TOTP("".join(text_of(factor.by_id("seed")).split()))
    theirs.press("Take it as second factor", code=device.at(clock.now))

    page.open("/staff")
    check_references(page.page)
    row = next(text_of(row) for row in page.page.iter("tr") if text_of(row).startswith("Fergal"))
    assert row == "Fergalstaffset1"
    fergal = f"/staff/{number_of(shop, 'Fergal')}"
    page.open(fergal).press("Make a link for a new password", forget_factor="yes")
    assert ("an hour" in page.text, "forgets the second factor" in page.text) == (True, True)
    back_in = Reader(elsewhere).open(link_on(page))
    assert "second factor of the account is forgotten" in back_in.text
    back_in.press("Set the password", password=OTHER_WORDS, again=OTHER_WORDS)
    assert back_in.press("Sign in", name="Fergal", password=OTHER_WORDS).address == "/desk", "no code is asked for"

    page.open(fergal).press("End the account")
    assert ("has ended" in page.text, "No longer here: 1" in page.text) == (True, True)
    check_references(page.open(fergal).page)
    assert not [form for form in page.page.iter("form") if form.get("action", "").startswith("/staff/")]
    assert posted(orla, f"{fergal}/recover").status_code == 404
    assert sign_in(elsewhere, "Fergal", OTHER_WORDS).status_code == 422

    page.open("/console/record?whom=fergal")
    deeds = [text_of(row) for row in page.page.iter("tr")]
    kinds = ("account ended", "recovery link made", "second factor set", "account added")
    assert [kind for row in deeds for kind in kinds if kind in row] == list(kinds), "the newest first"
    assert not [row for row in deeds if "owner link made" in row]
    assert "Nothing like that" in page.open("/console/record?who=nobody+so+called").text


def test_the_last_owner_stays_and_is_recovered_by_the_command(orla: Client, client: Client, shop: Shop) -> None:
    own = f"/staff/{number_of(shop, 'Orla')}"
    page = Reader(orla).open(own)
    assert "owner-link --recover" in page.text
    assert posted(orla, f"{own}/recover").status_code == 403
    assert page.press("Change the role", role="staff").status == 409
    assert "this is the last one" in page.text
    check_references(page.page)
    assert page.open(own).press("End the account").status == 409
    assert page.open("/staff/4711").status == 404
    with shop.writing("command") as work:
        link = recover_by_command(work, "orla")
    page.open(f"/welcome/{link}").press("Set the password", password=OTHER_WORDS, again=OTHER_WORDS)
    assert orla.get("/account").status_code == 303
    assert sign_in(orla, "Orla", OTHER_WORDS).status_code == 303


@pytest.mark.parametrize(
    "body", [b"", b"name=Or%00la&password=%00", b"name=%ff&password=%ed%a0%80&back=%0d", b"name=a&name=Orla&password=b"]
)
def test_odd_forms_are_refused_like_wrong_ones(client: Client, shop: Shop, body: bytes) -> None:
    account_token(shop, "Orla", "owner")
    answer = client.post("/sign-in", content=body, headers=FORM)
    assert answer.status_code == 422
    assert "do not belong together" in answer.text
    assert client.post(f"/welcome/{quote(NOBODYS)}", content=body, headers=FORM).status_code in (404, 422)
