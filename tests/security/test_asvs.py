"""The table of `asvs.md`: no item of OWASP ASVS 5.0 (levels 1 and 2) is left out, and each that is met names tests that exist."""

from __future__ import annotations

import ast
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TABLE = Path(__file__).with_name("asvs.md")
ITEM = re.compile(r"\| V\d")
HOW = ("met", "runs", "not here")
COUNTED = {1: 21, 2: 11, 3: 18, 4: 4, 5: 9, 6: 28, 7: 15, 8: 6, 9: 6, 11: 13, 12: 8, 13: 13, 14: 9, 15: 13, 16: 16}
"""Items a chapter that can apply to a shop like this: OWASP ASVS 5.0 (2025), without those for techniques that are not used here
(LDAP, XPath, LaTeX, JNDI, GraphQL, WebSocket, telephone factors, identity providers, OAuth, WebRTC, client certificates)."""


@dataclass(frozen=True)
class Item:
    """A row of the table."""

    number: str
    level: str
    asked: str
    how: str
    because: str
    tests: tuple[str, ...]


def items() -> list[Item]:
    """All rows."""
    found = []
    for line in TABLE.read_text(encoding="utf-8").splitlines():
        if ITEM.match(line):
            number, level, asked, how, because, tests = (cell.strip() for cell in line.strip("|").split("|"))
            found.append(Item(number, level, asked, how, because, tuple(re.findall(r"`([^`]+)`", tests))))
    return found


@cache
def names_in(path: str) -> frozenset[str]:
    """Names of the tests of a module."""
    tree = ast.parse((ROOT / path).read_text(encoding="utf-8"))
    return frozenset(
        node.name
        for node in ast.walk(tree)
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)) and node.name.startswith("test_")
    )


def test_no_item_is_missing_and_none_stands_twice() -> None:
    numbers = [item.number for item in items()]
    assert len(set(numbers)) == len(numbers)
    counted = {chapter: sum(number.startswith(f"V{chapter}.") for number in numbers) for chapter in COUNTED}
    assert counted == COUNTED
    assert sum(COUNTED.values()) == len(numbers)


@pytest.mark.parametrize("item", items(), ids=lambda item: item.number)
def test_each_item_is_answered(item: Item) -> None:
    assert item.level in ("1", "2")
    assert item.how in HOW, f"{item.number} says {item.how!r}, not one of {HOW}"
    assert len(item.because) > 20, f"{item.number} does not say by what, or why not"
    assert item.tests or item.how != "met", f"{item.number} is said to be met, and no test shows it"
    for test in item.tests:
        path, _, name = test.partition("::")
        assert (ROOT / path).is_file(), f"{item.number} names {path}, which is not there"
        assert name in names_in(path), f"{item.number} names {test}, which is not there"
