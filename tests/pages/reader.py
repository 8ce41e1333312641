"""A browser without script: it reads pages as the HTML standard does, follows links, fills forms and sends them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import cast
from urllib.parse import urlencode
from xml.etree.ElementTree import Element, TreeBuilder

import html5lib
import httpx
from lxml import etree

from tests.builders_http import Client

Fields = list[tuple[str, str]]
FrontDoor = Client | httpx.Client
SVG = "{http://www.w3.org/2000/svg}"
SVG_NAMES = {
    "viewbox": "viewBox",
    "preserveaspectratio": "preserveAspectRatio",
}  # HTML, 13.2.6.1: adjust SVG attributes.
FORM = {"content-type": "application/x-www-form-urlencoded"}


@lru_cache(maxsize=16)
def parsed(html: str) -> Element:
    """A page's tree, which nobody changes; raises where it is not valid HTML."""
    tree: Element = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(html)
    return tree


class Building:
    """What lxml's parser tells of a page, built into a tree of the standard library's; what it does not know of HTML 5 is put right."""

    def __init__(self) -> None:
        self.builder = TreeBuilder()
        self.drawings = 0
        self.drops_newline = False

    def start(self, tag: str, attributes: Mapping[str, str]) -> None:
        """An element begins; what stands in a drawing is of SVG's names."""
        self.drawings += tag == "svg"
        named = {SVG_NAMES.get(name, name): value for name, value in attributes.items()}
        self.builder.start(SVG + tag if self.drawings else tag, named)
        self.drops_newline = tag in ("textarea", "pre")

    def end(self, tag: str) -> None:
        """An element ends."""
        self.builder.end(SVG + tag if self.drawings else tag)
        self.drawings -= tag == "svg"
        self.drops_newline = False

    def data(self, text: str) -> None:
        """Text comes; the first line break of a textarea is none (HTML, 13.2.6.4.7)."""
        self.builder.data(text.removeprefix("\n") if self.drops_newline else text)
        self.drops_newline = False

    def comment(self, text: str) -> None:
        """A comment, which nobody reads."""

    def close(self) -> Element:
        """All was told."""
        return self.builder.close()


@lru_cache(maxsize=16)
def read(html: str) -> Element:
    """A page's tree, which nobody changes: quicker than `parsed`, whether the page is valid or not."""
    parser = etree.HTMLParser(target=Building())  # type: ignore[arg-type]  # lxml takes any object with these five verbs.
    return cast(Element, etree.fromstring(html, parser))


def parsed_fragment(html: str) -> Element:
    """A fragment's tree; raises where it is not valid HTML."""
    tree: Element = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parseFragment(html)
    return tree


def text_of(element: Element) -> str:
    """All text of an element with single spaces."""
    return " ".join("".join(element.itertext()).split())


def encoded(fields: Fields) -> bytes:
    """Fields as a form sends them."""
    return urlencode(fields).encode()


def fields_of_form(form: Element) -> Fields:
    """What a form would send as it stands, without its buttons."""
    fields: Fields = []
    for control in form.iter():
        name = control.get("name")
        if name is None or control.tag == "button":
            continue
        if control.tag == "select":
            options = list(control.iter("option"))
            chosen = [option for option in options if option.get("selected") is not None] or options[:1]
            fields.append((name, chosen[0].get("value", "")))
        elif control.tag == "textarea":
            fields.append((name, control.text or ""))
        elif control.get("type") in ("radio", "checkbox"):
            if control.get("checked") is not None:
                fields.append((name, control.get("value", "on")))
        else:
            fields.append((name, control.get("value", "")))
    return fields


@dataclass
class Reader:
    """What stands in the window: an address and a page."""

    client: FrontDoor
    address: str = ""
    status: int = 0
    html: str = ""
    headers: httpx.Headers = field(default_factory=httpx.Headers)

    @property
    def page(self) -> Element:
        """The page's tree."""
        return read(self.html)

    @property
    def text(self) -> str:
        """All that can be read on the page."""
        return text_of(self.page)

    def open(self, address: str) -> Reader:
        """Go to an address."""
        return self._shown(address, self.client.get(address))

    def _shown(self, address: str, answer: httpx.Response) -> Reader:
        while answer.status_code == 303:
            address = answer.headers["location"]
            answer = self.client.get(address)
        self.address, self.status, self.html, self.headers = address, answer.status_code, answer.text, answer.headers
        return self

    def form(self, button: str) -> tuple[Element, Element]:
        """The form with a button of this text (or of this value), and the button."""
        for form in self.page.iter("form"):
            for found in form.iter("button"):
                if button in (text_of(found), found.get("value")):
                    return form, found
        raise AssertionError(f"no button {button!r} at {self.address}")

    def press(self, button: str, **filled: str | list[str]) -> Reader:
        """Fill fields of a button's form and press it; a field given as a list is sent for each of its values."""
        address, body = self.sending(button, **filled)
        return self._shown(address, self.client.post(address, content=body, headers=FORM))

    def sending(self, button: str, **filled: str | list[str]) -> tuple[str, bytes]:
        """Where pressing a button would send what."""
        form, pressed = self.form(button)
        names = {name.replace("__", "-"): value for name, value in filled.items()}
        known = {control.get("name") for control in form.iter()}
        assert names.keys() <= known, f"no such field: {names.keys() - known}"
        fields = [(name, value) for name, value in fields_of_form(form) if name not in names]
        for name, value in names.items():
            fields += [(name, item) for item in ([value] if isinstance(value, str) else value)]
        said = pressed.get("name")
        if said is not None:
            fields.append((said, pressed.get("value", "")))
        return form.get("action", self.address), encoded(fields)

    def by_id(self, name: str) -> Element:
        """The element with an id."""
        found = next((element for element in self.page.iter() if element.get("id") == name), None)
        assert found is not None, f"nothing has the id {name!r} at {self.address}"
        return found

    def row(self, label: str) -> str:
        """What the docket says beside a label that begins so."""
        for line in self.page.iter("div"):
            words = list(line)
            if len(words) == 2 and words[0].tag == "dt" and text_of(words[0]).startswith(label):
                return text_of(words[1])
        raise AssertionError(f"the docket has no line {label!r}")


def started(client: FrontDoor) -> Reader:
    """A reader who has pressed the first page's button."""
    return Reader(client).open("/").press("Start with you")


def at_the_kit(client: FrontDoor, mass: str = "80", **flying: str) -> Reader:
    """A reader who has answered what a kit needs, and looks at it."""
    reader = started(client).press("next", mass_kg=mass, to_feet="average", fitness="fair")
    return reader.press("kit", **{"board_background": "some", "foil_stage": "none", **flying})
