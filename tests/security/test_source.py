"""What the source of the program must never do, and what it does is written down: keys, algorithms, outside calls, scripts."""

from __future__ import annotations

import re
from functools import cache
from itertools import pairwise
from pathlib import Path

from server.usecases.work import new_token

ROOT = Path(__file__).parents[2]
MODULES = sorted((ROOT / "server").rglob("*.py"))
SCRIPTS = sorted((ROOT / "static").glob("*.js"))
GUESSABLE = {"random", "uuid"}
SECTION = "### Keys and algorithms"
FETCHES = {"httpx", "requests", "urllib3", "aiohttp", "ftplib", "telnetlib", "urllib.request", "http.client", "socket"}
CRYPTOGRAPHY = {"hashlib", "hmac", "secrets", "pwdlib", "pyotp", "ssl", "uuid", "cryptography", "jwt", "itsdangerous"}
INVENTORY = re.compile(r"^\| `(server/[a-z_/]+\.py)` \|", re.MULTILINE)


IMPORT = re.compile(r"^ *(?:import ([\w., ]+)|from ([\w.]+) import ([\w, ]+|\([^)]*\)))", re.MULTILINE)


@cache
def imported(path: Path) -> frozenset[str]:
    """The modules that a module imports, and what it takes from each as `module.name`."""
    found: set[str] = set()
    for modules, module, names in IMPORT.findall(path.read_text(encoding="utf-8")):
        found |= {name.split(" as ")[0].strip() for name in modules.split(",") if name}
        if module:
            found |= {module, *(f"{module}.{name}" for name in re.findall(r"\w+", names))}
    return frozenset(found)


def roots(path: Path) -> set[str]:
    return {name.partition(".")[0] for name in imported(path)}


def test_imports_are_read_as_python_reads_them() -> None:
    assert {"socket", "uvicorn", "asyncio", "server.web.guard", "server.web.guard.Throttle"} <= imported(
        ROOT / "server" / "app.py"
    )
    assert imported(ROOT / "server" / "security" / "tokens.py") == {
        "__future__",
        "__future__.annotations",
        "hashlib",
        "hmac",
        "secrets",
    }


def test_no_weak_hash_and_nothing_guessable_is_used() -> None:
    used: set[str] = set()
    for path in MODULES:
        if "hashlib" in roots(path):
            used |= set(re.findall(r"\bhashlib\.(\w+)", path.read_text(encoding="utf-8")))
            used |= {name.removeprefix("hashlib.") for name in imported(path) if name.startswith("hashlib.")}
        assert not roots(path) & GUESSABLE, path
    assert used == {"sha256"}


def test_every_module_that_touches_cryptography_is_in_the_inventory_and_no_other() -> None:
    written = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    inventory = set(INVENTORY.findall(written.split(SECTION)[1].split("\n### ")[0]))
    touching = {str(path.relative_to(ROOT)) for path in MODULES if roots(path) & CRYPTOGRAPHY}
    assert inventory == touching


def test_no_token_signs_itself_and_nothing_is_encrypted_by_our_own_hand() -> None:
    made = {"jwt", "jose", "itsdangerous", "authlib", "cryptography", "nacl", "Crypto"}
    assert [path for path in MODULES if roots(path) & made] == []


def test_nothing_is_fetched_from_anywhere_by_the_server() -> None:
    for path in MODULES:
        found = {name for name in imported(path) for ours in FETCHES if name == ours or name.startswith(f"{ours}.")}
        allowed = {"socket", "socket.socket"} if path.name == "app.py" else set()
        assert found <= allowed, path


def test_an_unguessable_address_has_192_bits_and_none_comes_twice() -> None:
    tokens = [new_token() for _ in range(100)]
    assert len(set(tokens)) == 100
    assert {len(token) * 6 for token in tokens} == {192}


def test_scripts_set_no_property_by_a_name_that_came_from_outside_and_leave_pasting_alone() -> None:
    assert SCRIPTS
    for path in SCRIPTS:
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\w\[\s*[a-z_]\w*\s*\]\s*=[^=]", text), f"{path.name} sets a property by a name"
        for word in ("__proto__", "Object.assign", "paste", "document.cookie", "eval(", "new Function"):
            assert word not in text, f"{path.name}: {word}"


def test_the_image_holds_the_program_and_no_test_and_runs_without_rights() -> None:
    lines = (ROOT / "Dockerfile").read_text(encoding="utf-8").splitlines()
    copied = [name for line in lines if line.startswith("COPY") for name in line.split()[1:-1]]
    assert copied == [
        ".ci/requirements.txt",
        "pyproject.toml",
        "README.md",
        "server",
        "templates",
        "static",
        "seed_catalogue",
    ]
    order = [line.split()[0] for line in lines if line.split() and line.split()[0] in ("USER", "CMD")]
    assert list(pairwise(order)) == [("USER", "CMD")]
    assert not any("tests" in roots(path) for path in MODULES)
