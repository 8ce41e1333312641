"""What no line of the program does: run text as code, unpack objects, call other programs, or reach for the network by another way."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
RUNS_TEXT = {"eval", "exec", "compile", "__import__", "from_string", "system", "popen", "import_module"}
NEVER_IMPORTED = {
    "pickle",
    "marshal",
    "shelve",
    "dill",
    "yaml",
    "subprocess",
    "pty",
    "ctypes",
    "xml",
    "lxml",
    "code",
    "runpy",
}
REACHES_OUT = {
    "socket": {"server/app.py"},  # Listens; its type is named.
    "smtplib": {"server/outside/mail.py"},
    "ssl": {"server/outside/mail.py"},
}
TALKS_HTTP = {
    "urllib.request",
    "http",
    "httpx",
    "requests",
    "aiohttp",
    "ftplib",
    "telnetlib",
    "xmlrpc",
    "socketserver",
    "imaplib",
}
TEXTS_OF_OURS = {
    ("server/web/pages/catalogue_bulk.py", "refused"),  # One of REFUSED.
    ("server/web/pages/people.py", "address"),  # One of WHERE.
    ("server/usecases/people.py", "ABOUT"),
}
"""Where a name stands for a format that is written in the program; everywhere else it is written on the spot."""
QUERIES_OF_OURS = {
    (
        "server/persistence/backups.py",
        "text",
    ),  # Names of tables and functions that the database has, quoted by its dialect.
    ("server/persistence/backups.py", "execute"),
    ("server/persistence/migrate.py", "exec_driver_sql"),  # A number, or one of two words.
    ("server/persistence/engine.py", "execute"),  # The pragmas.
}
"""Where a query is put together of words; none of them comes with a request."""


IMPORT = re.compile(r"^ *(?:from ([\w.]+) import|import ([\w.]+))", re.MULTILINE)
LOOKED_AT = re.compile(
    rf"\bre\.|\.format|\b(?:text|literal_column|execute|exec_driver_sql|{'|'.join(sorted(RUNS_TEXT))})\("
)
"""What makes a module worth being taken apart: that takes longer than all the rest."""


@dataclass
class Module:
    """What a module imports, and, where it holds any of what is looked at, its calls with the last word of what is called."""

    imports: set[str] = field(default_factory=set)
    calls: list[tuple[ast.Call, str]] = field(default_factory=list)

    @classmethod
    def read(cls, path: Path) -> Module:
        """A module, walked once."""
        text = path.read_text(encoding="utf-8")
        found = cls({one or other for one, other in IMPORT.findall(text)})
        for node in ast.walk(ast.parse(text)) if LOOKED_AT.search(text) else ():
            if isinstance(node, ast.Call):
                found.calls.append((node, getattr(node.func, "attr", getattr(node.func, "id", ""))))
        return found


@cache
def house() -> dict[str, Module]:
    """Every module of the program by its path."""
    paths = sorted((ROOT / "server").rglob("*.py"))
    return {path.relative_to(ROOT).as_posix(): Module.read(path) for path in paths}


def calls(*words: str) -> Iterator[tuple[str, ast.Call, str]]:
    """The calls of something of such a name, each with its module's path."""
    for name, module in house().items():
        yield from ((name, call, word) for call, word in module.calls if word in words)


def test_nothing_runs_text_as_code_and_nothing_unpacks_objects() -> None:
    for name, module in house().items():
        assert not {one.partition(".")[0] for one in module.imports} & NEVER_IMPORTED, name
    ran = {(name, ast.unparse(call.func)) for name, call, _ in calls(*RUNS_TEXT)}
    assert {called for _, called in ran if called != "re.compile" and not called.endswith("session.exec")} == {
        "typst.compile"
    }


def test_only_the_named_rooms_reach_out_and_none_by_http() -> None:
    for name, module in house().items():
        for one in module.imports:
            assert not any(one == other or one.startswith(f"{other}.") for other in TALKS_HTTP), f"{name}: {one}"
            assert name in REACHES_OUT.get(one.partition(".")[0], {name}), f"{name}: {one}"


def test_no_format_is_made_of_what_people_type() -> None:
    found = 0
    for name, call, _ in calls("format", "format_map"):
        if isinstance(call.func, ast.Attribute):
            of = call.func.value
            is_markup = isinstance(of, ast.Call) and ast.unparse(of.func) == "Markup"
            is_ours = isinstance(of, ast.Constant) or is_markup or (name, ast.unparse(of)) in TEXTS_OF_OURS
            assert is_ours, f"{name}: {ast.unparse(call)}"
            found += 1
    assert found


def test_no_pattern_is_made_of_what_people_type() -> None:
    found = 0
    for name, call, _ in calls("compile", "fullmatch", "match", "search", "sub", "split", "findall", "finditer"):
        if ast.unparse(call.func).startswith("re."):
            names = [node.id for node in ast.walk(call.args[0]) if isinstance(node, ast.Name)]
            is_escaped = "re.escape" in ast.unparse(call)
            assert is_escaped or all(word.isupper() or word == "len" for word in names), f"{name}: {ast.unparse(call)}"
            found += 1
    assert found > 50


def test_no_query_is_made_of_what_people_type() -> None:
    found = set()
    for name, call, word in calls("text", "exec_driver_sql", "literal_column", "execute"):
        is_made = any(isinstance(node, ast.JoinedStr) for told in call.args for node in ast.walk(told))
        if is_made and name.startswith("server/persistence/") and "/migrations/" not in name:
            found.add((name, word))
    assert found == QUERIES_OF_OURS


MAKING_HTML = {"server/web/glossary.py", "server/web/drawings/markup.py"}
ESCAPING = "server/web/escaping.py"


def test_only_glossary_and_drawings_make_html_and_no_template_switches_escaping_off() -> None:
    assert {name for name, module in house().items() if "markupsafe" in module.imports} == {*MAKING_HTML, ESCAPING}
    # It asks whether something is markup already, and makes none.
    assert "Markup(" not in (ROOT / ESCAPING).read_text(encoding="utf-8")
    for path in (ROOT / "templates").rglob("*.html"):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\|\s*(safe|tojson)\b|autoescape|Markup", text), path.name


@pytest.mark.parametrize("path", sorted((ROOT / "static").glob("*.js")), ids=lambda path: path.name)
def test_scripts_put_text_on_a_page_as_text(path: Path) -> None:
    script = path.read_text(encoding="utf-8")
    assert not re.search(
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|\beval\(|new Function|setHTMLUnsafe", script
    )
    assert "http" not in script.replace("https://", "http://").split("//", 1)[0]
