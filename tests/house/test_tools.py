"""Lint, format and strict types hold for everything, the web code and the tests included."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

TOOLS = {
    "lint": ["ruff", "check", "server", "tests"],
    "format": ["ruff", "format", "--check", "server", "tests"],
    "types": ["mypy", "--no-error-summary"],
}


@pytest.mark.parametrize("tool", TOOLS)
def test_the_house_is_clean(tool: str) -> None:
    ran = subprocess.run([sys.executable, "-m", *TOOLS[tool]], cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
