"""Between the policy's terms and what its owner types, both ways: a page changes its own terms and leaves all others as they are."""

from __future__ import annotations

import copy
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from starlette.datastructures import FormData

from server.domain.errors import Fault
from server.domain.policy import Policy
from server.domain.policy_terms import terms_from
from server.web.pages.forms import amount, cents, text_in, texts_in
from server.web.pages.policy_fields import PolicyPage, Term, field_of

Typed = Mapping[str, str | list[str]]
USUAL = terms_from(Policy())
BLANK_ROWS = 2
MOST_TIERS, MOST_ROWS = 12, 24
_NUMBER = re.compile(r"[+-]?\d{1,9}([.,]\d{1,9})?", re.ASCII)
TIER_PARTS = ("name", "slots", "at_least", "percent", "extras", "lessons-kind", "lessons-number")


@dataclass(frozen=True)
class PageRead:
    """A page as it was posted: the whole terms with its changes, the fields as typed, and what can be said to be wrong already.

    `rows` says for each kit discount of the terms in which row of the form it stands.
    """

    terms: dict[str, Any]
    typed: Typed
    faults: tuple[Fault, ...] = ()
    rows: tuple[int, ...] = field(default=())


def value_at(terms: Mapping[str, Any], key: str) -> Any:
    """A term by its dotted key; the ordinary one where the terms leave it out."""
    for source in (terms, USUAL):
        value: Any = source
        for part in key.split("."):
            value = value.get(part) if isinstance(value, Mapping) else None
        if value is not None:
            return value
    return None


def put_at(terms: dict[str, Any], key: str, value: Any) -> None:
    """Set a term by its dotted key."""
    *tables, last = key.split(".")
    for table in tables:
        terms = terms.setdefault(table, {})
    terms[last] = value


def filled(page: PolicyPage, terms: Mapping[str, Any]) -> dict[str, str | list[str]]:
    """A page's fields as they would be typed for these terms."""
    typed: dict[str, str | list[str]] = {}
    for term in page.terms:
        value = value_at(terms, term.key)
        if term.sort == "tiers":
            for row, tier in enumerate(value, start=1):
                typed |= _filled_tier(row, tier)
        elif term.sort in ("knots", "rates"):
            for row, (first, second) in enumerate(value, start=1):
                typed |= {f"{field_of(term.key)}-{row}-a": plain(first), f"{field_of(term.key)}-{row}-b": plain(second)}
        else:
            typed[field_of(term.key)] = written(term, value)
    return typed


def _filled_tier(row: int, tier: Mapping[str, Any]) -> dict[str, str | list[str]]:
    lessons = tier.get("lessons") or {}
    at = f"tiers-{row}-"
    return {
        f"{at}name": str(tier.get("name", "")),
        f"{at}slots": list(tier.get("slots", ())),
        f"{at}at_least": str(tier.get("at_least", "")),
        f"{at}percent": str(tier.get("percent", "")),
        f"{at}extras": list(tier.get("extras", ())),
        f"{at}lessons-kind": str(lessons.get("kind", "")),
        f"{at}lessons-number": str(lessons.get("number", "")),
    }


def plain(value: Any) -> str:
    """A number without idle zeros, or a text as it is."""
    text = str(value)
    if not _NUMBER.fullmatch(text):
        return text
    number = Decimal(text).normalize()
    return f"{number:f}"


def written(term: Term, value: Any) -> str | list[str]:
    """A term's value as it would be typed."""
    if term.sort in ("slots", "kinds"):
        return [str(one) for one in value]
    if term.sort == "share":
        return plain(100 * Decimal(str(value)))
    if term.sort == "money":
        return amount(int(Decimal(str(value)) * 100))
    if term.sort == "yes_no":
        return "yes" if value else "no"
    if term.sort == "weeks":
        return ", ".join(str(one) for one in value)
    return plain(value) if term.sort in ("whole", "decimal") else str(value)


def read_page(page: PolicyPage, form: FormData, terms: Mapping[str, Any]) -> PageRead:
    """The terms in force with what was typed on a page; a field as it was leaves its term untouched, to the letter."""
    was = filled(page, terms)
    changed = copy.deepcopy(dict(terms))
    typed: dict[str, str | list[str]] = {}
    faults: list[Fault] = []
    rows: tuple[int, ...] = ()
    for term in page.terms:
        if term.sort == "tiers":
            tiers, said, wrong, rows = _read_tiers(form, value_at(terms, "tiers"), was)
            typed |= said
            faults += wrong
            if tiers != value_at(terms, "tiers"):
                changed["tiers"] = tiers
        elif term.sort in ("knots", "rates"):
            pairs, said = _read_pairs(form, field_of(term.key), was, value_at(terms, term.key), term)
            typed |= said
            if pairs != value_at(terms, term.key):
                put_at(changed, term.key, pairs)
        else:
            name = field_of(term.key)
            many = term.sort in ("slots", "kinds")
            told: str | list[str] = texts_in(form, name) if many else text_in(form, name).replace("\r\n", "\n")
            typed[name] = told
            if told != was[name]:
                put_at(changed, term.key, read_value(term, told))
    return PageRead(changed, typed, tuple(faults), rows)


def read_value(term: Term, typed: str | list[str]) -> Any:
    """What was typed as a term's value; what cannot be read is handed on as it is, so that the policy says what it accepts."""
    if isinstance(typed, list):
        return typed
    if term.sort == "whole":
        return _whole(typed)
    if term.sort == "share":
        return str(Decimal(typed.replace(",", ".")) / 100) if _NUMBER.fullmatch(typed) else typed
    if term.sort == "money":
        read = cents(typed)
        return amount(read) if isinstance(read, int) else typed
    if term.sort == "yes_no":
        return {"yes": True, "no": False}.get(typed, typed)
    if term.sort == "weeks":
        return [_whole(one.strip()) for one in typed.split(",")] if typed else []
    return typed.replace(",", ".") if term.sort == "decimal" else typed


def _whole(text: str) -> int | str:
    return int(text) if re.fullmatch(r"\d{1,9}", text, re.ASCII) else text


def _read_pairs(
    form: FormData, name: str, was: Typed, before: Sequence[Sequence[Any]], term: Term
) -> tuple[list[Any], dict[str, str | list[str]]]:
    """Rows of two fields; empty ones are left out, and one as it was keeps its pair."""
    pairs: list[Any] = []
    typed: dict[str, str | list[str]] = {}
    for row in range(1, MOST_ROWS + 1):
        first, second = f"{name}-{row}-a", f"{name}-{row}-b"
        one, other = text_in(form, first), text_in(form, second)
        if not one and not other:
            continue
        typed |= {first: one, second: other}
        if (was.get(first), was.get(second)) == (one, other):
            pairs.append(before[row - 1])
        else:
            day = one if term.sort == "rates" else one.replace(",", ".")
            pairs.append([day, other.replace(",", ".")])
    if term.sort == "rates":
        pairs.sort(key=lambda pair: str(pair[0]))
    return pairs, typed


def _read_tiers(
    form: FormData, before: Sequence[Mapping[str, Any]], was: Typed
) -> tuple[list[Any], dict[str, str | list[str]], list[Fault], tuple[int, ...]]:
    """The kit discounts in the order of their rows, without those taken out and without rows left empty."""
    tiers: list[Any] = []
    typed: dict[str, str | list[str]] = {}
    faults: list[Fault] = []
    rows: list[int] = []
    for row in range(1, MOST_TIERS + 1):
        at = f"tiers-{row}-"
        told: dict[str, str | list[str]] = {
            at + part: texts_in(form, at + part) if part in ("slots", "extras") else text_in(form, at + part)
            for part in TIER_PARTS
        }
        if not any(told.values()):
            continue
        typed |= told
        if text_in(form, f"{at}out") == "yes":
            typed[f"{at}out"] = "yes"
            continue
        rows.append(row)
        if all(told[name] == was.get(name) for name in told):
            tiers.append(before[row - 1])
            continue
        tiers.append(_tier_of(told, at))
        if not told[f"{at}name"]:
            faults.append(Fault(f"tiers-{row}-name", "It needs a name.", "what customers read"))
        if not told[f"{at}slots"]:
            faults.append(Fault(f"tiers-{row}-slots", "No part counts for it.", "one part or more"))
    return tiers, typed, faults, tuple(rows)


def _tier_of(told: Typed, at: str) -> dict[str, Any]:
    def said(part: str) -> str:
        return str(told[at + part])

    tier: dict[str, Any] = {
        "name": said("name"),
        "slots": told[f"{at}slots"],
        "at_least": _whole(said("at_least")),
        "percent": _whole(said("percent")),
        "extras": told[f"{at}extras"],
    }
    if said("lessons-kind") or said("lessons-number"):
        tier["lessons"] = {"kind": said("lessons-kind"), "number": _whole(said("lessons-number"))}
    return tier


def placed(faults: Sequence[Fault], page: PolicyPage, read: PageRead) -> tuple[Fault, ...]:
    """Faults of the policy at the fields of the form, in the words of its fields."""
    return tuple(_placed(fault, page, read) for fault in faults)


def _placed(fault: Fault, page: PolicyPage, read: PageRead) -> Fault:
    tier = re.fullmatch(r"tiers\[(\d+)\]\.(.+)", fault.field)
    if tier and int(tier[1]) <= len(read.rows):
        row = read.rows[int(tier[1]) - 1]
        part = "lessons-number" if tier[2] == "lessons" else field_of(tier[2])
        return Fault(f"tiers-{row}-{part}", _said(fault, ""), fault.accepted.replace(" core slots", " parts"))
    name = field_of(fault.field)
    term = next((one for one in page.terms if one.key == fault.field), None)
    if term is None or not fault.message.endswith(" is not accepted."):
        return Fault(name, fault.message, fault.accepted)
    typed = read.typed.get(name, "")
    return Fault(name, _said(fault, typed if isinstance(typed, str) else ""), term.accepted or fault.accepted)


def _said(fault: Fault, typed: str) -> str:
    """That it is not accepted, with what was typed rather than how it is kept."""
    if not fault.message.endswith(" is not accepted."):
        return fault.message
    return f"{typed} is not accepted." if typed else "This is not accepted."
