"""A worksheet's form and what is written on it, both ways; what cannot be read is said beside its field and comes back as typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from starlette.datastructures import FormData

from server.domain.agreed import (
    CHARGED_KINDS,
    KIND_WORDS,
    LINE_KINDS,
    NOTHING_AGREED,
    Agreed,
    FreeLine,
    LineKind,
    line_faults,
    trade_key,
)
from server.domain.catalogue import Catalogue
from server.domain.drafts import STEPS, Draft
from server.domain.errors import Fault
from server.domain.learner import REQUIRED, Trade, read_some
from server.domain.slots import CORE_SLOTS
from server.domain.worksheets import Worksheet, written_faults
from server.security.tokens import digest_of
from server.usecases.accounts import Account
from server.usecases.fit import paid_lessons
from server.usecases.work import Work
from server.usecases.worksheets import Written, unread_on
from server.web.pages.forms import (
    AMOUNT,
    Typed,
    amount,
    cents,
    filled_step,
    read_step,
    text_in,
)
from server.web.pages.worked import sees_margin

LINES = 4
MOST_LABEL = 80
NOT_TYPED = ("go", "shown", "over")


_NAME = re.compile(r"[a-z0-9_-]{1,60}", re.ASCII)


@dataclass(frozen=True)
class Read:
    """A posted worksheet: what could be read of it, the fields as typed, and what is wrong with them."""

    answers: dict[str, Any]
    agreed: Agreed
    written: Written
    typed: Typed
    mass_unit: str
    faults: list[Fault] = field(default_factory=list)


def read_form(work: Work, form: FormData, account: Account, before: Agreed = NOTHING_AGREED) -> Read:
    """What a form says; what the account may not see of what was agreed `before` stays as it was."""
    steps = [read_step(step, form) for step in STEPS]
    given = {name: value for step in steps for name, value in step.answers.items()}
    typed: dict[str, str | list[str]] = {name: text_in(form, name) for name in form if name not in NOT_TYPED}
    for step in steps:
        typed |= {name: value for name, value in step.typed.items() if isinstance(value, list)}
    read, wrong = read_some(given, work.catalogue)
    _, unknown = paid_lessons(work, given.get("deposit_codes"))
    faults = [
        fault for step in steps for fault in step.at_inputs([f for f in [*wrong, *unknown] if _is_of(f, step.answers)])
    ]
    bad = {fault.field.split("[")[0].split(".")[0] for fault in [*wrong, *unknown]}
    answers = {name: value for name, value in given.items() if name not in bad}
    agreed, agreed_faults = _read_agreed(work, form, read.get("trades", ()), account, before)
    written = Written(*(text_in(form, name) for name in ("name", "email", "phone", "note", "staff_note")))
    wrong_words = written_faults(
        written.name, written.email, written.phone, {"note": written.note, "staff_note": written.staff_note}
    )
    if wrong_words:
        spoilt = {fault.field for fault in wrong_words}
        written = replace(written, **dict.fromkeys(spoilt, ""))
    unit = next((step.mass_unit for step in steps if step.mass_unit), "kg")
    return Read(answers, agreed, written, typed, unit, [*faults, *agreed_faults, *wrong_words])


def as_typed(form: FormData) -> list[tuple[str, str]]:
    """Everything that was typed into a posted form, field by field, but not how it was sent."""
    return [(name, text) for name, text in form.multi_items() if isinstance(text, str) and name not in NOT_TYPED]


def _is_of(fault: Fault, answers: Mapping[str, Any]) -> bool:
    return fault.field.split("[")[0].split(".")[0] in answers


def _read_agreed(
    work: Work, form: FormData, trades: tuple[Trade, ...] | list[Trade], account: Account, before: Agreed
) -> tuple[Agreed, list[Fault]]:
    faults: list[Fault] = []
    sees_costs = sees_margin(account, work.catalogue.policy)
    costed = [] if sees_costs else [line for line in before.charged_lines if line.cost is not None]

    def money_at(name: str) -> int | None:
        text = text_in(form, name)
        value = cents(text) if text else None
        if isinstance(value, str):
            faults.append(Fault(name, "This is not an amount of money.", AMOUNT))
            return None
        return value

    fixed = tuple(sku for slot in CORE_SLOTS if (sku := text_in(form, f"fix-{slot}")))
    faults += [
        Fault(f"fix-{slot}", "The catalogue has no such part for this.", "a part of the list, or left open")
        for slot in CORE_SLOTS
        if (sku := text_in(form, f"fix-{slot}")) and not _is_part_of(work.catalogue, sku, slot)
    ]
    lines: list[FreeLine] = []
    for place in range(LINES):
        kind, label = text_in(form, f"line-{place}-kind"), text_in(form, f"line-{place}-label")
        value = money_at(f"line-{place}-amount")
        cost = money_at(f"line-{place}-cost") if sees_costs else None
        if len(label) > MOST_LABEL or not label.isprintable():
            words = f"up to {MOST_LABEL} characters on one line"
            faults.append(Fault(f"line-{place}-label", "This is too long for a line, or cannot be kept.", words))
            continue
        if kind not in LINE_KINDS:
            if kind or label or any(text_in(form, f"line-{place}-{name}") for name in ("amount", "cost")):
                faults.append(
                    Fault(f"line-{place}-kind", "Say what kind of line this is.", ", ".join(KIND_WORDS.values()))
                )
            continue
        known = next((line for line in costed if (line.kind, line.label) == (kind, label)), None)
        if known is not None:
            costed.remove(known)
            cost = known.cost
        if value is None:
            lines += [known] if known is not None else []  # Its cost would be lost with it.
            if text_in(form, f"line-{place}-amount") == "":
                faults.append(Fault(f"line-{place}-amount", "An amount is needed.", AMOUNT))
            continue
        line = FreeLine(_kind(kind), label or (KIND_WORDS[kind] if kind not in CHARGED_KINDS else ""), value, cost)
        at = {"lines[0].amount": f"line-{place}-amount", "lines[0].label": f"line-{place}-label"}
        wrong = line_faults([line])
        faults += [replace(fault, field=at.get(fault.field, fault.field)) for fault in wrong]
        lines += [line] if not wrong else [known] if known is not None else []
    if len([line for line in lines if line.kind == "delivery"]) > 1:
        faults.append(Fault("line-0-kind", "Delivery is agreed twice.", "one line of delivery at most"))
        lines = [line for line in lines if line.kind != "delivery"]
    values = [(trade, money_at(f"value-{place}")) for place, trade in enumerate(trades)]
    why = text_in(form, "why")
    if len(why) > 300 or not why.isprintable():
        faults.append(Fault("why", "This cannot be kept.", "up to 300 characters on one line"))
        why = ""
    agreed = Agreed(
        fixed=tuple(
            sku
            for slot, sku in zip(CORE_SLOTS, (text_in(form, f"fix-{slot}") for slot in CORE_SLOTS), strict=True)
            if sku in fixed and _is_part_of(work.catalogue, sku, slot)
        ),
        discount=money_at("discount") or 0,
        lines=tuple(lines),
        values=tuple((trade_key(trade), value) for trade, value in values if value is not None),
        why=why,
        swim_talked=text_in(form, "swim_talked") == "yes",
        by=account.name,
    )
    return agreed, faults


def _kind(text: str) -> LineKind:
    return next(kind for kind in LINE_KINDS if kind == text)


def _is_part_of(catalogue: Catalogue, sku: str, slot: str) -> bool:
    part = catalogue.parts.get(sku)
    return part is not None and part.slot == slot


def missing_in(answers: Mapping[str, Any]) -> list[Fault]:
    return [
        Fault(name, "This answer is needed for a kit.", "" if name == "mass_kg" else "one of the choices")
        for name in REQUIRED
        if answers.get(name) is None
    ]


def shown_on(work: Work, sheet: Worksheet, draft: Draft, account: Account) -> tuple[Typed, list[Fault]]:
    """What a worksheet shows when it is opened: what is written on it, or what was typed while some of that cannot be read."""
    unread = unread_on(draft)
    read = read_form(work, FormData([*unread]), account, draft.agreed) if unread else None
    typed = read.typed if read else typed_on(sheet, draft, work.catalogue)
    if not sees_margin(account, work.catalogue.policy):
        typed = {name: value for name, value in typed.items() if not name.endswith("-cost")}
    return typed, read.faults if read else []


def prints_of(typed: Typed) -> dict[str, str]:
    """A short digest of each filled field, so that a form can say later what it was shown with."""
    filled = {name: value for name, value in typed.items() if value and name != "mass_unit" and _NAME.fullmatch(name)}
    return {name: digest_of(repr(value))[:8] for name, value in filled.items()}


def shown_text(typed: Typed) -> str:
    """What a form was shown with, as a text that travels in it."""
    return " ".join(["shown", *(f"{name}:{digest}" for name, digest in sorted(prints_of(typed).items()))])


def changed_elsewhere(shown: str, there: Typed, here: Typed) -> tuple[str, ...]:
    """The fields that hold something else by now than the form was shown with, and something else than it would put there.

    A form that says nothing of what it was shown with finds nothing changed.
    """
    if not shown:
        return ()
    before = dict(pair.rpartition(":")[::2] for pair in shown.split()[1:])
    now, then = prints_of(there), prints_of(here)
    return tuple(
        name
        for name in dict.fromkeys((*before, *now))
        if now.get(name) != before.get(name) and now.get(name) != then.get(name)
    )


def typed_on(sheet: Worksheet, draft: Draft, catalogue: Catalogue) -> dict[str, str | list[str]]:
    typed: dict[str, str | list[str]] = {}
    for step in STEPS:
        typed |= filled_step(step, draft.answers, draft.mass_unit).typed
    agreed = draft.agreed
    for sku in agreed.fixed:
        if sku in catalogue.parts:
            typed[f"fix-{catalogue.parts[sku].slot}"] = sku
    typed["discount"] = amount(agreed.discount) if agreed.discount else ""
    for place, line in enumerate(agreed.lines):
        typed |= {f"line-{place}-kind": line.kind, f"line-{place}-label": line.label}
        typed[f"line-{place}-amount"] = amount(line.amount)
        typed[f"line-{place}-cost"] = "" if line.cost is None else amount(line.cost)
    for place, value in enumerate(agreed.values_of(read_some(draft.answers, catalogue)[0].get("trades", ()))):
        typed[f"value-{place}"] = "" if value is None else amount(value)
    typed |= {"why": agreed.why, "swim_talked": "yes" if agreed.has_talked_with(draft.answers) else ""}
    typed |= {name: getattr(sheet, name) for name in ("name", "email", "phone", "note", "staff_note")}
    return typed
