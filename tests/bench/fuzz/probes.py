"""Requests as bytes, and how fields become the body of one: as browsers do it, and as nothing in earnest does."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import quote_from_bytes

from server.web.guard import SESSION_COOKIE
from tests.bench.fuzz.values import BYTES, CHARSETS, HEADERS, TEXTS, TYPES

URLENCODED = "application/x-www-form-urlencoded"
MOST_BODY = 60_000  # What is larger is refused before any route sees it; a few of those are enough.


@dataclass(frozen=True)
class Probe:
    """A request as bytes; a torn one tells another length than it has, and is cut off there."""

    method: str
    target: str
    body: bytes = b""
    headers: tuple[tuple[bytes, bytes], ...] = ()
    chunked: bool = False
    torn: int = 0

    def by(self, session: str) -> Probe:
        """The same by somebody who is signed in."""
        cookie = (b"Cookie", f"{SESSION_COOKIE}={session}".encode())
        return replace(self, headers=(*self.headers, cookie)) if session else self


@dataclass(frozen=True)
class File:
    """A file in a form."""

    name: str
    content: bytes
    kind: str = "application/octet-stream"


Field = tuple[str, str | File]


def as_text(value: str | File) -> str:
    """A field's text; of a file what a browser sends where the form takes none."""
    return value if isinstance(value, str) else value.name


def in_utf8(text: str) -> bytes:
    """A text in UTF-8, lone surrogates and all."""
    return text.encode("utf-8", "surrogatepass")


def urlencoded(fields: Sequence[Field], code: str = "utf-8") -> bytes:
    """As a form without files is sent."""
    pairs = ((name, as_text(value)) for name, value in fields)
    return "&".join(
        "=".join(quote_from_bytes(text.encode(code, "surrogatepass")) for text in pair) for pair in pairs
    ).encode()


def quoted(name: str) -> str:
    """A name as HTML's form encoding writes it (HTML, 4.10.21.8)."""
    return name.replace("\r", "%0D").replace("\n", "%0A").replace('"', "%22")


def part_of(name: str, value: str | File) -> bytes:
    """A part of a form with files, without its boundary."""
    told = f'Content-Disposition: form-data; name="{quoted(name)}"'
    if isinstance(value, File):
        head = f'{told}; filename="{quoted(value.name)}"\r\nContent-Type: {value.kind}\r\n\r\n'
        return in_utf8(head) + value.content
    return in_utf8(f"{told}\r\n\r\n{value}")


def multipart(fields: Sequence[Field], boundary: str = "----slackwater") -> tuple[str, bytes]:
    """As a form with files is sent: its type and its body."""
    mark = f"--{boundary}".encode()
    parts = b"".join(mark + b"\r\n" + part_of(name, value) + b"\r\n" for name, value in fields)
    return f"multipart/form-data; boundary={boundary}", parts + mark + b"--\r\n"


def broken_multipart(draw: random.Random, fields: Sequence[Field]) -> tuple[str, bytes]:
    """A form with files that is broken in one way."""
    boundary = draw.choice(("x", "-" * 30, "b" * 70, "b" * 300, "a b", '"q"', "'"))
    kind, body = multipart(fields, boundary)
    mark = f"--{boundary}".encode()
    field = b'\r\nContent-Disposition: form-data; name="mass_kg"\r\n'
    odd = draw.choice([b"\\ud800", b"+2AA-", b"\x80\xff", b"xn--a-\x80"])
    ways: tuple[tuple[str, bytes], ...] = (
        ("multipart/form-data", body),
        ("multipart/form-data; boundary=", body),
        ("multipart/form-data; boundary=other", body),
        ("multipart/mixed; boundary=" + boundary, body),
        (f"{kind}; charset={draw.choice(CHARSETS)}", mark + field + b"\r\n" + odd + b"\r\n" + body),
        (kind, body[: draw.randrange(len(body) + 1)]),
        (kind, body.replace(b"\r\n", b"\n")),
        (kind, body.replace(b"\r\n\r\n", b"\r\n", 1)),
        (kind, mark + body),
        (kind, body + draw.choice(BYTES)),
        (kind, body.replace(b"form-data; ", draw.choice([b"", b"attachment; ", b"form-data; name=; "]))),
        (
            kind,
            body.replace(
                b'name="', draw.choice([b'filename="', b"name*=utf-8''", b'name="a"; name="', b'name="\r\nX: '])
            ),
        ),
        (kind, (mark + field + b"\r\n1\r\n") * draw.choice([399, 401, 900]) + body),
        (kind, (mark + field.rstrip() + b'; filename="a"\r\n\r\n\r\n') * draw.choice([1, 13, 700]) + body),
        (kind, mark + b"\r\n" + b"X: y\r\n" * 3000 + b"\r\n" + body),
        (kind, mark + field + b"Content-Transfer-Encoding: base64\r\n\r\n!!!!\r\n" + body),
        (kind, mark + field + b"Content-Type: multipart/mixed; boundary=y\r\n\r\n--y\r\n\r\n--y--\r\n" + body),
    )
    return draw.choice(ways)


def few_bytes(draw: random.Random, body: bytes) -> bytes:
    """A body with a few bytes of it gone, doubled or changed."""
    at = draw.randrange(len(body) + 1)
    return body[:at] + draw.choice((b"", b"\0", b"\xff", b"%", b"&", b"=", *BYTES)) + body[at + draw.randrange(4) :]


def odd_body(draw: random.Random, fields: Sequence[Field]) -> tuple[str, bytes]:
    """The type and the body of fields that are sent as no page sends them."""
    plain = urlencoded(fields)
    ways = (
        lambda: broken_multipart(draw, fields),
        lambda: broken_multipart(draw, fields),
        lambda: (URLENCODED, urlencoded(fields, "utf-16")),
        lambda: (URLENCODED, few_bytes(draw, plain)),
        lambda: (
            URLENCODED,
            plain + b"&" + draw.choice((b"%", b"%zz=%", b"=", b"&&", b"a=%ff%fe", b"%00=%00", b"=" * 500)),
        ),
        lambda: (URLENCODED, plain + b"&x=" * draw.choice((399, 401, 3000))),
        lambda: (URLENCODED, plain + b"&a=" + b"x" * 70_000),
        lambda: (draw.choice(TYPES), draw.choice((plain, *BYTES))),
        lambda: ("application/json", b'{"sku": ["DUN-72"], "go": null}'),
    )
    return draw.choice(ways)()


def extra_headers(draw: random.Random) -> tuple[tuple[bytes, bytes], ...]:
    """Header fields that may come with anything."""
    return tuple(draw.sample(HEADERS, draw.choice([1, 2]))) if draw.random() < 0.1 else ()


def posted(draw: random.Random, target: str, fields: Sequence[Field], *, has_files: bool, spoils: float) -> Probe:
    """Fields posted as the form says, or now and then in another way: by another method, twice over, cut off."""
    is_odd = draw.random() < spoils
    if is_odd and draw.random() < 0.5:
        kind, body = odd_body(draw, fields)
    elif has_files != (is_odd and draw.random() < 0.5):
        kind, body = multipart(fields)
    else:
        kind, body = URLENCODED, urlencoded(fields)
    headers = ((b"Content-Type", kind.encode("utf-8", "replace")), *(extra_headers(draw) if spoils else ()))
    method = draw.choice(("PUT", "PATCH", "DELETE", "HEAD", "OPTIONS")) if draw.random() < spoils / 20 else "POST"
    torn = draw.choice((1, 40, 9000, -1)) if draw.random() < spoils / 20 else 0
    return Probe(method, target, body, headers, draw.random() < spoils / 5, torn)


def spoilt_fields(draw: random.Random, fields: Sequence[Field], odd_value: str | File) -> list[Field]:
    """Fields of which one is dropped, doubled, filled with something odd, renamed, or joined by another."""
    at = draw.randrange(len(fields)) if fields else 0
    before, after = list(fields[:at]), list(fields[at + 1 :])
    name, value = fields[at] if fields else ("x", "")
    ways: tuple[list[Field], ...] = (
        [],
        [(name, value)] * draw.choice((2, 2, 21)),
        [(name, odd_value)],
        [(name, odd_value)],
        [(name, odd_value)],
        [(name, value), (name, odd_value)],
        [(draw.choice((f"{name}[]", f"{name}.x", f"{name}[0][a]", name.upper(), f"{name}\0", *TEXTS)), value)],
        [(name, as_text(value) * 2)],
        [(name, f" {as_text(value)}\r\n")],
        [(name, value), (draw.choice(TEXTS), odd_value)],
    )
    return [*before, *draw.choice(ways), *after]
