"""A page that a browser has already is not sent again, and none is taken for another (RFC 9110 and RFC 9111)."""

from __future__ import annotations

import asyncio
import re

import pytest
from starlette.datastructures import Headers
from starlette.responses import StreamingResponse
from starlette.types import Message, Receive, Scope, Send

from server.usecases import quotes
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from server.web.fresh import Fresh, is_known
from tests.builders_http import Client
from tests.builders_shop import learner
from tests.pages.reader import FORM, Reader, at_the_kit

ASKED = "private, no-cache"
PACKED = {"Accept-Encoding": "gzip"}


def kept(client: Client) -> str:
    """The address of a quote."""
    return at_the_kit(client).press("Keep this quote").address


def asked_again(client: Client, address: str, tag: str, **headers: str) -> tuple[int, bytes]:
    """Status and body that somebody is answered who has the page of a tag."""
    answer = client.get(address, headers={"If-None-Match": tag, **headers})
    return answer.status_code, answer.content


def test_a_page_is_kept_by_the_browser_alone_and_asked_about_each_time(client: Client) -> None:
    # RFC 9111, 5.2.2.4 and 5.2.2.7: stored by no shared store, and not used before it was asked about.
    for address in ("/", "/used", "/words", "/privacy", "/lessons"):
        page = client.get(address)
        assert (page.status_code, page.headers["cache-control"]) == (200, ASKED)
        assert asked_again(client, address, page.headers["etag"]) == (304, b"")
        assert "x-robots-tag" not in page.headers


def test_whoever_has_the_page_is_told_so_with_what_the_standard_asks_for(client: Client) -> None:
    address = kept(client)
    page = client.get(address, headers=PACKED)
    again = client.get(address, headers={**PACKED, "If-None-Match": page.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")
    # RFC 9110, 15.4.5: these as with 200, and nothing else that says something of the page.
    for name in ("etag", "cache-control", "vary"):
        assert again.headers[name] == page.headers[name]
    assert page.headers["cache-control"] == ASKED
    assert {name.strip() for name in page.headers["vary"].split(",")} == {"HX-Request", "Cookie", "Accept-Encoding"}
    assert not {name for name in again.headers if name.startswith("content-")} - {"content-security-policy"}
    # What no answer goes without stays, and RFC 9111, 3.2 puts it in place of what was kept.
    assert again.headers["content-security-policy"] == page.headers["content-security-policy"]
    # RFC 9110, 9.3.2: HEAD as GET.
    for known, status in ((page.headers["etag"], 304), ('"another"', 200)):
        head = client.request("HEAD", address, headers={"If-None-Match": known})
        assert (head.status_code, head.content, head.headers["etag"]) == (status, b"", page.headers["etag"])


def test_packed_or_not_a_page_has_one_tag_and_it_is_weak(client: Client) -> None:
    # RFC 9110, 8.8.1: a strong one would have to differ with the bytes, and so with the packing (8.8.3.3).
    packed, plain = (client.get("/", headers={"Accept-Encoding": coding}) for coding in ("gzip", "identity"))
    assert ("content-encoding" in packed.headers, "content-encoding" in plain.headers) == (True, False)
    assert packed.headers["etag"] == plain.headers["etag"]
    assert re.fullmatch(r'W/"[!#-~]+"', plain.headers["etag"])


@pytest.mark.parametrize(
    ("known", "tag", "matches"),
    [
        # The table of RFC 9110, 8.8.3.2, weakly compared.
        ('W/"1"', 'W/"1"', True),
        ('W/"1"', 'W/"2"', False),
        ('W/"1"', '"1"', True),
        ('"1"', '"1"', True),
        # RFC 9110, 13.1.2: a list, or any.
        ('"xyzzy"', 'W/"xyzzy"', True),
        ('"xyzzy", "r2d2xxxx", "c3piozzzz"', 'W/"c3piozzzz"', True),
        ('W/"xyzzy", W/"r2d2xxxx"', 'W/"c3piozzzz"', False),
        ("*", 'W/"1"', True),
        # RFC 9110, 8.8.3: quotes belong to it, commas may stand between them, and case counts.
        ('"a,b"', 'W/"a"', False),
        ('"a,b"', 'W/"a,b"', True),
        ('"A"', 'W/"a"', False),
        ('""', 'W/""', True),
        ("1", 'W/"1"', False),
        ("", 'W/""', False),
        ('"*"', 'W/"1"', False),
        ('"unclosed', 'W/"unclosed"', False),
    ],
)
def test_tags_are_compared_as_the_standard_has_it(known: str, tag: str, matches: bool) -> None:
    assert is_known(Headers({"If-None-Match": known}), tag) is matches


def test_a_list_may_come_in_several_fields(client: Client) -> None:
    # RFC 9110, 5.3.
    said = Headers(raw=[(b"if-none-match", b'"a"'), (b"if-none-match", b'W/"b"')])
    assert is_known(said, 'W/"b"')
    assert not is_known(Headers({}), 'W/"b"')
    assert asked_again(client, "/", f'"other", {client.get("/").headers["etag"]}') == (304, b"")


def test_what_has_changed_is_sent(client: Client, shop: Shop) -> None:
    address = kept(client)
    before = client.get(address).headers["etag"]
    with shop.writing("Maeve") as work:
        issue_quote(work, learner(mass_kg=85), revises=address.rsplit("/", 1)[1])
    status, body = asked_again(client, address, before)
    assert (status, b"by Maeve at the shop" in body) == (200, True)
    # In other units, and as a part for htmx, it is another page (Vary).
    page = client.get(address).headers["etag"]
    assert asked_again(client, address, page, Cookie="__Host-units=lb.in.knots")[0] == 200
    step = at_the_kit(client).address.replace("/kit", "/you")
    whole = client.get(step).headers["etag"]
    assert (asked_again(client, step, whole)[0], asked_again(client, address, whole)[0]) == (304, 200)


def test_a_kit_is_the_same_page_until_it_was_kept_and_may_then_be_kept_once_more(
    client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    kit = at_the_kit(client)
    address, tag, (keeping, form) = kit.address, kit.headers["etag"], kit.sending("Keep this quote")
    assert asked_again(client, address, tag) == (304, b"")
    first = kit.press("Keep this quote").address
    assert client.post(keeping, content=form, headers=FORM).headers["location"] == first, "a second click"
    assert asked_again(client, address, tag)[0] == 200
    second = Reader(client).open(address).press("Keep this quote").address
    # Past so many of the same its key is as random as others are.
    monkeypatch.setattr(quotes, "MOST_ALIKE", 2)
    third = Reader(client).open(address).press("Keep this quote").address
    assert len({first, second, third}) == 3


def test_what_no_browser_keeps_and_what_is_no_page_has_no_tag_and_is_always_sent(client: Client) -> None:
    quote = kept(client)
    for address, status in (
        ("/sign-in", 200),
        ("/api/parts", 200),
        (f"{quote}/address.svg", 200),
        ("/robots.txt", 200),
        # RFC 9110, 13.2.1: what would be answered otherwise than with success is so still.
        ("/quotes/" + "x" * 32, 404),
        ("/nothing", 404),
        (f"{quote}/agree", 405),
    ):
        answer = client.get(address, headers={"If-None-Match": "*"})
        assert (answer.status_code, "etag" in answer.headers) == (status, False), address
    answer = client.post("/drafts", headers={"If-None-Match": "*"})
    assert answer.status_code == 303


def test_what_comes_in_pieces_is_passed_on_as_it_comes() -> None:
    async def pieces(scope: Scope, receive: Receive, send: Send) -> None:
        await StreamingResponse(iter((b"<p>one", b"<p>two")), media_type="text/html")(scope, receive, send)

    async def nothing() -> Message:
        await asyncio.sleep(60)
        return {"type": "http.disconnect"}

    sent: list[Message] = []

    async def take(message: Message) -> None:
        sent.append(message)

    scope = {"type": "http", "method": "GET", "headers": [(b"if-none-match", b"*")], "asgi": {"spec_version": "2.4"}}
    asyncio.run(Fresh(pieces)(scope, nothing, take))
    start, *bodies = sent
    assert (start["status"], "etag" in Headers(raw=start["headers"])) == (200, False)
    assert [body.get("body") for body in bodies] == [b"<p>one", b"<p>two", b""]
