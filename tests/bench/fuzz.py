"""Requests that nobody sends in earnest: never a 500 or a broken connection, errors in their shape, and a refusal changes nothing.

`python -m tests.bench.fuzz --requests 600 --seed 7 --on sqlite` is a short run.
"""

from __future__ import annotations

import argparse
import json
import random
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from urllib.parse import quote_from_bytes, urlencode
from xml.etree.ElementTree import Element

import httpx
import requests
import schemathesis
from html5lib.html5parser import ParseError
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)
from sqlmodel import Session, SQLModel

from server.domain.drafts import STEP_FIELDS, STEPS
from server.domain.learner import QUESTIONS, TRADE_QUESTIONS, ChoiceQuestion, ListQuestion, Question
from server.domain.messages import WORDINGS
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, MEASURES
from server.persistence.engine import Place
from server.persistence.tables import (
    AssessmentRow,
    BookingRow,
    DepositRow,
    DraftRow,
    ExpectedRow,
    HoldRow,
    LessonRow,
    LessonTimeRow,
    MessageRow,
    OnceRow,
    PieceRow,
    QuoteRow,
    ReadingRow,
    ReservationRow,
    RevisionRow,
    StockRow,
    UnmetRow,
    WordingRow,
)
from server.usecases.lessons import make_times
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIE
from tests.bench.harness import (
    KEPT_OPEN_SECONDS,
    LEARNER,
    Outcome,
    count_stock,
    end_with,
    looking,
    new_ground,
    rows_of,
    servers,
    shop_at,
)
from tests.builders_accounts import account_token
from tests.builders_lessons import booked, typed_time
from tests.pages.reader import parsed

TABLES: tuple[type[SQLModel], ...] = (
    DepositRow,
    DraftRow,
    HoldRow,
    LessonRow,
    OnceRow,
    QuoteRow,
    RevisionRow,
    StockRow,
    UnmetRow,
)
TABLES += (LessonTimeRow, BookingRow, AssessmentRow, ReadingRow, MessageRow, WordingRow)
TABLES += (PieceRow, ExpectedRow, ReservationRow)
NAMES: dict[str, list[Any]] = {
    "spot": ["Tullaveen Strand", "Lough Corravane", "Portnafinn Bay", "Nowhere"],
    "zone": ["Ireland", "Islands off Ireland", "European Union", "nowhere"],
    "deposit_codes": [[], [], [], ["HKBN 04QA"], ["nothing"]],
}
BEFORE_EVERY_ROUTE = (414, 431)  # Refused before any route is looked for, so no route's description has them.
SAMPLED = 8
REMEMBERED = 40
FORMS: tuple[str, ...] = (
    "drafts",
    "kit",
    "kit",
    "keep",
    "own",
    "own",
    "share",
    "shared",
    "shared",
    "part",
    "units",
    "answers",
)
FORMS += ("agree", "agree", "release", "seen", "odd", "desk", "desk", "desk", "desk")
COUNTS_ITS_REFUSALS = (
    "/desk/holds/",
    "/desk/worksheets/",
    "/desk/quotes/",
    "/desk/deposits/",
    "/desk/find",
    "/desk/calls",
    "/desk/worksheets",
    "/sign-in",
    "/welcome",
)
"""Where a refusal is written down, or what can be read of a form is kept."""
UNIT_KINDS = ("mass", "length", "wind")
PLENTY = 10_000
FORMS_EVERY = 3
OK = 200
TYPED: dict[str, tuple[str, ...]] = {
    "date": ("2026-12-05", "2026-11-26", "2030-02-29", ""),
    "time": ("10:30", "23:59", "7", ""),
    "email": ("some.one@example.org", "no address", ""),
    "tel": ("+353 20 910 0001", "1", ""),
    "month": ("2026-11", "2026-13"),
    "number": ("0", "1", "-1", "1e9"),
}
"""What is typed into a field of a kind, right and wrong."""


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


@dataclass(frozen=True)
class Probe:
    """A request as bytes."""

    method: str
    target: str
    body: bytes = b""
    headers: tuple[tuple[bytes, bytes], ...] = ()
    chunked: bool = False


@dataclass
class Ideas:
    """Draws requests: something that would be accepted, spoilt here and there. It remembers addresses it was told."""

    draw: random.Random
    drafts: list[str] = field(default_factory=list)
    quotes: list[str] = field(default_factory=list)
    worksheets: list[str] = field(default_factory=list)
    bookings: list[str] = field(default_factory=list)
    codes: list[str] = field(default_factory=list)
    fees: list[str] = field(default_factory=list)
    sessions: tuple[str, ...] = ()

    def often(self, share: float) -> bool:
        """True with this share."""
        return self.draw.random() < share

    def hostile(self) -> Any:
        """A value that no question expects."""
        draw = self.draw
        return draw.choice(
            [
                Raw(draw.choice(NUMBERS)),
                draw.choice(TEXTS),
                draw.choice([None, True, False, [], {}, [None], {"": None}, [[]], 0.5, -3, 10**30]),
                Raw(draw.choice(DEEP[:2])),
                [draw.choice(TEXTS)] * draw.choice([1, 2, 21, 300]),
                Twice({draw.choice(TEXTS): 1}),
                Raw(
                    draw.choice(
                        ["", "'a'", '"\\x"', '"\\ud800"', '"\n"', "01", "+1", "1.", ".5", "tru", "/**/1", "1,,2"]
                    )
                ),
            ]
        )

    def accepted(self, question: Question) -> Any:
        """A value that a question accepts, or nearly."""
        draw = self.draw
        if isinstance(question, ChoiceQuestion):
            return draw.choice(question.options)
        if isinstance(question, ListQuestion):
            return [self.accepted(question.each) for _ in range(draw.randrange(4))]
        low, high = getattr(question, "low", None), getattr(question, "high", None)
        if low is None or high is None:
            return draw.choice([True, False, "yes", "no", "Tullaveen Strand", "Lough Corravane", "0000 0000"])
        edge = draw.choice([low, high, draw.uniform(low, high)])
        return int(edge) if getattr(question, "whole", False) else edge

    def answers(self) -> dict[str, Any]:
        """Answers of a learner, with some of the questions that are not required."""
        draw = self.draw
        answers: dict[str, Any] = {**LEARNER, "mass_kg": draw.choice([35, 45, 60, 80, 95, 120, 160])}
        for name in draw.sample(list(QUESTIONS), draw.randrange(5)):
            answers[name] = self.accepted(QUESTIONS[name]) if name not in NAMES else draw.choice(NAMES[name])
        if self.often(0.3):
            answers["keeps"] = [self.piece() for _ in range(draw.randrange(4))]
        if self.often(0.3):
            answers["trades"] = [self.trade() for _ in range(draw.randrange(4))]
        return answers

    def piece(self) -> dict[str, Any]:
        """A piece of gear to keep."""
        slot = self.draw.choice(CORE_SLOTS)
        piece: dict[str, Any] = {"slot": slot}
        for measure in MEASURES[slot]:
            if self.often(0.8):
                low, high = measure.low, measure.high
                number = self.draw.choice([low, high, self.draw.uniform(low or 0, high or 0)]) if high else 0
                piece[measure.name] = number if measure.is_number else self.draw.choice([*measure.words, "cone"])
        return piece

    def trade(self) -> dict[str, Any]:
        """A piece of gear to trade in."""
        return {name: self.accepted(question) for name, question in TRADE_QUESTIONS.items() if self.often(0.9)}

    def spoil(self, value: Any) -> Any:
        """The value with one thing in it changed for the worse."""
        if isinstance(value, dict) and value and self.often(0.85):
            name = self.draw.choice(list(value))
            way = self.draw.randrange(6)
            if way == 0:
                return {key: inner for key, inner in value.items() if key != name}
            if way == 1:
                return {**value, self.draw.choice([*TEXTS, "skus", "answers", "slot", "mass_lb"]): self.hostile()}
            if way == 2:
                return Twice({name: value[name], **value})
            return {**value, name: self.spoil(value[name])}
        if isinstance(value, list) and value and self.often(0.7):
            place = self.draw.randrange(len(value))
            return [*value[:place], self.spoil(value[place]), *value[place + 1 :]]
        return self.hostile()

    def token(self, known: Sequence[str]) -> str:
        """An address that was given, or one that was not."""
        return self.draw.choice(known) if known and self.often(0.9) else self.draw.choice(SEGMENTS)

    def extra_headers(self) -> tuple[tuple[bytes, bytes], ...]:
        """Header fields that may come with anything."""
        return tuple(self.draw.sample(HEADERS, self.draw.choice([1, 2]))) if self.often(0.15) else ()

    def json_probe(self) -> Probe:
        """A request to the interface."""
        draw = self.draw
        path = draw.choice(["fit", "kits", "wind", "quotes", "quotes", "agree", "agree"])
        body: Any = self.answers()
        target = f"/api/{path}"
        headers: tuple[tuple[bytes, bytes], ...] = ()
        if path == "agree":
            target = f"/api/quotes/{self.token(self.quotes)}/agree"
            body = {**self.contact(), "revision": 1}
        elif path != "fit" and path != "kits":
            skus = draw.choice([*[None] * 9, ["EEL-160"], [], ["\0"], ["\ud800"], ["EEL-160"] * 21])
            body = {"answers": body, "skus": skus} if self.often(0.9) else body
            headers = self.key() if path == "quotes" else ()
        for _ in range(draw.choice([0, 0, 0, 1, 1, 2, 3])):
            body = self.spoil(body) if not isinstance(body, (Raw, Twice)) else body
        sort = draw.choice(TYPES) if self.often(0.15) else "application/json"
        headers += ((b"Content-Type", sort.encode()), *self.extra_headers())
        return Probe("POST", target, self.as_bytes(written(body)), headers, self.often(0.1))

    def key(self) -> tuple[tuple[bytes, bytes], ...]:
        """A key to repeat safely, or something in its place."""
        keys = (b"", b"k", b"k" * 200, b"k" * 201, b"\xff\xe9", b"a,b", str(self.draw.randrange(50)).encode())
        return ((b"Idempotency-Key", self.draw.choice(keys)),) if self.often(0.4) else ()

    def contact(self) -> dict[str, Any]:
        """A person who asks for a hold."""
        number = self.draw.randrange(10**9)
        contact: dict[str, Any] = {"name": f"Someone {number}"}
        if self.often(0.8):
            contact["email"] = f"someone{number}@example.org"
        if self.often(0.4):
            contact["phone"] = f"+1 555 {number}"
        return contact

    def as_bytes(self, body: str) -> bytes:
        """A text as bytes, mostly in UTF-8."""
        draw = self.draw
        whole = body.encode("utf-8", "surrogatepass")
        if self.often(0.85):
            return whole
        cut = draw.randrange(len(whole) + 1)
        ways: list[bytes] = [
            b"\xef\xbb\xbf" + whole,
            body.encode("utf-16", "surrogatepass"),
            whole[:cut],
            whole[:cut] + draw.choice(BYTES) + whole[cut:],
            draw.choice(BYTES),
            draw.choice(DEEP).encode(),
            whole + b" " * 70_000,
            draw.randbytes(draw.randrange(300)),
        ]
        return draw.choice(ways)

    def form_probe(self) -> Probe:
        """A form, posted."""
        draw = self.draw
        kind = draw.choice([*FORMS, *STEPS, *STEPS])
        draft, quote = f"/drafts/{self.token(self.drafts)}", f"/quotes/{self.token(self.quotes)}"
        if kind == "odd":
            return self.odd_probe()
        if kind == "desk":
            return self.desk_probe()
        if kind == "drafts":
            return self.posted("/drafts", [] if self.often(0.8) else self.strays())
        if kind in STEPS:
            return self.posted(f"{draft}/{kind}", self.step_fields(kind))
        if kind in ("kit", "keep", "share", "shared", "part"):
            return self.posted(f"{draft}/{kind}", self.kit_fields())
        if kind == "own":
            return self.own_probe(draft)
        if kind == "units":
            chosen = [
                (f"units-{name}", draw.choice(["kg", "st", "in", "kmh", "beaufort", *TEXTS])) for name in UNIT_KINDS
            ]
            return self.posted(
                "/units", [*chosen, ("back", draw.choice(["/", "/words", "//x", "/drafts/x/kit", *TEXTS]))]
            )
        fields = [*self.contact().items(), ("revision", "1")] if kind in ("agree", "seen") else []
        return self.posted(f"{quote}/{kind}", [(name, str(value)) for name, value in fields])

    def desk_probe(self) -> Probe:
        """A form of the desk's, sent by somebody who is signed in, or by nobody."""
        draw = self.draw
        sheet = f"/desk/worksheets/{self.token(self.worksheets)}"
        number = draw.choice(["1", "2", "0", "-1", "x", str(10**30)])
        ways: list[tuple[str, list[tuple[str, str]]]] = [
            ("/desk/worksheets", []),
            (sheet, self.worksheet_fields()),
            (sheet, self.worksheet_fields()),
            (f"{sheet}/word", [("go", draw.choice(["give", "refuse", "take_back"])), ("because", draw.choice(TEXTS))]),
            (f"{sheet}/{draw.choice(['read', 'withdraw', 'copy'])}", [("revision", draw.choice(NUMBERS))]),
            ("/desk/calls", [(name, draw.choice(TEXTS)) for name in ("name", "phone", "about", "day", "at", "code")]),
            (f"/desk/calls/{number}/done", []),
            ("/desk/counter", [("sku", "DUN-72"), ("pieces", draw.choice(NUMBERS)), ("key", draw.choice(TEXTS))]),
            (f"/desk/counter/{number}/take-back", []),
            (f"/desk/holds/{draw.choice(SEGMENTS)}/confirm", []),
            ("/sign-in", [("name", draw.choice(TEXTS)), ("password", draw.choice(TEXTS))]),
            ("/staff", [("name", draw.choice(TEXTS)), ("role", draw.choice(["staff", "owner", *TEXTS]))]),
            (f"/staff/{number}/role", [("role", draw.choice(["staff", *TEXTS]))]),
        ]
        target, fields = draw.choice(ways)
        return self.signed_in(self.posted(target, fields))

    def signed_in(self, probe: Probe) -> Probe:
        """Sent by the owner or by somebody of the staff, or now and then by nobody."""
        if not self.sessions or not self.often(0.9):
            return probe
        cookie = f"{SESSION_COOKIE}={self.draw.choice(self.sessions)}".encode()
        return replace(probe, headers=(*probe.headers, (b"Cookie", cookie)))

    def page_with_forms(self) -> Probe:
        """A page of which every form is to be tried."""
        draw = self.draw
        number = draw.choice(["1", "1", "2", "3", "4", "99"])
        code = draw.choice(self.codes or ["x"])
        ways = [
            f"/lessons/{number}",
            f"/bookings/{self.token(self.bookings)}",
            f"/bookings/{self.token(self.bookings)}",
            "/desk/lessons",
            f"/desk/lessons/{number}",
            f"/desk/lessons/{number}?learner={draw.choice(['1', '2', '3'])}",
            f"/desk/lessons/{number}?learner={draw.choice(['1', '2', '3'])}",
            "/desk/strand",
            "/desk/strand/call-offs",
            f"/desk/bookings/{number}/seen",
            "/desk/deposits",
            f"/desk/deposits/{draw.choice([code, *self.fees])}",
            f"/desk/deposits/{draw.choice(self.fees or [code])}?quote={code}",
            "/desk/messages",
            f"/desk/messages/{number}",
            f"/messages/wordings/{draw.choice(list(WORDINGS))}",
            f"/desk/quotes/{code}",
            f"/desk/worksheets/{self.token(self.worksheets)}",
            f"/quotes/{self.token(self.quotes)}",
            f"/drafts/{self.token(self.drafts)}/{draw.choice(STEPS)}",
            "/desk",
            "/desk/counter",
            "/desk/pieces",
            f"/desk/pieces/{number}",
            "/desk/expected",
            f"/desk/expected/{number}",
            f"/desk/reservations/{number}",
            f"/used/pieces/{number}",
            f"/used/expected/{number}",
        ]
        return self.signed_in(Probe("GET", draw.choice(ways)))

    def filled_in(self, form: Element, page: str) -> Probe:
        """A form with every field filled by its own kind, mostly, and then spoilt as others are."""
        draw = self.draw
        fields: list[tuple[str, str]] = []
        for control in form.iter():
            name = control.get("name")
            if name is not None and control.tag != "button":
                fields += [(name, self.typed_in(control))] if self.is_sent(control) else []
        buttons = [button for button in form.iter("button") if button.get("name")]
        if buttons:
            pressed = draw.choice(buttons)
            fields.append((pressed.get("name", ""), pressed.get("value", "")))
        return self.signed_in(self.posted(form.get("action", page), fields))

    def is_sent(self, control: Element) -> bool:
        """Whether a control takes part; of radio buttons and boxes about half do."""
        return control.get("type") not in ("radio", "checkbox") or self.often(0.5)

    def typed_in(self, control: Element) -> str:
        """What is typed or chosen in a control."""
        draw, kind = self.draw, control.get("type", control.tag)
        there = control.get("value") or control.text or ""
        if kind in ("hidden", "radio", "checkbox"):
            return there
        if control.tag == "select":
            options = [option.get("value", "") for option in control.iter("option")]
            return draw.choice(options or [""])
        if self.often(0.1):
            return draw.choice([*TEXTS, *NUMBERS])
        if there and self.often(0.4):
            return there
        if control.get("inputmode") in ("decimal", "numeric"):
            return draw.choice(["0", "1", "2", "5", "18", "60", "95.00", "120,50", "240"])
        if kind in TYPED:
            return draw.choice(TYPED[kind])
        return draw.choice(
            ["Nuala Example", "Gusts at the point.", "95.00", "72", "10:30", "2026-12-05", *self.codes, *self.fees]
        )

    def worksheet_fields(self) -> list[tuple[str, str]]:
        """A worksheet as it is posted: what the caller says, and what is agreed by hand."""
        draw = self.draw
        fields = [field for step in STEPS for field in self.step_fields(step) if field[0] != "go"]
        amounts = [*NUMBERS, "150", "1,50", "900.00", "€ 12"]
        own = [
            ("discount", draw.choice(amounts)),
            ("why", draw.choice(TEXTS)),
            ("fix-board", draw.choice(["EEL-105", "DUN-72", *TEXTS])),
            ("line-0-kind", draw.choice(["repair", "voucher", "delivery", *TEXTS])),
            ("line-0-label", draw.choice(TEXTS)),
            ("line-0-amount", draw.choice(amounts)),
            ("value-0", draw.choice(amounts)),
            ("note", draw.choice(TEXTS)),
            ("staff_note", draw.choice(TEXTS)),
            *[(name, str(value)) for name, value in self.contact().items()],
        ]
        kept = [field for field in own if self.often(0.5)]
        return [("go", draw.choice(["finish", "save", "more", ""])), *fields, *kept]

    def own_probe(self, draft: str) -> Probe:
        """A piece of one's own for a slot of the kit, or one bought after all."""
        slot = self.draw.choice([*CORE_SLOTS, "helmet", "x", "%00"])
        piece = self.piece()
        of = piece.pop("slot")
        fields = [(f"keeps-{of}-0-{name}", str(value)) for name, value in piece.items()]
        return self.posted(f"{draft}/own/{slot}", [*fields, *([("buy", "yes")] if self.often(0.3) else [])])

    def strays(self) -> list[tuple[str, str]]:
        """Fields that no form has."""
        return [(self.draw.choice(TEXTS), self.draw.choice(TEXTS)) for _ in range(self.draw.choice([1, 3, 401]))]

    def step_fields(self, step: str) -> list[tuple[str, str]]:
        """The fields of a step as a browser would post them."""
        draw = self.draw
        fields: list[tuple[str, Any]] = [("go", draw.choice(["next", "kit", "", "nowhere"]))]
        if step == "gear":
            return [(name, str(value)) for name, value in [*fields, *self.gear_fields()]]
        for name in STEP_FIELDS[step]:
            value = LEARNER.get(name, draw.choice(NAMES[name]) if name in NAMES else self.accepted(QUESTIONS[name]))
            values = value if isinstance(value, list) else [value]
            fields += [(name, "yes" if each is True else "no" if each is False else each) for each in values]
        if step == "you":
            fields += [
                ("mass_unit", draw.choice(["kg", "lb", "st", "t"])),
                ("mass_pounds", draw.choice(["", "3", "1e9"])),
            ]
        return [(name, str(value)) for name, value in fields]

    def gear_fields(self) -> Iterator[tuple[str, Any]]:
        """The fields of gear kept and gear to trade in."""
        for _ in range(self.draw.randrange(3)):
            piece = self.piece()
            slot, place = piece.pop("slot"), self.draw.choice(["0", "1", "2", "99"])
            yield from ((f"keeps-{slot}-{place}-{name}", value) for name, value in piece.items())
        for _ in range(self.draw.randrange(3)):
            row = self.draw.choice(["0", "1", "19", "99", "٣", "-1", "100"])
            yield from ((f"trades-{row}-{name}", value) for name, value in self.trade().items())

    def named_kit(self) -> str:
        """A kit in an address, and what was changed in it."""
        skus = [
            self.draw.choice(["EEL-105", "DUN-140", "TUR-M72T", "NOWHERE", "", "\0", "é"])
            for _ in range(self.draw.randrange(7))
        ]
        pairs = [("sku", sku) for sku in skus] + [("changed", self.draw.choice([*CORE_SLOTS, "kit", "x"]))]
        return urlencode([*pairs, ("by", self.draw.choice(["larger", "own", "beside", "x"]))])

    def kit_fields(self) -> list[tuple[str, str]]:
        """The fields of the kit page's forms."""
        skus = ("EEL-160", "DUN-158", "GDW-165", "EEL-85", "NOWHERE", "\0", "")
        fields = [("put", self.draw.choice(skus))] if self.often(0.4) else []
        fields += (
            [("use", self.draw.choice(["recommended", "least_money", "within_budget", "x"]))] if self.often(0.3) else []
        )
        fields += [("without", self.draw.choice([*CORE_SLOTS, *EXTRA_SLOTS, "x"]))] if self.often(0.3) else []
        fields += (
            [("key", self.draw.choice(["", "k", "k" * 90, str(self.draw.randrange(99))]))] if self.often(0.5) else []
        )
        return fields + ([("sku", self.draw.choice(skus))] * self.draw.choice([0, 1, 25]) if self.often(0.2) else [])

    def posted(self, target: str, fields: list[tuple[str, str]]) -> Probe:
        """Fields as a body, mostly as browsers encode them, spoilt here and there."""
        draw = self.draw
        for _ in range(draw.choice([0, 0, 1, 1, 2])):
            place = draw.randrange(len(fields) + 1)
            name = fields[place][0] if place < len(fields) else draw.choice(TEXTS)
            value = draw.choice([*TEXTS, *NUMBERS])
            fields = [*fields[:place], (name, value), *fields[place + (0 if self.often(0.3) else 1) :]]
        way = draw.randrange(10)
        if way < 6:
            sort, body = "application/x-www-form-urlencoded", self.urlencoded(fields)
        elif way < 9:
            sort, body = self.multipart(fields)
        else:
            sort, body = draw.choice(TYPES), draw.choice([self.urlencoded(fields), *BYTES])
        headers = ((b"Content-Type", sort.encode()), *self.extra_headers())
        return Probe("POST", target, body, headers, self.often(0.1))

    def urlencoded(self, fields: Sequence[tuple[str, str]]) -> bytes:
        """As a form is sent by default, at times with percent signs that mean nothing."""
        code = self.draw.choice(["utf-8", "utf-8", "utf-8", "utf-16", "utf-8"])
        pairs = ["=".join(quote_from_bytes(text.encode(code, "surrogatepass")) for text in field) for field in fields]
        if self.often(0.15):
            pairs.insert(
                0, self.draw.choice(["%", "%zz=%", "=", "&&", "a=%ff%fe", "a;b=c", "%00=%00", "a" * 9000, "=" * 500])
            )
        return "&".join(pairs).encode()

    def multipart(self, fields: Sequence[tuple[str, str]]) -> tuple[str, bytes]:
        """As a form with files is sent, whole or broken."""
        draw = self.draw
        boundary = draw.choice(["x", "-" * 30, "b" * 70, "a b", '"q"'])
        parts = []
        for name, value in fields:
            disposition = f'Content-Disposition: form-data; name="{name}"'
            if self.often(0.1):
                disposition = draw.choice(
                    [f'{disposition}; filename="a"', "Content-Disposition: form-data", "X: y", ""]
                )
            parts.append(f"--{boundary}\r\n{disposition}\r\n\r\n{value}\r\n")
        body = "".join(parts).encode("utf-8", "surrogatepass")
        if self.often(0.25):
            body += (
                rb"--x"
                + b'\r\nContent-Disposition: form-data; name="mass_kg"\r\n\r\n'
                + draw.choice([b"\\ud800", b"+2AA-", b"\x80\xff", b"xn--a-\x80"])
                + b"\r\n"
            )
        body += f"--{boundary}--\r\n".encode() if self.often(0.8) else draw.choice(BYTES)
        charset = f"; charset={draw.choice(CHARSETS)}" if self.often(0.4) else ""
        return f"multipart/form-data; boundary={boundary}{charset}", body

    def odd_probe(self) -> Probe:
        """Any path by any method."""
        draw = self.draw
        starts = (
            "",
            "/api",
            "/drafts",
            "/quotes",
            "/api/quotes",
            "/static",
            "/api/parts",
            "/privacy",
            "//",
            "/api/openapi.json",
        )
        path = draw.choice(starts) + "".join("/" + draw.choice(SEGMENTS) for _ in range(draw.randrange(4)))
        if self.often(0.3):
            path = f"/quotes/{self.token(self.quotes)}" if self.often(0.5) else f"/drafts/{self.token(self.drafts)}/kit"
        if self.often(0.3):
            path += "?" + draw.choice(
                ["slot=%00", "slot=%ff", "slot=board&slot=x", "slot=", "%", "a" * 2100, "slot[]=board"]
            )
        method = draw.choice(METHODS) if self.often(0.6) else "GET"
        return Probe(method, path or "/", b"" if self.often(0.7) else draw.choice(BYTES), self.extra_headers())


def pages_of(ideas: Ideas) -> Probe:
    """A page or an answer to look at, after what was posted."""
    quote, draft = ideas.token(ideas.quotes), ideas.token(ideas.drafts)
    ways = [
        f"/quotes/{quote}",
        f"/api/quotes/{quote}",
        f"/drafts/{draft}/kit",
        f"/drafts/{draft}/kit?{ideas.named_kit()}",
        f"/drafts/{draft}/shared",
        f"/prepared/{ideas.token(ideas.worksheets)}",
        f"/quotes/{quote}/news?shown={ideas.draw.choice(SEGMENTS)}",
        f"/desk/counter?item={ideas.draw.choice(SEGMENTS)}",
        f"/desk/worksheets/{ideas.token(ideas.worksheets)}",
        "/desk",
        f"/drafts/{draft}/{ideas.draw.choice(STEPS)}",
    ]
    headers = ideas.extra_headers()
    way = ideas.draw.choice(ways)
    if way.startswith("/desk") and ideas.sessions:
        headers = (*headers, (b"Cookie", f"{SESSION_COOKIE}={ideas.draw.choice(ideas.sessions)}".encode()))
    return Probe("GET", way, headers=headers)


class Refusals:
    """Whether a refused request changed anything: rows are counted on a sample, and SQLite tells of every commit."""

    def __init__(self, place: Place, session: Session, file: sqlite3.Connection | None) -> None:
        self.place, self.session, self.file = place, session, file

    def rows(self) -> dict[str, int]:
        """How many rows each table has that a request can write."""
        found = rows_of(self.session, TABLES)
        self.session.rollback()
        return found

    def commits(self) -> int:
        """A number that another connection's commit changes."""
        return int(self.file.execute("PRAGMA data_version").fetchone()[0]) if self.file else 0


@dataclass
class Prober:
    """Sends probes, one after another, and judges what comes back."""

    client: httpx.Client
    ideas: Ideas
    refusals: Refusals
    outcome: Outcome

    def try_a_form(self) -> None:
        """One of the forms that one of the pages shows at the moment."""
        page = self.ideas.page_with_forms()
        answer = self.send(page)
        if answer is None or answer.status_code != OK or not answer.headers["content-type"].startswith("text/html"):
            return
        try:
            tree = parsed(answer.text)
        except ParseError as error:
            # What was typed is shown as it was typed, signs that no page should hold among it.
            self.outcome.must("codepoint" in str(error), "a page is no valid HTML", page.target, error)
            return
        forms = [form for form in tree.iter("form") if form.get("method") == "post"]
        if forms:
            form = self.ideas.draw.choice(forms)
            self.outcome.done["forms as a page shows them"] += 1
            self.send(self.ideas.filled_in(form, page.target))

    def send(self, probe: Probe) -> httpx.Response | None:
        """One request; its answer, or None where the connection broke."""
        outcome = self.outcome
        is_sampled = outcome.done["requests"] % SAMPLED == 0
        rows, commits = self.refusals.rows() if is_sampled else {}, self.refusals.commits()
        target = probe.target.encode("utf-8", "surrogatepass")
        url = self.client.base_url.copy_with(raw_path=quote_from_bytes(target, safe="/?&=%[]*~").encode())
        content = (
            (probe.body[at : at + 1000] for at in range(0, len(probe.body), 1000)) if probe.chunked else probe.body
        )
        outcome.done["requests"] += 1
        try:
            answer = self.client.send(httpx.Request(probe.method, url, headers=probe.headers, content=content))
        except httpx.TransportError as error:
            outcome.must(False, "the connection broke", type(error), probe)
            return None
        outcome.statuses[answer.status_code] += 1
        fault = fault_of(answer)
        outcome.must(not fault, fault, answer.status_code, probe)
        if answer.is_client_error:
            self.refused(probe, rows, commits)
        self.remember(answer)
        return answer

    def refused(self, probe: Probe, rows: dict[str, int], commits: int) -> None:
        """A refusal changed nothing; only a step keeps those of its answers that can be read."""
        if rows:
            after = self.refusals.rows()
            self.outcome.done["refusals with rows counted"] += 1
            self.outcome.must(after == rows, "a refused request changed rows", rows, after, probe)
        is_step = (
            probe.method == "POST" and probe.target.startswith("/drafts/") and probe.target.rsplit("/", 1)[1] in STEPS
        )
        if not is_step and not probe.target.startswith(COUNTS_ITS_REFUSALS):
            self.outcome.must(self.refusals.commits() == commits, "a refused request committed something", probe)

    def remember(self, answer: httpx.Response) -> None:
        """Keep the addresses that an answer gives."""
        location = answer.headers.get("location", "")
        if answer.status_code == 201:
            location = httpx.URL(answer.json()["url"]).path
            self.ideas.codes[:] = [*self.ideas.codes, answer.json()["code"]][-REMEMBERED:]
        for start, known in (
            ("/drafts/", self.ideas.drafts),
            ("/quotes/", self.ideas.quotes),
            ("/desk/worksheets/", self.ideas.worksheets),
            ("/bookings/", self.ideas.bookings),
        ):
            token = location.removeprefix(start).split("/")[0]
            if location.startswith(start) and token not in known:
                known.append(token)
                del known[:-REMEMBERED]


def fault_of(answer: httpx.Response) -> str:
    """What is wrong with an answer, whatever was asked; empty where nothing is."""
    if answer.status_code >= 500:
        return "a fault of the server"
    if answer.status_code < 400 or answer.request.method == "HEAD":
        return ""
    if "HX-Redirect" in answer.headers:  # A fragment asked for without a session: the page goes to the sign-in.
        return ""
    path = answer.request.url.path
    kind = answer.headers.get("content-type", "")
    if not f"{path}/".startswith("/api/") and kind.startswith("text/html"):
        if answer.request.headers.get("HX-Request") == "true" and not answer.text.startswith("<!doctype"):
            return "" if answer.text.lstrip().startswith("<") or not answer.text else "a fragment of no shape"
        return "" if "<title>" in answer.text and "</html>" in answer.text else "a page of no shape"
    try:
        told = answer.json()
        rows = told["errors"]
        is_right = set(told) == {"errors"} and len(rows) > 0 and all(_is_fault(row) for row in rows)
    except (ValueError, KeyError, TypeError):
        is_right = False
    return "" if is_right and kind == "application/json" else "an error of no shape"


def _is_fault(row: Any) -> bool:
    texts = isinstance(row, dict) and all(isinstance(text, str) for text in row.values())
    return texts and set(row) == {"field", "message", "accepted"} and bool(row["message"])


def from_the_description(prober: Prober, number: int, seed: int) -> None:
    """Requests drawn from the interface's own description, right ones and wrong ones; answers must be as described."""
    address = str(prober.client.base_url).rstrip("/")
    schema = schemathesis.openapi.from_url(f"{address}/api/openapi.json")
    operations = [found.ok() for found in schema.get_all_operations() if isinstance(found, Ok)]
    each = max(1, number // (2 * len(operations)))
    checks = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
    with requests.Session() as session:
        for operation in operations:
            for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):

                @seeded(seed)
                @settings(
                    max_examples=each,
                    database=None,
                    deadline=None,
                    phases=[Phase.generate],
                    suppress_health_check=list(HealthCheck),
                )
                @given(operation.as_strategy(generation_mode=mode))
                def ask(case: Any) -> None:
                    if "token" in case.path_parameters and prober.ideas.often(0.7) and prober.ideas.quotes:
                        case.path_parameters["token"] = prober.ideas.draw.choice(prober.ideas.quotes)
                    answer = case.call(base_url=address, session=session)
                    prober.outcome.done["requests"] += 1
                    prober.outcome.done["from the description"] += 1
                    prober.outcome.statuses[answer.status_code] += 1
                    if answer.status_code in BEFORE_EVERY_ROUTE:
                        return
                    try:
                        case.validate_response(answer, checks=checks)
                    except FailureGroup as failures:
                        words = [str(failure) for failure in failures.exceptions]
                        prober.outcome.must(False, "not as described", words, case.as_curl_command())

                try:
                    ask()
                except Unsatisfiable:
                    prober.outcome.done["operations that take nothing wrong"] += 1


def booked_lessons(shop: Shop) -> tuple[list[str], list[str]]:
    """Lessons on the calendar and places in them, whatever the day is; the tokens of the bookings and the codes of their fees."""
    day = (datetime.now(UTC) + timedelta(days=2)).date().isoformat()
    with shop.writing("Maeve") as work:
        numbers = [make_times(work, typed_time(kind=kind, day=day))[0] for kind in ("private", "group", "tow")]
    made = [booked(shop, number) for number in numbers]
    return [booking.token for booking in made], [booking.code for booking in made]


def fuzz(place: Place, number: int, *, seed: int, described: int) -> Outcome:
    """So many requests, of which some are drawn from the description; the rest are bodies, forms, paths and pages in turn."""
    outcome, draw = Outcome(seed), random.Random(seed)
    with ExitStack() as ending:
        (server,) = running = ending.enter_context(servers(place, 1))
        with shop_at(place) as shop:
            count_stock(shop, PLENTY)
            sessions = (account_token(shop, "Orla", "owner"), account_token(shop, "Maeve", "staff"))
            bookings, fees = booked_lessons(shop)
        session = ending.enter_context(looking(place))
        file = None if place.url else ending.enter_context(closing(sqlite3.connect(place.sqlite_file)))
        limits = httpx.Limits(keepalive_expiry=KEPT_OPEN_SECONDS)
        client = ending.enter_context(httpx.Client(base_url=server.address, timeout=60, limits=limits))
        prober = Prober(
            client,
            Ideas(draw, bookings=bookings, fees=fees, sessions=sessions),
            Refusals(place, session, file),
            outcome,
        )
        for _ in range(3):
            prober.send(Probe("POST", "/drafts"))
            prober.send(Probe("POST", "/api/quotes", json.dumps({"answers": LEARNER}).encode()))
        if described:
            from_the_description(prober, described, seed)
        makers: list[Callable[[Ideas], Probe]] = [Ideas.json_probe, Ideas.form_probe, Ideas.form_probe, pages_of]
        makers += [Ideas.json_probe, Ideas.form_probe, Ideas.odd_probe]
        turn = 0
        while outcome.done["requests"] < number:
            prober.send(makers[turn % len(makers)](prober.ideas))
            if turn % FORMS_EVERY == 0:
                prober.try_a_form()
            turn += 1
        outcome.done["answers of 500"] = sum(n for status, n in outcome.statuses.items() if status >= 500)
        outcome.must_be_silent(running)
    return outcome


def fuzzes(requests: int = 20_000, seed: int | None = None, grounds: Sequence[str] = ("sqlite", "postgres")) -> None:
    """20,000 requests out of the ordinary on SQLite and a quarter of them on PostgreSQL; a fifth are drawn from the description."""
    outcomes = []
    seed = random.SystemRandom().randrange(1_000_000) if seed is None else seed
    for name in grounds:
        number = requests if name == grounds[0] else requests // 4
        print(f"fuzz on {name}: seed {seed}", flush=True)
        with new_ground(name) as ground:
            outcomes.append(fuzz(ground.place, number, seed=seed, described=number // 5))
        outcomes[-1].tell(f"fuzz on {name}")
    end_with(outcomes)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=fuzzes.__doc__)
    parser.add_argument("--requests", type=int, default=20_000)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--on", nargs="+", default=["sqlite", "postgres"], choices=["sqlite", "postgres"])
    given_options = parser.parse_args()
    fuzzes(given_options.requests, given_options.seed, given_options.on)
