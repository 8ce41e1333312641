"""What a template writes is escaped, whatever it is: held against Jinja's own writing, and read back by a browser's rules for HTML."""

from __future__ import annotations

import html
from decimal import Decimal
from typing import Any

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import DictLoader, Environment, StrictUndefined, UndefinedError
from markupsafe import Markup

from server.web.escaping import Templates, written
from server.web.render import environment

TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]) | st.sampled_from("<>&'\"`=/ "))
"""Without controls, which a reader of HTML changes: a carriage return becomes a new line (WHATWG HTML, 13.2.3.5)."""
SOURCES = {
    "between": "<p>{{ it }}</p>",
    "quoted": '<p title="{{ it }}">x</p>',
    "macro": "{% macro m(a) %}<b>{{ a }}</b>{% endmacro %}<p>{{ m(it) }}{{ m(m(it)) }}</p>",
    "call": "{% macro m() %}<i>{{ caller() }}</i>{% endmacro %}{% call m() %}{{ it }}{% endcall %}",
    "set": "{% set kept %}<b>{{ it }}</b>{% endset %}{{ kept }}{{ kept ~ it }}",
    "loop": "{% for one in [it, it] %}{{ loop.index }}{{ one }}{% endfor %}",
    "filtered": "{{ it | string | upper }}{{ [it, '<'] | join('&') }}",
    "included": "{% include 'between' %}{% extends 'base' %}",
    "base": "<p>{% block main %}{{ it }}{% endblock %}</p>",
    "switched": "{% autoescape on %}{{ it }}{% endautoescape %}",
}


class Marked:
    """Something that says itself how it stands in a page."""

    def __html__(self) -> str:
        return "<b>marked</b>"


OURS, THEIRS = (
    kind(loader=DictLoader(SOURCES), autoescape=True, undefined=StrictUndefined) for kind in (Templates, Environment)
)
"""The program's way of writing, and Jinja's."""


@pytest.mark.parametrize("name", SOURCES)
@given(
    it=TEXT
    | st.integers()
    | st.floats()
    | st.none()
    | st.booleans()
    | st.just(Marked())
    | TEXT.map(Markup)
    | st.decimals()
)
def test_a_template_writes_what_jinja_writes(name: str, it: Any) -> None:
    # The two name the quotes otherwise (&quot; or &#34;, &#x27; or &#39;), which are the same by WHATWG HTML, 13.5.
    ours, theirs = (env.get_template(name).render(it=it, on=True) for env in (OURS, THEIRS))
    assert ours.replace("&quot;", "&#34;").replace("&#x27;", "&#39;") == theirs


@given(TEXT)
def test_a_reader_of_html_finds_the_text_again_and_nothing_beside_it(text: str) -> None:
    for name in ("between", "quoted"):
        body = html5lib.parse(OURS.get_template(name).render(it=text), namespaceHTMLElements=False).find("body")
        (found,) = body.iter("p")
        assert (found.text or "" if name == "between" else found.get("title")) == text
        assert len(list(body.iter())) == 2


@given(TEXT)
def test_no_character_that_could_end_a_text_or_a_quote_is_left(text: str) -> None:
    assert not set("<>\"'") & set(written(text))
    assert html.unescape(written(text)) == html.unescape(html.escape(text))


def test_what_nothing_was_given_for_is_refused() -> None:
    with pytest.raises(UndefinedError, match="'it' is undefined"):
        OURS.get_template("between").render()


def test_where_escaping_is_switched_off_jinja_writes() -> None:
    for it in ("<b>", Decimal("1.5")):
        ours, theirs = (env.get_template("switched").render(it=it, on=False) for env in (OURS, THEIRS))
        assert ours == theirs == str(it)


def test_the_programs_templates_are_written_so() -> None:
    env = environment(lambda name: f"/static/{name}")
    assert isinstance(env, Templates)
    assert env.from_string("{{ it }}").render(it="<'>") == "&lt;&#x27;&gt;"
