"""Templates: whole pages and the named blocks of them, money and numbers as this shop writes them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import fields
from datetime import date, datetime
from functools import lru_cache, partial
from pathlib import Path
from typing import Any
from urllib.parse import quote
from zoneinfo import ZoneInfo

from babel.dates import format_date
from babel.numbers import get_currency_symbol
from jinja2 import BytecodeCache, Environment, FileSystemLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse
from starlette.routing import Match

from server.domain.codes import spaced_code
from server.domain.money import Cents
from server.domain.policy import ShopTerms
from server.domain.slots import SLOT_WORDS
from server.outside.amounts import money_in_words
from server.web.cautions import CAUTIONS
from server.web.drawings.markup import figure, kept_figure, ruler_sheet
from server.web.escaping import Templates
from server.web.glossary import term
from server.web.look import look_address
from server.web.units import CHOICES, length_in, mass_in, measures_said_in, units_of, wind_in

TEMPLATES = Path(__file__).parents[2] / "templates"
LOCAL_PATH = re.compile(r"/(?![/\\])[!-\[\]-~]{0,2000}", re.ASCII)
PAGES_VARY = "HX-Request, Cookie"


def money_words(cents: Cents, terms: ShopTerms) -> str:
    """An amount as the shop's locale writes it, with a true minus: €1,234.50, −€310.00."""
    return money_in_words(cents, terms.currency, terms.locale)


def day_words(day: date, terms: ShopTerms) -> str:
    """A day in words: 9 December 2026."""
    return str(format_date(day, "d MMMM y", locale=terms.locale))


def moment_words(moment: datetime, terms: ShopTerms) -> str:
    """A moment by the shop's clock, in words: 25 November 2026, 14:30."""
    local = moment.astimezone(ZoneInfo(terms.time_zone))
    return f"{day_words(local.date(), terms)}, {local:%H:%M}"


def environment(static_address: Callable[[str], str], compiled: BytecodeCache | None = None) -> Environment:
    """The template environment: escaping on, unknown names refused, macros as the global `ui`."""
    env = Templates(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
        bytecode_cache=compiled,
    )
    env.filters["spaced"] = spaced_code
    env.globals["static"] = static_address
    env.globals["slot_words"] = SLOT_WORDS
    env.globals["all_cautions"] = CAUTIONS
    env.globals["zip"] = zip
    env.globals["unit_choices"] = CHOICES
    env.globals["term"] = term
    env.globals["figure"] = figure
    env.globals["kept_figure"] = kept_figure
    env.globals["ruler_sheet"] = ruler_sheet
    env.globals["ui"] = ui = env.get_template("ui.html").module
    env.globals["blank_measures"] = lru_cache(maxsize=64)(partial(ui.own_measures, Untouched()))  # type: ignore[attr-defined]
    return env


class Untouched:
    """A form in which nothing was typed yet."""

    def value(self, _name: str) -> str:
        """A field as typed: nothing."""
        return ""

    def fault_at(self, _name: str) -> None:
        """What is wrong at a field: nothing."""


def is_fragment_asked(request: Request) -> bool:
    """Whether htmx asks for a part of a page; a boosted link or a history restore gets the whole one."""
    headers = request.headers
    return (
        headers.get("HX-Request") == "true"
        and headers.get("HX-Boosted") != "true"
        and headers.get("HX-History-Restore-Request") != "true"
    )


def local_path(address: str) -> str:
    """The address if it is a path of this server in plain ASCII, else "/"; `//host` and `/\\host` would lead elsewhere."""
    return address if LOCAL_PATH.fullmatch(address) else "/"


def way_back(request: Request) -> str:
    """Where a form that stands on every page returns to: this page as it was asked for.

    A page that answered a POST is asked for anew where its address can be, else the draft or quote it belongs to.
    """
    raw = request.scope.get("raw_path", b"").decode("latin-1") or request.scope["path"]
    path = quote(raw, safe="%/:@!$&'()*+,;=-._~")
    if request.method in ("GET", "HEAD"):
        query = request.scope["query_string"].decode("latin-1")
        return local_path(path + ("?" + quote(query, safe="%/:@!$&'()*+,;=-._~?") if query else ""))
    asked = {**request.scope, "method": "GET"}
    can_be_asked = any(route.matches(asked)[0] is Match.FULL for route in request.app.routes)
    return local_path(path if can_be_asked else "/".join(path.split("/")[:3]))


class Pages:
    """Renders a page's context (a frozen dataclass) with its template, whole or only one named block of it."""

    def __init__(self, env: Environment) -> None:
        self.env = env

    def show(
        self, request: Request, template: str, context: Any, terms: ShopTerms, *, block: str = "", status: int = 200
    ) -> HTMLResponse:
        """The page, or its block where htmx asks for a part and the page has one."""
        values = {field.name: getattr(context, field.name) for field in fields(context)}
        units = units_of(request)
        values |= {
            "page": context,
            "shop": terms,
            "look_address": look_address(terms.look),
            "units": units,
            "length": lambda length_cm: length_in(length_cm, units),
            "wind": lambda wind_kn: wind_in(wind_kn, units),
            "mass": lambda mass_kg: mass_in(mass_kg, units),
            "measures_said": lambda text: measures_said_in(text, units),
            "back": way_back(request),
            "account": getattr(request.state, "account", None),
            "currency_sign": get_currency_symbol(terms.currency, locale=terms.locale),
            "money": lambda cents: money_words(cents, terms),
            "day": lambda moment: day_words(moment, terms),
        }
        page = self.env.get_template(template)
        if block and is_fragment_asked(request):
            return self._answer(page.blocks[block](page.new_context(values)), status)
        return self._answer([page.render(values)], status)

    @staticmethod
    def _answer(html: Iterable[str], status: int) -> HTMLResponse:
        return HTMLResponse("".join(html), status_code=status, headers={"Vary": PAGES_VARY})


def see_other(address: str) -> RedirectResponse:
    """After a POST: look at this address. htmx follows by itself and asks for the block."""
    return RedirectResponse(address, status_code=303, headers={"Vary": "HX-Request"})
