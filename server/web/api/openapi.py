"""The interface described for programs (OpenAPI), the questions' ranges taken from the questions themselves."""

from __future__ import annotations

from typing import Any

from server.domain.learner import (
    FIELDS,
    MOST_ROWS,
    NEEDED_OF_TRADES,
    QUESTIONS,
    REQUIRED,
    TRADE_QUESTIONS,
    ChoiceQuestion,
    ListQuestion,
    NumberQuestion,
    Question,
    TextQuestion,
    question_for,
)
from server.domain.slots import CORE_SLOTS, EXTRA_MEASURES, MEASURES
from server.domain.wind import HANDS

Schema = dict[str, Any]

CENTS: Schema = {"type": "integer", "description": "whole cents"}


def _object(properties: dict[str, Schema], required: tuple[str, ...] | None = None, *, closed: bool = False) -> Schema:
    schema: Schema = {"type": "object", "properties": properties}
    needed = tuple(properties) if required is None else required
    if needed:
        schema["required"] = list(needed)
    if closed:
        schema["additionalProperties"] = False
    return schema


def _or_null(schema: Schema) -> Schema:
    return {"anyOf": [schema, {"type": "null"}]}


def _ref(name: str) -> Schema:
    return {"$ref": f"#/components/schemas/{name}"}


def question_schema(question: Question) -> Schema:
    """What a question accepts, as a JSON schema."""
    if isinstance(question, NumberQuestion):
        kind = "integer" if question.whole else "number"
        return {"type": kind, "minimum": question.low, "maximum": question.high, "description": question.unit}
    if isinstance(question, ChoiceQuestion):
        return {"type": "string", "enum": list(question.options)}
    if isinstance(question, TextQuestion):
        return {"type": "string", "minLength": 1, "maxLength": question.most}
    if isinstance(question, ListQuestion):
        return {"type": "array", "items": question_schema(question.each), "maxItems": question.most}
    return {"anyOf": [{"type": "boolean"}, {"type": "string", "enum": ["yes", "no"]}]}


def _kept_schema(slot: str) -> Schema:
    measures = {m.name: question_schema(question_for(m)) for m in MEASURES[slot]}
    words = {name: question_schema(TextQuestion()) for name in ("name", "maker")}
    return _object({"slot": {"type": "string", "const": slot}, **words, **measures}, ("slot",), closed=True)


def _answers_schema() -> Schema:
    properties: dict[str, Schema] = {}
    rows = {
        "keeps": {"anyOf": [_kept_schema(slot) for slot in CORE_SLOTS]},
        "trades": _object(
            {name: question_schema(question) for name, question in TRADE_QUESTIONS.items()},
            ("slot", *NEEDED_OF_TRADES),
            closed=True,
        ),
    }
    for name in FIELDS:
        if name in rows:
            properties[name] = _or_null({"type": "array", "items": rows[name], "maxItems": MOST_ROWS})
        else:
            schema = question_schema(QUESTIONS[name])
            properties[name] = schema if name in REQUIRED else _or_null(schema)
    return _object(properties, REQUIRED, closed=True)


def components() -> dict[str, Schema]:
    """The named schemas of the interface."""
    text: Schema = {"type": "string"}
    texts: Schema = {"type": "array", "items": text}
    number: Schema = {"type": "number"}
    line = dict.fromkeys(("sku", "label", "slot"), text) | dict.fromkeys(
        ("list", "charged", "discount", "worth"), CENTS
    )
    line |= dict.fromkeys(("alone", "prior"), _or_null(CENTS))
    tier = _object({"name": text, "percent": {"type": "integer"}, "discount": CENTS})
    sums = ("discount", "trade_in", "deposit_back", "voucher", "delivery", "balance", "owed_to_customer")
    target = _object({"low": number, "ideal": number, "high": number, "unit": text, "because": texts})
    part = {"sku": text, "name": text, "maker": text, "price": CENTS}
    measures = {
        measure.name: {"type": "number" if measure.is_number else "string"}
        for known in (*MEASURES.values(), EXTRA_MEASURES)
        for measure in known
    }
    listed = {"slot": text, **part, "in_stock": {"type": "boolean"}}
    setup: Schema = {"type": "string", "enum": ["steady", "lively"]}
    targets = _object({slot: _ref("Target") for slot in CORE_SLOTS})
    kit_or_null = _or_null(_ref("Kit"))
    skus = _or_null({"type": "array", "items": {"type": "string", "maxLength": 40}, "maxItems": 20})
    ends: Schema = {"type": "array", "items": number, "minItems": 2, "maxItems": 2}
    months: Schema = {"type": "array", "items": number, "minItems": 12, "maxItems": 12}
    hold = _object(
        {
            "revision": {"type": "integer"},
            "skus": texts,
            "expires_at": {"type": "string", "format": "date-time"},
            "is_confirmed": {"type": "boolean"},
            "deposit_back": CENTS,
        }
    )
    wing = _object(
        {
            "role": text,
            "area_m2": number,
            "name": text,
            "sku": _or_null(text),
            "wind": _ref("Winds"),
            "months": _or_null(_object(dict.fromkeys(HANDS, months))),
        }
    )
    return {
        "Answers": _answers_schema(),
        "Errors": _object(
            {"errors": {"type": "array", "items": _object({"field": text, "message": text, "accepted": text})}}
        ),
        "Target": target,
        "Part": _object({**part, **measures}, tuple(part)),
        "ListedPart": _object({**listed, **measures}, tuple(listed)),
        "Breakdown": _object(
            {
                "currency": text,
                "lines": {"type": "array", "items": _object(line)},
                "tier": _or_null(tier),
                **dict.fromkeys(sums, CENTS),
                "vat": {"type": "array", "items": _object({"rate": number, "gross": CENTS, "vat": CENTS})},
                "trades": {
                    "type": "array",
                    "items": _object({"slot": text, "base": CENTS, "value": CENTS, "because": text}),
                },
                "notes": texts,
            }
        ),
        "Kit": _object(
            {
                "parts": {"type": "object", "additionalProperties": _ref("Part")},
                "kept": {"type": "object", "additionalProperties": {"type": "object"}},
                "misfit": _or_null(number),
                "misfits": _object(dict.fromkeys(CORE_SLOTS, _or_null(number))),
                "float_margin_l": number,
                "takeoff_kn": number,
                "tail_volume": number,
                "wind": _ref("Winds"),
                "price": _ref("Breakdown"),
                "notes": texts,
            }
        ),
        "Winds": _object(dict.fromkeys(HANDS, ends)),
        "Wings": _object(
            {
                "spot": _or_null(text),
                "hands": {"type": "string", "enum": list(HANDS)},
                "wings": {"type": "array", "items": wing},
            }
        ),
        "WindRequest": _object(
            {"answers": _ref("Answers"), "skus": skus, "spot": _or_null(text)}, ("answers",), closed=True
        ),
        "Fit": _object({"setup": setup, "targets": targets, "notes": texts}),
        "Kits": _object(
            {
                "setup": setup,
                "targets": targets,
                **dict.fromkeys(("recommended", "nearest", "within_budget", "least_money", "next_step"), kit_or_null),
                "frontier": {"type": "array", "items": _ref("Kit")},
                "unmet": texts,
                "notes": texts,
            }
        ),
        "AgreeRequest": _object(
            {
                "name": {"type": "string", "minLength": 1, "maxLength": 80},
                "email": _or_null({"type": "string", "maxLength": 200}),
                "phone": _or_null({"type": "string", "maxLength": 31}),
                "revision": {"type": "integer", "minimum": 1, "maximum": 1_000_000},
            },
            ("name", "revision"),
            closed=True,
        ),
        "QuoteRequest": _object({"answers": _ref("Answers"), "skus": skus}, ("answers",), closed=True),
        "Quote": _object(
            {
                "code": text,
                "url": text,
                "revision": {"type": "integer", "minimum": 1},
                "state": {"type": "string", "enum": ["sent", "agreed", "lapsed", "bought", "withdrawn"]},
                "hold": _or_null(hold),
                "valid_until": {"type": "string", "format": "date"},
                "issued_at": {"type": "string", "format": "date-time"},
                "answers": {"type": "object"},
                "setup": setup,
                "targets": targets,
                "kit": _ref("Kit"),
                "wind": _ref("Wings"),
                "notes": texts,
                "unmet": texts,
                "policy_version": {"type": "integer"},
            }
        ),
        "Parts": _object({"parts": {"type": "array", "items": _ref("ListedPart")}}),
    }


def _answer(name: str, words: str) -> Schema:
    return {"description": words, "content": {"application/json": {"schema": _ref(name)}}}


def described(
    shape: str, *, status: int = 200, body: str | None = None, errors: tuple[int, ...] = ()
) -> dict[str, Any]:
    """What a route's description adds: its body, its answer, and the errors in their one shape."""
    words = {
        404: "nothing there",
        409: "not as things stand",
        410: "lapsed",
        413: "too large",
        422: "bad input",
        429: "too many requests",
    }
    listed = {422, 429, *errors} | ({413} if body else set())
    extra: dict[str, Any] = {
        "responses": {
            str(status): _answer(shape, "done"),
            **{str(number): _answer("Errors", words[number]) for number in sorted(listed)},
        }
    }
    if body:
        extra["requestBody"] = {"required": True, "content": {"application/json": {"schema": _ref(body)}}}
    return extra
