"""The storeys: arrows run only downwards, and each storey leaves alone what is not its own."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
SERVER = ROOT / "server"
LAYERS = ["app : commands", "web", "usecases", "persistence | security | outside", "domain"]


def modules(*folders: str) -> list[Path]:
    """The modules of some storeys."""
    return [path for folder in folders for path in sorted((SERVER / folder).rglob("*.py"))]


@cache
def imports_of(path: Path) -> list[str]:
    """The modules that a module imports, by their full names; to read one takes longer than all that is asked of it."""
    found: list[str] = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [name.name for name in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            assert node.module is not None
            found.append(node.module)
    return found


def test_the_contract_of_imports_is_kept() -> None:
    """In a process of its own: import-linter silences every logger of the process it runs in."""
    command = [
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports; raise SystemExit(lint_imports(no_cache=True))",
    ]
    ran = subprocess.run(
        command, cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, check=False
    )
    assert ran.returncode == 0, ran.stdout + ran.stderr


def test_the_contract_says_what_the_storeys_are() -> None:
    contracts = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["importlinter"][
        "contracts"
    ]
    [storeys] = [
        contract for contract in contracts if contract["type"] == "layers" and contract["containers"] == ["server"]
    ]
    assert storeys["layers"] == LAYERS
    assert storeys["exhaustive"] is True
    assert set(storeys["exhaustive_ignores"]) == {"__main__", "settings"}
    assert any(contract["type"] == "acyclic_siblings" for contract in contracts)


def test_the_domain_imports_the_standard_library_and_itself_alone() -> None:
    foreign = {
        (path.name, name)
        for path in modules("domain")
        for name in imports_of(path)
        if name.split(".")[0] not in sys.stdlib_module_names and not name.startswith("server.domain")
    }
    assert foreign == set()


def test_the_domain_reads_no_clock_and_draws_no_lot() -> None:
    for path in modules("domain"):
        assert not set(imports_of(path)) & {"time", "random", "secrets", "os", "uuid"}, path.name
        text = path.read_text(encoding="utf-8")
        assert not any(call in text for call in (".now(", ".today(", ".utcnow(")), path.name


def test_only_persistence_speaks_sql() -> None:
    others = [path for path in SERVER.rglob("*.py") if "persistence" not in path.relative_to(SERVER).parts]
    speaking = {
        (path.relative_to(SERVER).as_posix(), name)
        for path in others
        for name in imports_of(path)
        if name.split(".")[0] in ("sqlalchemy", "sqlmodel", "alembic", "sqlite3", "psycopg")
    }
    # A unit of work holds a session and asks it nothing.
    assert speaking <= {("usecases/work.py", "sqlmodel")}


def test_the_doors_know_no_rows_and_no_queries() -> None:
    doors = [*modules("web"), *modules("commands"), SERVER / "app.py"]
    known = {name for path in doors for name in imports_of(path) if name.startswith("server.persistence")}
    may = {"server.persistence.engine", "server.persistence.outages"}
    assert known <= may, "they may say where the data lie and that they cannot be reached, and nothing more"


def test_only_the_program_itself_runs_when_it_is_imported() -> None:
    """Importing a module builds nothing: no engine, no settings and no application stand at the top of one."""
    made = {"create_engine", "engine_for", "Settings", "create_app", "open_shop", "FastAPI", "Session"}
    for path in SERVER.rglob("*.py"):
        for statement in ast.parse(path.read_text(encoding="utf-8")).body:
            if isinstance(statement, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)):
                continue
            calls = [node.func for node in ast.walk(statement) if isinstance(node, ast.Call)]
            names = {call.id if isinstance(call, ast.Name) else getattr(call, "attr", "") for call in calls}
            assert not names & made, path.name
