"""Every template: a page extends the base and has a title; nothing in one runs by itself or carries a style."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from jinja2 import Environment, nodes

from server.web.render import TEMPLATES, environment

NAMES = sorted(path.relative_to(TEMPLATES).as_posix() for path in TEMPLATES.rglob("*.html"))
BASE, MACROS = "base.html", "ui.html"
SHARED = [name for name in NAMES if Path(name).name.startswith("_")]
PAPERS = sorted(path.relative_to(TEMPLATES).as_posix() for path in TEMPLATES.rglob("*.typ"))
PAGES = [name for name in NAMES if name not in (BASE, MACROS, *SHARED)]


@pytest.fixture(scope="module")
def env() -> Environment:
    """The environment of the running program."""
    return environment(lambda name: f"/static/{name}")


@cache
def parsed(env: Environment, name: str) -> nodes.Template:
    """A template as a tree."""
    return env.parse((TEMPLATES / name).read_text(encoding="utf-8"))


def titles_in(env: Environment, name: str) -> Iterator[nodes.Block]:
    """The title blocks of a template."""
    return (block for block in parsed(env, name).find_all(nodes.Block) if block.name == "title")


def test_all_that_stands_among_the_templates_is_one() -> None:
    assert PAGES
    assert PAPERS
    others = [path for path in TEMPLATES.rglob("*") if path.is_file() and path.suffix not in (".html", ".typ")]
    assert others == []


@pytest.mark.parametrize("name", PAPERS)
def test_a_paper_has_a_title_and_a_language_and_draws_on_nothing_else(name: str) -> None:
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    assert "#set document(title:" in text
    assert 'lang: "en"' in text
    assert not re.search(r"@\w+/|\b(import|include|eval|plugin|read)\b", text), (
        "no packages, no files, nothing evaluated"
    )


@pytest.mark.parametrize("name", NAMES)
def test_it_can_be_read(env: Environment, name: str) -> None:
    assert env.get_template(name).name == name


@pytest.mark.parametrize("name", PAGES)
def test_a_page_extends_the_base_and_has_a_title(env: Environment, name: str) -> None:
    [extends] = parsed(env, name).find_all(nodes.Extends)
    assert isinstance(extends.template, nodes.Const)
    assert extends.template.value == BASE
    [title] = titles_in(env, name)
    assert any(piece.data.strip() for piece in title.find_all(nodes.TemplateData)) or any(title.find_all(nodes.Name))


def test_the_base_asks_every_page_for_its_title(env: Environment) -> None:
    [title] = titles_in(env, BASE)
    assert title.required
    assert re.search(r"<title>\s*\{% block title", (TEMPLATES / BASE).read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", SHARED)
def test_what_pages_share_is_no_page(env: Environment, name: str) -> None:
    tree = parsed(env, name)
    assert not list(tree.find_all(nodes.Extends))
    assert not list(tree.find_all(nodes.Block))


def test_components_are_macros_and_nothing_else(env: Environment) -> None:
    pieces = [piece for piece in parsed(env, MACROS).body if not isinstance(piece, nodes.Macro)]
    written = [data for piece in pieces for data in piece.find_all(nodes.TemplateData)]
    assert "".join(data.data for data in written).strip() == ""
    assert list(parsed(env, MACROS).find_all(nodes.Macro))


@pytest.mark.parametrize("name", NAMES)
def test_no_script_and_no_style_stands_in_it(name: str) -> None:
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    assert not re.search(r"<style|\sstyle=|\son[a-z]+=|hx-on|javascript:|\bjs:", text, re.IGNORECASE)
    scripts = re.findall(r"<script\b([^>]*)>(.*?)</script>", text, re.IGNORECASE | re.DOTALL)
    assert len(scripts) == len(re.findall("<script", text, re.IGNORECASE))
    assert all("src=" in attributes and not content.strip() for attributes, content in scripts)


@pytest.mark.parametrize("name", NAMES)
def test_nothing_in_it_comes_from_another_host(name: str) -> None:
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    addresses = set(re.findall(r"(?:https?:)?//[\w.-]+", text))
    assert addresses <= {"http://www.w3.org"}, "only the name of SVG is an address"


@pytest.mark.parametrize("name", NAMES)
def test_htmx_is_asked_in_attributes_of_data_alone(name: str) -> None:
    text = (TEMPLATES / name).read_text(encoding="utf-8")
    assert not re.search(r"\shx-", text)
    assert not re.search(r"data-hx-trigger=\"[^\"]*\[", text), "a filter of a trigger needs eval"
