"""Forms as the pages show them, each the schema of what may be sent: filled as it asks to be, and filled as it does not."""

from __future__ import annotations

import json
import random
import re
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from xml.etree.ElementTree import Element

import pyotp

from tests.bench.fuzz.files import odd_file, right_file
from tests.bench.fuzz.probes import Field, File, Probe, as_text, posted, spoilt_fields
from tests.bench.fuzz.values import DATES, TEXTS, TIMES, odd_text
from tests.builders_accounts import WORDS
from tests.builders_imports import gtin

Known = Mapping[str, Sequence[str]]
"""What was seen in the shop and is typed into fields of a name: codes, addresses."""
NUMBER_BEHIND = re.compile(r"-\d+$")
DAYS_AWAY = (-1, 0, 0, 1, 3, 9, 60, 120)
WAYS = ((0.95, 0.9), (0.95, 0.9), (0.9, 0.0), (0.8, 0.5), (0.3, 0.2))
"""How often what stands there is left, and how often what is blank stays blank."""
SIGNED = ("has_ticked", "is_set_up")
CHOICES = ("radio", "checkbox")
ONE_TIME, SEED_ID = "one-time-code", "seed"
MEANT: Mapping[str, tuple[str, ...]] = {
    "name": ("Orla", "Orla", "Nuala Example", "Some One"),
    "signed_by": ("Nuala Example",),
    "password": (WORDS,),
    "again": (WORDS,),
    "current": (WORDS,),
    "new": (WORDS,),
    "sku": ("DUN-72", "EEL-105", "TUR-M72T"),
    "gtin": tuple(gtin(number) for number in range(900, 999)),
    "parts": ("DUN-72;TUR-M72T", "EEL-105;DUN-82"),
    "serial": ("DUN 417", "EEL.18/2", ""),
    "address": ("1 Strand Road, Tullaveen",),
    "mass_kg": ("4.8", "61", "72", "80"),
    "volume_l": ("105",),
    "length_cm": ("160", "72"),
    "width_cm": ("65",),
    "thickness_cm": ("11",),
    "rider_max_kg": ("100",),
    "track": ("twin-track",),
    "mount": ("cone",),
    "price": ("95.00",),
    "cost": ("60.00",),
    "markdown": ("",),
    "tide_m": ("1.2", ""),
    "spot": ("Tullaveen Strand",),
    "from_deg": ("240", "SW"),
    "mean_kn": ("16",),
    "gust_kn": ("20",),
    "longest_flight": ("40", "80"),
    "hours": ("6",),
    "weeks": ("1", ""),
    "minutes": ("", "60"),
}
"""What people write into a field of this name, with or without its number, where its kind alone does not tell."""
BY_KIND: Mapping[str, tuple[str, ...]] = {
    "decimal": ("1", "2", "18", "60", "95.00", "120,50", "240"),
    "numeric": ("1", "2", "3"),
    "time": ("10:30", "16:15"),
    "month": ("2026-11",),
    "number": ("1", "2", "40"),
    "color": ("#1f6f78",),
    "search": ("board", "Some One"),
}
WORDS_TYPED = ("Gusts at the point.", "A calm board, as we said.", "Estuary", "A 17")


@dataclass(frozen=True)
class Control:
    """A control of a form: its name, kind, what stands in it, what may be chosen, and within which bounds."""

    name: str
    kind: str
    value: str = ""
    options: tuple[str, ...] = ()
    low: str = ""
    high: str = ""
    is_on: bool = False
    is_faulty: bool = False
    seed: str = ""
    """Of the authenticator that the page sets, where it asks for a code of it."""

    @property
    def stands(self) -> str:
        """What stands in it, where that is not just what was refused."""
        return "" if self.is_faulty and self.kind != "hidden" else self.value

    def meant(self, draw: random.Random, known: Known) -> str:
        """What somebody fills in who wants this to be accepted."""
        if self.kind == "hidden":
            return self.value
        if self.seed:
            return pyotp.TOTP(self.seed).now()
        if self.options:
            said = [option for option in self.options if option] or [""]
            return draw.choice((said[0], draw.choice(said)))
        if self.stands and draw.random() < 0.7:
            return self.stands
        name = NUMBER_BEHIND.sub("", self.name)
        if known.get(name) and draw.random() < 0.7:
            return draw.choice(known[name])
        if self.kind == "date":
            return str(datetime.now(UTC).date() + timedelta(days=draw.choice(DAYS_AWAY)))
        if name == "sku" and draw.random() < 0.3:
            return f"NEW-{draw.randrange(10**6)}"
        if name in MEANT:
            return draw.choice(MEANT[name])
        if self.kind in ("number", "decimal", "numeric") and self.low:
            return draw.choice((self.low, self.high or self.low))
        if self.kind == "email" or name == "email":
            return f"someone{draw.randrange(10**9)}@example.org"
        if self.kind == "tel" or name == "phone":
            return f"+353 20 {draw.randrange(10**7):07d}"
        return draw.choice(BY_KIND.get(self.kind, WORDS_TYPED))

    def odd(self, draw: random.Random) -> str | File:
        """What this control does not expect: out of its bounds or of its choices, of another kind, a file for a text."""
        if draw.random() < 0.05:
            return odd_file(draw)
        if draw.random() < 0.5:
            return odd_text(draw)
        if self.kind in ("date", "month"):
            return draw.choice(DATES)
        if self.kind == "time":
            return draw.choice(TIMES)
        if self.kind in ("number", "decimal", "numeric"):
            edges = [edge for edge in (self.low, self.high) if edge]
            return draw.choice(("-1", "0", "1e9", "0.001", "99999999", "1,5.0", *(f"{edge}1" for edge in edges)))
        if self.kind == "hidden" and self.value:
            return draw.choice((self.value[:-1], self.value + "x", self.value[::-1], self.value.upper(), "0", ""))
        return draw.choice(("", "x", self.value + "x", *TEXTS))


@dataclass(frozen=True)
class Form:
    """A form on a page: where it is sent, with which controls and buttons, and by whose session it was seen."""

    target: str
    controls: tuple[Control, ...] = ()
    buttons: tuple[tuple[str, str, str], ...] = ()
    """Each with its name, its value and the address that it sends to."""
    has_files: bool = False
    session: str = ""

    def _sent(self, draw: random.Random, known: Known) -> tuple[str, list[Field]]:
        """The address and the fields, by somebody who fills in nothing that may stay blank, or a little, or everything."""
        fields = self._fields(draw, known, *draw.choice(WAYS))
        if not self.buttons:
            return self.target, fields
        name, value, target = draw.choice(self.buttons)
        return target, [*fields, (name, value)] if name else fields

    def _fields(self, draw: random.Random, known: Known, stays: float, blank: float) -> list[Field]:
        fields: list[Field] = []
        radios: dict[str, list[Control]] = defaultdict(list)
        for control in self.controls:
            if control.kind == "radio":
                radios[control.name].append(control)
            elif control.kind == "checkbox" and control.name in SIGNED:
                fields.append((control.name, control.value))
            elif control.kind == "checkbox":
                if control.is_on if draw.random() < stays and not control.is_faulty else draw.random() < 0.5:
                    fields.append((control.name, control.value))
            elif control.kind == "file":
                fields.append((control.name, right_file(draw, control.options)))
            elif control.seed:
                fields.append((control.name, control.meant(draw, known)))
            elif control.kind == "hidden" or (control.stands and draw.random() < stays):
                fields.append((control.name, control.value))
            elif (
                not control.stands
                and not control.is_faulty
                and draw.random() < (blank / 2 if control.options else blank)
            ):
                fields.append((control.name, ""))
            else:
                fields.append((control.name, control.meant(draw, known)))
        for name, group in radios.items():
            on = [control for control in group if control.is_on and not control.is_faulty]
            if on or draw.random() >= blank / 2:
                fields.append((name, draw.choice(on if on and draw.random() < stays else (group[0], *group)).value))
        return fields

    def right(self, draw: random.Random, known: Known) -> Probe:
        """The form as it should be sent."""
        target, fields = self._sent(draw, known)
        return posted(draw, target, fields, has_files=self.has_files, spoils=0).by(self.session)

    def wrong(self, draw: random.Random, known: Known, others: tuple[str, ...]) -> Probe:
        """The form with something wrong in it, or around it, or by somebody else."""
        target, fields = self._sent(draw, known)
        for _ in range(draw.choice((0, 1, 1, 1, 2, 6))):
            control = draw.choice(self.controls) if self.controls else Control("x", "text")
            fields = spoilt_fields(draw, fields, control.odd(draw))
            if draw.random() < 0.6:
                fields = [(name, control.odd(draw) if name == control.name else value) for name, value in fields]
        if draw.random() < 0.05:
            fields = [(name, odd_file(draw) if draw.random() < 0.5 else as_text(value)) for name, value in fields]
        if draw.random() < 0.04:
            fields = fields * draw.choice((2, 40))
        session = self.session if draw.random() < 0.9 else draw.choice(("", "x", *others))
        return posted(draw, target, fields, has_files=self.has_files, spoils=0.3).by(session)


def forms_of(page: Element, address: str, session: str) -> list[Form]:
    """The forms of a page that post, and the elements that post by themselves."""
    forms = []
    seed = "".join("".join(one.itertext()) for one in page.iter() if one.get("id") == SEED_ID).replace(" ", "")
    outside = [control for control in page.iter() if control.get("form")]
    for element in page.iter("form"):
        if element.get("method") == "post":
            own = [control for control in outside if control.get("form") == element.get("id", " ")]
            form = _form(element, own, address, session)
            forms.append(replace(form, controls=tuple(_with_seed(one, seed) for one in form.controls)))
    alone = [one for one in page.iter() if one.get("data-hx-post") and one.tag != "form"]
    forms += [Form(one.get("data-hx-post", ""), tuple(_said(one)), session=session) for one in alone]
    return forms


def _with_seed(control: Control, seed: str) -> Control:
    return replace(control, seed=seed) if control.kind == ONE_TIME else control


def _said(element: Element) -> Iterator[Control]:
    """What an element says with its request."""
    for name, value in json.loads(element.get("data-hx-vals", "{}")).items():
        yield Control(name, "hidden", str(value))


def _form(element: Element, own: list[Element], address: str, session: str) -> Form:
    target = element.get("action", address).split("#")[0]
    inside = [one for one in element.iter() if not one.get("form")] + own
    buttons = [one for one in inside if one.tag == "button" and one.get("type", "submit") == "submit"]
    pressed = tuple(
        (one.get("name", ""), one.get("value", ""), one.get("formaction", target).split("#")[0]) for one in buttons
    )
    controls = tuple(_control(one) for one in inside if one.get("name") and one.tag in ("input", "select", "textarea"))
    return Form(target, controls, pressed, element.get("enctype") == "multipart/form-data", session)


def _control(element: Element) -> Control:
    kind = element.get("type", "text" if element.tag == "input" else element.tag)
    control = Control(element.get("name", ""), kind, element.get("value", ""))
    control = replace(control, is_faulty=element.get("aria-invalid") == "true")
    if element.tag == "select":
        options = [option for option in element.iter("option") if option.get("disabled") is None]
        chosen = next((one for one in options if one.get("selected") is not None), options[0] if options else None)
        value = "" if chosen is None else chosen.get("value", "")
        return replace(control, value=value, options=tuple(option.get("value", "") for option in options))
    if element.tag == "textarea":
        return replace(control, value=element.text or "")
    if kind in CHOICES:
        return replace(control, value=element.get("value", "on"), is_on=element.get("checked") is not None)
    if kind == "file":
        return replace(control, options=tuple(element.get("accept", "").split(",")))
    if element.get("autocomplete") == ONE_TIME:
        return replace(control, kind=ONE_TIME)
    typed = element.get("inputmode", kind) if kind == "text" else kind
    return replace(control, kind=typed, low=element.get("min", ""), high=element.get("max", ""))
