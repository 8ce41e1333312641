"""What no browser sends: forms in a charset of their own, and files that are not there."""

from __future__ import annotations

import asyncio
import logging

import pytest
from fastapi import FastAPI
from starlette.types import Message

from tests.builders_http import Client
from tests.builders_sales import bought

PART = b'--x\r\nContent-Disposition: form-data; name="mass_kg"\r\n\r\n%s\r\n--x--\r\n'


@pytest.mark.parametrize(
    ("charset", "typed"),
    [
        ("punycode", b"\x80"),
        ("undefined", b"80"),
        ("idna", b"xn--a-\x80"),
        ("utf-7", b"+2AA-"),
        ("unicode_escape", b"\\ud800"),
    ],
)
def test_a_form_in_another_charset_than_its_page_is_refused(client: Client, charset: str, typed: bytes) -> None:
    draft = client.post("/drafts").headers["location"]
    kind = {"Content-Type": f"multipart/form-data; boundary=x; charset={charset}"}
    refused = client.post(draft, content=PART % typed, headers=kind)
    assert refused.status_code == 400
    assert "<title>That could not be read" in refused.text


def test_a_form_that_names_the_charset_of_its_page_is_read(client: Client) -> None:
    draft = client.post("/drafts").headers["location"]
    kind = {"Content-Type": "multipart/form-data; boundary=x; charset=UTF-8"}
    client.post(draft, content=PART % b"81", headers=kind)
    assert 'value="81"' in client.get(draft).text


def test_a_file_that_is_not_there_is_answered_with_a_page(client: Client) -> None:
    missing = client.get("/static/nothing.css")
    assert missing.status_code == 404
    assert "<title>Nothing is here" in missing.text


def test_who_hangs_up_amid_a_photograph_is_no_fault_of_the_server(
    app: FastAPI, caplog: pytest.LogCaptureFixture
) -> None:
    coming: list[Message] = [
        {"type": "http.request", "body": PART[:40], "more_body": True},
        {"type": "http.disconnect"},
    ]
    statuses: list[int] = []

    async def receive() -> Message:
        return coming.pop(0)

    async def send(message: Message) -> None:
        statuses.extend([message["status"]] if "status" in message else [])

    head = [
        (b"host", b"slackwater.example"),
        (b"content-type", b"multipart/form-data; boundary=x"),
        (b"content-length", b"9000"),
    ]
    path = f"/owned/{bought(app.state.shop).token}/ask"
    told = {"type": "http", "http_version": "1.1", "method": "POST", "path": path, "query_string": b"", "headers": head}
    asyncio.run(app(told, receive, send))
    assert statuses == [400]
    assert [line for line in caplog.records if line.levelno >= logging.WARNING] == []
