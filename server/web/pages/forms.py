"""Between what people type and the answers in the words of the questions, both ways; nothing typed is lost on the way.

A form's fields are plain text. What cannot be read as a number is handed on as it is, so that the question says what it accepts.
"""

from __future__ import annotations

import re
from collections.abc import AsyncIterator, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated, Any

from fastapi import Depends, Request
from python_multipart.multipart import parse_options_header
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException

from server.domain.drafts import STEP_FIELDS
from server.domain.errors import Fault, InvalidInput
from server.domain.learner import MASS, QUESTIONS, TRADE_QUESTIONS, ListQuestion, NumberQuestion
from server.domain.slots import CORE_SLOTS, MEASURES
from server.domain.units import KG_PER_LB, LB_PER_STONE, kg_from_lb, kg_from_stone, lb_from_kg, stone_from_kg
from server.outside.photos import MOST_BYTES as MOST_PHOTO_BYTES
from server.outside.photos import Photo, clean_photo, too_large

Typed = Mapping[str, str | list[str]]

MASS_UNITS = ("kg", "lb", "st")
MOST_FIELDS = 400
MOST_FILES = 12
WINGS_KEPT = 2
FEWEST_TRADES = 2
AMOUNT = "an amount such as 1249.00"
_AMOUNT = re.compile(r"(\d{1,7})(?:[.,](\d{1,2}))?", re.ASCII)
_SIGN = re.compile(r"^[^\W\d_]{0,3}[$€£¥]?(?=\d)")  # Of a currency: €, CHF, NZ$.
_NUMBER = re.compile(r"[+-]?\d{1,12}([.,]\d{1,12})?", re.ASCII)


def refuse_charset(request: Request) -> None:
    """A form is in UTF-8 as its page is; another charset would name any codec of Python's, and some raise."""
    _, options = parse_options_header(request.headers.get("content-type"))
    if options.get(b"charset", b"utf-8").lower() != b"utf-8":
        raise HTTPException(400)


async def _form(request: Request) -> FormData:
    """The form of a request, without files."""
    refuse_charset(request)
    return await request.form(max_files=0, max_fields=MOST_FIELDS)


async def _form_with_photos(request: Request) -> AsyncIterator[FormData]:
    """The form of a request with files in it; what lies on the disk for a while is gone once it was answered."""
    refuse_charset(request)
    async with request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS) as form:
        yield form


Form = Annotated[FormData, Depends(_form)]
PhotoForm = Annotated[FormData, Depends(_form_with_photos)]


def photos_in(form: FormData, name: str, most: int) -> tuple[tuple[Photo, ...], tuple[Fault, ...]]:
    """The photographs of a field, made anew, and a fault for each file that is none, or where there are more than `most`."""
    files = [file for file in form.getlist(name) if isinstance(file, UploadFile) and (file.filename or file.size)]
    if len(files) > most:
        return (), (Fault(name, f"These are {len(files)} photographs.", f"at most {most}"),)
    photos: list[Photo] = []
    faults: list[Fault] = []
    for file in files:
        if (file.size or 0) > MOST_PHOTO_BYTES:
            faults.append(too_large(name, file.filename or ""))
            continue
        try:
            photos.append(clean_photo(file.file.read(), name, file.filename or ""))
        except InvalidInput as error:
            faults += error.faults
    return tuple(photos), tuple(faults)


class FaultyForm:
    """What the pages that show one form have in common: what is wrong with each of its fields."""

    faults: tuple[Fault, ...]

    def fault_at(self, name: str) -> Fault | None:
        """What is wrong with a field."""
        return next((fault for fault in self.faults if fault.field == name), None)


class TypedForm(FaultyForm):
    """A form whose fields are texts, shown as they were typed."""

    typed: Mapping[str, str]

    def value(self, name: str) -> str:
        """A field as typed."""
        return self.typed.get(name, "")


def text_in(form: FormData, name: str) -> str:
    """A field's last value without spaces around it; empty where it is not there."""
    values = [value for value in form.getlist(name) if isinstance(value, str)]
    return values[-1].strip() if values else ""


def texts_in(form: FormData, name: str) -> list[str]:
    """All values of a field that are not blank."""
    return [value.strip() for value in form.getlist(name) if isinstance(value, str) and value.strip()]


def number(text: str) -> float | str:
    """A number with a decimal point or comma, or the text itself where it is none."""
    return float(text.replace(",", ".")) if _NUMBER.fullmatch(text) else text


def whole_or_number(text: str) -> float | str:
    """As `number`; whole numbers stay whole."""
    return int(text) if re.fullmatch(r"\d{1,12}", text, re.ASCII) else number(text)


def cents(text: str) -> int | str:
    """An amount of money in cents, or the text itself where it is none."""
    read = _AMOUNT.fullmatch(_SIGN.sub("", text.replace(" ", "")))
    return int(read[1]) * 100 + int((read[2] or "").ljust(2, "0")) if read else text


def amount(value: int) -> str:
    """Cents as an amount to type: 1249.00."""
    return f"{value // 100}.{value % 100:02d}"


def plain(value: Any) -> str:
    """A number or word as it would be typed."""
    return f"{value:.10g}" if isinstance(value, float) else str(value)


@dataclass(frozen=True)
class StepRead:
    """A step as it was posted: the answers in it, the fields as typed, and where a row of gear stands in the form."""

    answers: dict[str, Any]
    typed: Typed
    mass_unit: str | None = None
    places: dict[str, str] = field(default_factory=dict)

    def at_inputs(self, faults: Iterable[Fault]) -> list[Fault]:
        """The faults with the names of their inputs, in the units of the form."""
        return [self._at_input(fault) for fault in faults]

    def _at_input(self, fault: Fault) -> Fault:
        name = fault.field
        accepted = fault.accepted
        for place, prefix in self.places.items():
            if name == place or name.startswith(place + "."):
                name = prefix + name.removeprefix(place).replace(".", "-")
        name = re.sub(r"\[\d+\]$", "", name)
        if name == "mass_kg":
            accepted = mass_accepted(self.mass_unit or "kg")
        elif name == "budget" or name.endswith("-price_new"):
            accepted = AMOUNT
        return replace(fault, field=name, accepted=accepted)


def mass_accepted(unit: str) -> str:
    """The range of masses in the unit chosen."""
    low, high = MASS.low, MASS.high
    if unit == "lb":
        return f"a number from {lb_from_kg(low):.1f} to {lb_from_kg(high):.1f} lb"
    if unit == "st":
        (low_st, low_lb), (high_st, high_lb) = stone_from_kg(low), stone_from_kg(high)
        return f"from {low_st} st {low_lb:.1f} lb to {high_st} st {high_lb:.1f} lb"
    return MASS.accepted


def _mass(form: FormData) -> tuple[float | str | None, str]:
    unit = text_in(form, "mass_unit")
    unit = unit if unit in MASS_UNITS else "kg"
    text, pounds = text_in(form, "mass_kg"), text_in(form, "mass_pounds")
    if not text:
        return None, unit
    mass = number(text)
    if isinstance(mass, str) or unit == "kg":
        return mass, unit
    if unit == "lb":
        return kg_from_lb(mass), unit
    rest = number(pounds) if pounds else 0.0
    if isinstance(rest, str) or not 0 <= rest < LB_PER_STONE:
        return f"{mass:g} st {pounds} lb", unit
    return kg_from_stone(mass, rest), unit


def read_step(step: str, form: FormData) -> StepRead:
    """A posted step: an answer left blank is None, so that it is taken back."""
    typed = {name: texts_in(form, name) if _is_many(name) else text_in(form, name) for name in form}
    if step == "gear":
        return _read_gear(form, typed)
    answers: dict[str, Any] = {}
    unit = None
    for name in STEP_FIELDS[step]:
        question = QUESTIONS[name]
        if name == "mass_kg":
            answers[name], unit = _mass(form)
        elif name == "deposit_codes":
            answers[name] = re.split(r"[,;\n]+", text_in(form, name).strip(" ,;")) if text_in(form, name) else None
        elif isinstance(question, ListQuestion):
            answers[name] = texts_in(form, name) or None
        else:
            text = text_in(form, name)
            is_number = isinstance(question, NumberQuestion)
            value = cents(text) if name == "budget" else number(text) if is_number else text
            answers[name] = value if text else None
    return StepRead(answers, typed, unit)


def _is_many(name: str) -> bool:
    return name == "extras" or name.endswith("-faults")


def keep_rows() -> list[tuple[str, str]]:
    """The places for kept gear in the form: a slot and the prefix of its fields."""
    rows = [(slot, f"keeps-{slot}-0") for slot in CORE_SLOTS]
    return rows + [("hand_wing", f"keeps-hand_wing-{n}") for n in range(1, WINGS_KEPT)]


def trade_rows(typed: Typed) -> list[str]:
    """The prefixes of the rows for gear to trade in: those with something in them, and one more to fill."""
    filled = [
        int(name.split("-")[1]) for name, value in typed.items() if re.fullmatch(r"trades-\d{1,2}-\w+", name) and value
    ]
    return [f"trades-{n}" for n in range(max([FEWEST_TRADES - 2, *filled]) + 2)][:20]


def read_kept(form: FormData, slot: str, prefix: str) -> dict[str, Any] | None:
    """The measures of one kept piece under a prefix of fields, or None where nothing was typed."""
    row: dict[str, Any] = {}
    for measure in MEASURES[slot]:
        text = text_in(form, f"{prefix}-{measure.name}")
        if text:
            row[measure.name] = number(text) if measure.is_number else text
    return {"slot": slot, **row} if row else None


def _read_gear(form: FormData, typed: Typed) -> StepRead:
    places: dict[str, str] = {}
    keeps: list[dict[str, Any]] = []
    for slot, prefix in keep_rows():
        kept = read_kept(form, slot, prefix)
        if kept is not None:
            places[f"keeps[{len(keeps)}]"] = prefix
            keeps.append(kept)
    trades: list[dict[str, Any]] = []
    for prefix in trade_rows(typed):
        row: dict[str, Any] = {}
        for name in TRADE_QUESTIONS:
            text = text_in(form, f"{prefix}-{name}")
            if name == "faults":
                row |= {name: texts_in(form, f"{prefix}-{name}")} if texts_in(form, f"{prefix}-{name}") else {}
            elif text:
                row[name] = {"price_new": cents, "months": whole_or_number}.get(name, str)(text)
        if row:
            places[f"trades[{len(trades)}]"] = prefix
            trades.append(row)
    return StepRead({"keeps": keeps or None, "trades": trades or None}, typed, places=places)


def filled_step(step: str, answers: Mapping[str, Any], mass_unit: str) -> StepRead:
    """A step as it would be posted if a draft's answers were typed into it."""
    given = {name: answers[name] for name in STEP_FIELDS[step] if name in answers}
    wings = 0
    places: dict[str, str] = {}
    for place, row in enumerate(given.get("keeps", ())):
        is_wing = row["slot"] == "hand_wing"
        places[f"keeps[{place}]"] = f"keeps-{row['slot']}-{wings if is_wing else 0}"
        wings += is_wing
    places |= {f"trades[{place}]": f"trades-{place}" for place in range(len(given.get("trades", ())))}
    return StepRead(given, _typed(step, given, mass_unit, places), mass_unit, places)


def _typed(step: str, answers: Mapping[str, Any], mass_unit: str, places: Mapping[str, str]) -> Typed:
    typed: dict[str, str | list[str]] = {}
    for name in STEP_FIELDS[step]:
        value = answers.get(name)
        if value is None:
            continue
        if name == "mass_kg":
            typed |= _typed_mass(value, mass_unit)
        elif name == "keeps":
            for place, row in enumerate(value):
                prefix = places[f"keeps[{place}]"]
                typed |= {f"{prefix}-{key}": plain(item) for key, item in row.items() if key != "slot"}
        elif name == "trades":
            for place, row in enumerate(value):
                typed |= {f"trades-{place}-{key}": _typed_trade(key, item) for key, item in row.items()}
        elif name == "deposit_codes":
            typed[name] = ", ".join(value)
        elif name == "budget":
            typed[name] = amount(value)
        elif isinstance(value, bool):
            typed[name] = "yes" if value else "no"
        else:
            typed[name] = list(value) if isinstance(value, (list, tuple)) else plain(value)
    return typed


def _typed_mass(mass_kg: float, unit: str) -> dict[str, str]:
    if unit == "lb":
        return {"mass_kg": f"{mass_kg / KG_PER_LB:.1f}".removesuffix(".0"), "mass_unit": unit}
    if unit == "st":
        stone, pounds = divmod(round(lb_from_kg(mass_kg), 1), LB_PER_STONE)
        return {"mass_kg": f"{stone:.0f}", "mass_pounds": f"{pounds:.1f}".removesuffix(".0"), "mass_unit": unit}
    return {"mass_kg": plain(float(mass_kg)), "mass_unit": "kg"}


def _typed_trade(name: str, value: Any) -> str | list[str]:
    if name == "price_new":
        return amount(value)
    return list(value) if isinstance(value, (list, tuple)) else plain(value)
