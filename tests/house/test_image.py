"""The image that the Dockerfile makes holds the program and nothing else, and runs it as a user without rights."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
STEPS = [line for line in (ROOT / "Dockerfile").read_text(encoding="utf-8").splitlines() if line]
LET_IN = {".ci/requirements.txt", "pyproject.toml", "README.md", "server", "templates", "static", "seed_catalogue"}


def test_everything_is_left_out_but_what_is_named() -> None:
    rules = (ROOT / ".dockerignore").read_text(encoding="utf-8").split()
    assert rules[0] == "*"  # Docker: a later line that begins with ! takes back what an earlier one left out.
    assert {rule.removeprefix("!") for rule in rules if rule.startswith("!")} == LET_IN
    copied = {word for step in STEPS if step.startswith("COPY") for word in step.split()[1:-1]}
    assert copied == LET_IN


def test_it_runs_as_a_user_without_rights_and_holds_no_secret() -> None:
    [user] = [place for place, step in enumerate(STEPS) if step == "USER slackwater"]
    assert all(not step.startswith(("RUN", "COPY", "ADD")) for step in STEPS[user:])
    assert STEPS[-1].startswith("CMD")
    said = "\n".join(STEPS)
    assert not re.search(r"PASSWORD|SECRET|TOKEN|DATABASE_URL|SMTP|sudo|chmod|--privileged", said)
    assert "--require-hashes" in said


def test_nothing_that_is_served_is_hidden_or_a_folder() -> None:
    for path in (ROOT / "static").iterdir():
        assert path.is_file()
        assert not path.name.startswith(".")
