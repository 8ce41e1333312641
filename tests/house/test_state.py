"""What a process keeps in mind between two requests is named here, each with why another process does without it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator

from tests.house.test_imports import SERVER

KEEPING = {"cache", "lru_cache", "cached", "alru_cache"}
MAKING = {"defaultdict", "Counter", "deque", "OrderedDict", "Lock", "RLock", "Semaphore", "BoundedSemaphore"}
MAKING |= {"ContextVar", "local", "WeakKeyDictionary", "WeakValueDictionary", "count", "cycle", "dict", "list", "set"}
MAY_KEEP = re.compile(r"^\s*@.*cache|^\s*global |^\w+(: .+)? = ([\[{][\]}]|[\w.]+\()", re.MULTILINE)
"""Of the text of a module: only such a one is read whole."""
ALLOWED = {
    "domain/pricing.py _included": "a line of what it is given",
    "domain/trade_in.py _left_after": "two powers of what it is given",
    "persistence/migrate.py revisions": "the steps in the program's own folder",
    "outside/amounts.py _writer": "how a package writes the amounts of a place",
    "outside/pdf.py _GATE": "the processor of this process",
    "outside/photos.py _one_at_a_time": "the memory of this process",
    "outside/workbook.py _GATE": "the memory of this process",
    "outside/public_holidays.py _of_year": "a table of a package",
    "security/common.py common_passwords": "a list of a package",
    "security/passwords.py _GATE": "the memory of this process",
    "persistence/outages.py _commits": "the request at hand alone",
    "web/guard.py _request": "the request at hand alone",
    "web/drawings/markup.py kept_figure": "markup of the drawings it is given",
    "web/drawings/plan.py _drawn": "a drawing of what it is given",
    "web/drawings/side.py _built": "a drawing of what it is given",
    "web/drawings/winds.py _axis": "a drawing of what it is given",
    "web/drawings/person.py _drawn": "a drawing of what it is given",
    "web/glossary.py term": "a link to a word of the program's own",
    "web/look.py look_digest": "a digest of what it is given",
    "web/pages/price_fit.py _named": "a part of an address, of what it is given",
    "web/pages/assessments.py _offline": "a file of the program",
}


def name_of(node: ast.expr) -> str:
    """The last name of a call, a decorator or what is called in one."""
    if isinstance(node, ast.Call):
        return name_of(node.func)
    return node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", "")


def kept_in(tree: ast.Module) -> Iterator[str]:
    """Functions that remember, variables of a module that can be changed, and names that a function makes its module's."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            if KEEPING & {name_of(decorator) for decorator in node.decorator_list}:
                yield node.name
        elif isinstance(node, ast.Global):
            yield from node.names
    for statement in tree.body:
        if isinstance(statement, ast.Assign | ast.AnnAssign) and statement.value is not None:
            targets = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
            names = [target.id for target in targets if isinstance(target, ast.Name)]
            value = statement.value
            is_empty = isinstance(value, ast.Dict | ast.List | ast.Set) and not list(ast.iter_child_nodes(value))
            if is_empty or (isinstance(value, ast.Call) and name_of(value) in MAKING):
                yield from names


def test_nothing_is_kept_in_a_process_that_another_would_need() -> None:
    found = {
        f"{path.relative_to(SERVER).as_posix()} {name}"
        for path in SERVER.rglob("*.py")
        if MAY_KEEP.search(text := path.read_text(encoding="utf-8"))
        for name in kept_in(ast.parse(text))
    }
    assert found == set(ALLOWED)
