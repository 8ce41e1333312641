"""Values that nobody means: numbers out of all bounds, texts that codecs and queries trip over, bytes that are no text."""

from __future__ import annotations

import json
import random
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Raw:
    """A piece of JSON as it is written, whether it can be read or not."""

    text: str


@dataclass(frozen=True)
class Twice:
    """An object in which a name stands twice."""

    members: dict[str, Any]


def written(value: Any) -> str:
    """JSON text, with what JSON does not allow where it was asked for."""
    if isinstance(value, Raw):
        return value.text
    if isinstance(value, Twice):
        members = [f"{json.dumps(name)}:{written(inner)}" for name, inner in value.members.items()]
        return "{" + ",".join([*members, *members[:1]]) + "}"
    if isinstance(value, dict):
        return "{" + ",".join(f"{json.dumps(name)}:{written(inner)}" for name, inner in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ",".join(written(inner) for inner in value) + "]"
    return json.dumps(value)


NUMBERS: tuple[str, ...] = (
    "0",
    "-0",
    "-1",
    "1e400",
    "-1e400",
    "NaN",
    "Infinity",
    "-Infinity",
    "1e-400",
    "0.1e1",
    "1E5",
    "160.0000001",
    "9" * 400,
)
NUMBERS += (
    "9" * 5000,
    "1" + "0" * 30,
    "9223372036854775808",
    "-9223372036854775809",
    "34.999999999999996",
    "1e308",
    "2147483648",
)
TEXTS: tuple[str, ...] = (
    "",
    " ",
    "\0",
    "a\0b",
    "\ud800",
    "\udfff\ud800",
    "\ufffe",
    "\u202e",
    "é" * 30,
    "💨" * 60,
    "a" * 61,
    "a" * 5000,
)
TEXTS += (
    "'; DROP TABLE quote; --",
    "<script>alert(1)</script>",
    "{{ 7 * 7 }}",
    "%s%n",
    "../../etc/passwd",
    "٣",
    "²",
    "1e5",
    "NaN",
)
TEXTS += (
    "yes",
    "no",
    "none",
    "board",
    "hand_wing",
    "e\u0301",
    "\u00a0",
    "\r\n",
    "\x7f\x85",
    "١٢",
    "+",
    "-",
    ",",
    "0x10",
    "1_000",
)
MARK = "<b id=zz1"
"""No answer may show this as it was sent: it would be an element of the page."""
TEXTS += (
    f"{MARK}>",
    f'"><{MARK[1:]}>',
    f"' autofocus x='{MARK}>",
    f"</textarea>{MARK}>",
    f"</title>{MARK}>",
    f"--!>{MARK}>",
)
TEXTS += (
    "\u202eevil\u202c\u200f",
    "\u0645\u0631\u062d\u0628\u0627",
    "\ufeff",
    "a\u0300" * 99,
    "=1+1",
    "\t@SUM(A1)",
    "x" * 20_000,
)
DATES: tuple[str, ...] = (
    "0000-01-01",
    "0001-01-01",
    "9999-12-31",
    "10000-01-01",
    "2027-02-29",
    "2028-02-29",
    "2026-13-01",
    "2026-00-00",
    "-0044-03-15",
    "2026-11-25T10:00",
    "1e3-01-01",
    "25.11.2026",
    "٢٠٢٦-١١-٢٥",
    "2026-W48-3",
    "20261125",
)
TIMES: tuple[str, ...] = (
    "24:00",
    "23:60",
    "-1:00",
    "7",
    "07:30:99",
    "23:59:59.999999999",
    "٧:٣٠",
    "0730",
    "25:61+99:99",
)
DEEP: tuple[str, ...] = ("[" * 900 + "]" * 900, '{"a":' * 900 + "1" + "}" * 900, "[" * 20_000, '{"a":' * 12_000)
BYTES: tuple[bytes, ...] = (
    b"",
    b"\xff",
    b"\xfe\xff\x00{",
    b"\xc3\x28",
    b"\xed\xa0\x80",
    b"\xf4\x90\x80\x80",
    b"\x00",
    b"{",
    b"null",
    b"[]",
    b"0",
    b'"a"',
)
TYPES: tuple[str, ...] = (
    "application/json",
    "application/json; charset=utf-8",
    "application/json; charset=utf-7",
    "text/plain",
    "application/x-www-form-urlencoded",
    "application/x-www-form-urlencoded; charset=utf-16",
    "multipart/form-data",
    "multipart/form-data; boundary=",
    "multipart/form-data; boundary=x; charset=undefined",
    "application/xml",
    "",
    ";",
    "/",
    "a" * 300,
)
CHARSETS: tuple[str, ...] = (
    "utf-8",
    "utf-7",
    "utf-16",
    "idna",
    "punycode",
    "undefined",
    "unicode_escape",
    "raw_unicode_escape",
    "hex",
    "rot13",
    "nowhere",
)
METHODS: tuple[str, ...] = ("GET", "HEAD", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND")
HEADERS: tuple[tuple[bytes, bytes], ...] = (
    (b"HX-Request", b"true"),
    (b"HX-Boosted", b"true"),
    (b"HX-History-Restore-Request", b"\xff"),
    (b"Origin", b"null"),
    (b"Origin", b"https://elsewhere.example"),
    (b"Origin", b"http://[::1"),
    (b"Origin", b"\xff\xfe"),
    (b"Sec-Fetch-Site", b"same-origin"),
    (b"Sec-Fetch-Site", b"cross-site"),
    (b"Cookie", b"a=b; \xff"),
    (b"Accept-Encoding", b"gzip"),
    (b"Accept-Encoding", b"\xff;q=x"),
    (b"Accept-Language", b"x-" + b"y" * 900),
    (b"X-Forwarded-For", b"\xff, 999.1.1.1"),
    (b"X-Filler", b"z" * 17_000),
    (b"If-None-Match", b'"' + b"x" * 500),
    (b"Range", b"bytes=9-1"),
    (b"Expect", b"a miracle"),
)
SEGMENTS: tuple[str, ...] = (
    "",
    "%00",
    "%ff",
    "..",
    "%2e%2e",
    "%2f",
    "a" * 70,
    "a" * 3000,
    "é",
    "%E2%80%AE",
    "nobody-was-given-this",
    "~",
    "*",
    "%25",
    "-" * 64,
)


def odd_text(draw: random.Random) -> str:
    """A text that no field expects: words, a number, a day or a time."""
    return draw.choice(draw.choice((TEXTS, TEXTS, NUMBERS, NUMBERS, DATES, TIMES)))
