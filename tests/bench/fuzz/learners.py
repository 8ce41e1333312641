"""What learners answer, drawn from the questions themselves: bodies for the interface and forms of drafts, spoilt here and there."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from server.domain.drafts import STEP_FIELDS, STEPS
from server.domain.learner import QUESTIONS, TRADE_QUESTIONS, ChoiceQuestion, ListQuestion, Question
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, MEASURES
from tests.bench.fuzz.probes import Field, Probe, extra_headers, posted, spoilt_fields
from tests.bench.fuzz.routes import Routes
from tests.bench.fuzz.values import (
    BYTES,
    DEEP,
    METHODS,
    NUMBERS,
    SEGMENTS,
    TEXTS,
    TYPES,
    Raw,
    Twice,
    odd_text,
    written,
)
from tests.bench.harness import LEARNER

NAMES: dict[str, list[Any]] = {
    "spot": ["Tullaveen Strand", "Lough Corravane", "Portnafinn Bay", "Nowhere"],
    "zone": ["Ireland", "Islands off Ireland", "European Union", "nowhere"],
    "deposit_codes": [[], [], [], ["HKBN 04QA"], ["nothing"]],
}
STARTS = (
    "",
    "/api",
    "/drafts",
    "/quotes",
    "/api/quotes",
    "/static",
    "/api/parts",
    "/privacy",
    "//",
    "/console",
    "/desk",
)
QUERIES = ("slot=%00", "slot=%ff", "slot=board&slot=x", "slot=", "%", "a" * 2100, "slot[]=board", "&&=&", "a=1;b=2")


@dataclass
class Ideas:
    """Draws requests: something that would be accepted, spoilt here and there, at addresses that were seen."""

    draw: random.Random
    routes: Routes

    def often(self, share: float) -> bool:
        """True with this share."""
        return self.draw.random() < share

    def token(self, of: str) -> str:
        """A token of drafts or quotes that was given, or one that was not."""
        known = self.routes.parts[f"/{of}/{{token}}"]
        return self.draw.choice(known) if known and self.often(0.9) else self.draw.choice(SEGMENTS)

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

    def json_probe(self) -> Probe:
        """A request to the interface."""
        draw = self.draw
        path = draw.choice(["fit", "kits", "wind", "quotes", "quotes", "agree", "agree"])
        body: Any = self.answers()
        target = f"/api/{path}"
        headers: tuple[tuple[bytes, bytes], ...] = ()
        if path == "agree":
            target = f"/api/quotes/{self.token('quotes')}/agree"
            body = {**self.contact(), "revision": 1}
        elif path != "fit" and path != "kits":
            skus = draw.choice([*[None] * 9, ["EEL-160"], [], ["\0"], ["\ud800"], ["EEL-160"] * 21])
            body = {"answers": body, "skus": skus} if self.often(0.9) else body
            headers = self.key() if path == "quotes" else ()
        for _ in range(draw.choice([0, 0, 0, 1, 1, 2, 3])):
            body = self.spoil(body) if not isinstance(body, (Raw, Twice)) else body
        sort = draw.choice(TYPES) if self.often(0.15) else "application/json"
        headers += ((b"Content-Type", sort.encode()), *extra_headers(draw))
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
        """A form of a draft, posted."""
        draw, draft = self.draw, f"/drafts/{self.token('drafts')}"
        kind = draw.choice(("kit", "kit", "part", "share", "shared", "own", "own", *STEPS, *STEPS))
        if kind == "own":
            slot, fields = self.own_fields()
            return self.posted(f"{draft}/own/{slot}", fields)
        fields = self.step_fields(kind) if kind in STEPS else self.kit_fields()
        return self.posted(f"{draft}/{kind}", fields)

    def posted(self, target: str, fields: list[Field]) -> Probe:
        """Fields as a body, mostly as browsers encode them, spoilt here and there."""
        draw = self.draw
        for _ in range(draw.choice([0, 0, 1, 1, 2])):
            fields = spoilt_fields(draw, fields, odd_text(draw))
        return posted(draw, target, fields, has_files=False, spoils=draw.choice((0, 0.4)))

    def own_fields(self) -> tuple[str, list[Field]]:
        """A piece of one's own for a slot of the kit, or one bought after all."""
        slot = self.draw.choice([*CORE_SLOTS, "helmet", "x", "%00"])
        piece = self.piece()
        of = piece.pop("slot")
        fields: list[Field] = [(f"keeps-{of}-0-{name}", str(value)) for name, value in piece.items()]
        return slot, [*fields, *([("buy", "yes")] if self.often(0.3) else [])]

    def step_fields(self, step: str) -> list[Field]:
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

    def kit_fields(self) -> list[Field]:
        """The fields of the kit page's forms."""
        skus = ("EEL-160", "DUN-158", "GDW-165", "EEL-85", "NOWHERE", "\0", "")
        fields: list[Field] = [("put", self.draw.choice(skus))] if self.often(0.4) else []
        fields += (
            [("use", self.draw.choice(["recommended", "least_money", "within_budget", "x"]))] if self.often(0.3) else []
        )
        fields += [("without", self.draw.choice([*CORE_SLOTS, *EXTRA_SLOTS, "x"]))] if self.often(0.3) else []
        fields += (
            [("key", self.draw.choice(["", "k", "k" * 90, str(self.draw.randrange(99))]))] if self.often(0.5) else []
        )
        return fields + ([("sku", self.draw.choice(skus))] * self.draw.choice([0, 1, 25]) if self.often(0.2) else [])

    def odd_probe(self) -> Probe:
        """Any path by any method."""
        draw = self.draw
        path = draw.choice(STARTS) + "".join("/" + draw.choice(SEGMENTS) for _ in range(draw.randrange(4)))
        if self.often(0.3):
            path = f"/quotes/{self.token('quotes')}" if self.often(0.5) else f"/drafts/{self.token('drafts')}/kit"
        if self.often(0.3):
            path += "?" + draw.choice(QUERIES)
        method = draw.choice(METHODS) if self.often(0.6) else "GET"
        return Probe(method, path or "/", b"" if self.often(0.7) else draw.choice(BYTES), extra_headers(draw))
