"""What DEVELOPERS.md says of accounts, data, costly functions and the log agrees with the code, number by number."""

from __future__ import annotations

import logging
import re
import tomllib
from datetime import timedelta
from importlib.metadata import requires
from pathlib import Path

import pytest
from packaging.requirements import Requirement

import server.app  # noqa: F401  # So that every logger is there.
from server.domain import accounts, finding
from server.outside import mail, pdf, workbook
from server.persistence import engine, sources
from server.security import common, passwords, totp
from server.settings import Settings
from server.usecases import numbers, repricing, uploads
from server.web import guard
from server.web.uploads import MOST_WITH_CATALOGUE, MOST_WITH_PHOTOS

ROOT = Path(__file__).parents[2]
WRITTEN = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = WRITTEN.split("## Accounts, data and the log")[1].split("\n## ")[0]
LOCK = (ROOT / ".ci" / "requirements.txt").read_text(encoding="utf-8")
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
MB = 1024 * 1024


def minutes(span: timedelta) -> str:
    return f"{span // timedelta(minutes=1)} minutes"


def hours(span: timedelta) -> str:
    whole = span // timedelta(hours=1)
    return "1 hour" if whole == 1 else f"{whole} hours"


NAME, PLACE, CODES = accounts.PER_ACCOUNT, accounts.PER_ADDRESS, finding.CODE_GUESSES
COST = passwords.Cost()
SAID = [
    f"| {NAME.free} | 30 seconds, doubling up to {minutes(NAME.longest)}; after {NAME.most} in a row none is taken |",
    f"signed in during {accounts.KNOWN_FOR.days} days",
    f"| {PLACE.free} | 30 seconds, doubling up to {minutes(PLACE.longest)} | {hours(PLACE.forgotten_after or timedelta())} without",
    f"| {CODES.free} | 30 seconds, doubling up to {minutes(CODES.longest)} | {hours(CODES.forgotten_after or timedelta())} without",
    f"{hours(accounts.OWNER_LINK_LIFE)} for an owner's first link and for recovery, {hours(accounts.STAFF_LINK_LIFE)} for new staff",
    f"{accounts.SHORTEST_ALONE} characters or more, {accounts.SHORTEST_WITH_FACTOR} beside a second\nfactor, up to {accounts.LONGEST}",
    f"{', '.join(accounts.CONTEXT_WORDS)}.",
    f"the {len(common.common_passwords()) // 1000 * 1000:,} commonest",
    f"{minutes(accounts.IDLE)} without use and after {hours(accounts.ABSOLUTE)} in any case",
    f"lives for {minutes(accounts.HALF_WAY)}. Of more than {accounts.MOST_SESSIONS} at once the oldest ends",
    f"Argon2id, {COST.memory_kib // 1024} MiB, {COST.passes} passes, {COST.lanes} lanes",
    f"(`[retention]`), sessions {accounts.KNOWN_FOR.days} days",
    f"steps of {totp.STEP_SECONDS} seconds",
    f"| a password's hash ({COST.memory_kib // 1024} MiB) | {passwords.AT_ONCE} at once in a process",
    f"| {pdf.AT_ONCE} at once in a process, after {pdf.WAIT_S} seconds the answer is 429 |",
    f"| a workbook written | 1 at once in a process, after {workbook.WAIT_S} seconds the answer is 429 |",
    f"{Settings.model_fields['public_burst'].default} requests a minute from an address; bodies of {guard.MOST_BYTES // 1024} KiB, "
    f"{MOST_WITH_PHOTOS // MB} MB with photographs, {MOST_WITH_CATALOGUE // MB} MB with a catalogue; "
    f"addresses of {guard.MOST_ADDRESS:,} signs",
    f"{uploads.MOST_BYTES // MB} MB, {uploads.MOST_UNPACKED // MB} MB unpacked, {sources.MOST_ROWS:,} rows",
    f"{numbers.MOST_DAYS} days at most; policy: {repricing.MOST_FITTED} quotes",
    f"{mail.TIMEOUT_S:.0f} seconds an answer",
    f"SQLite waits {int(engine.PRAGMAS[0].split('=')[1]) // 1000} seconds",
]


@pytest.mark.parametrize("said", SAID)
def test_a_number_that_is_written_down_is_the_one_in_force(said: str) -> None:
    assert said in SECTION


def test_the_inventory_of_the_log_names_every_logger_of_ours_and_no_other() -> None:
    listed = set(re.findall(r"^\| `(slackwater[a-z.]*)` \|", SECTION, re.MULTILINE))
    there = {name for name in logging.root.manager.loggerDict if name.split(".")[0] == "slackwater"}
    assert listed == there
    wanting = {
        path for path in (ROOT / "server").rglob("*.py") if re.search(r"\bFileHandler|SysLogHandler", path.read_text())
    }
    assert wanting == set(), "nothing is logged to files or services"


def test_the_first_owner_is_told_the_same_times_on_the_page_of_an_account() -> None:
    page = (ROOT / "templates" / "accounts" / "account.html").read_text(encoding="utf-8")
    assert timedelta(minutes=30) == accounts.IDLE
    assert timedelta(hours=12) == accounts.ABSOLUTE
    assert "after half an hour without use, and after twelve hours in any case" in page
    assert (
        f"MOST_MS = {accounts.ABSOLUTE // timedelta(hours=1)} * 3600 * 1000"
        in (ROOT / "static" / "offline.js").read_text()
    )


def locked() -> dict[str, set[str]]:
    """The exact versions of each package that the program runs with; some have one for newer and one for older Pythons."""
    found: dict[str, set[str]] = {}
    for name, version in re.findall(r"^([a-z0-9._-]+)(?:\[[a-z,]+\])?==([^ ;\\]+)", LOCK, re.MULTILINE):
        found.setdefault(name, set()).add(version)
    return found


def needed(name: str, found: set[str]) -> set[str]:
    """A package and all that it needs here, by the names of the index."""
    plain = re.sub(r"[-_.]+", "-", name).lower()
    if plain not in found:
        found.add(plain)
        for line in requires(name) or ():
            wanted = Requirement(line)
            if wanted.marker is None or wanted.marker.evaluate({"extra": ""}):
                needed(wanted.name, found)
    return found


def test_every_package_that_the_program_runs_with_is_in_the_lock_and_each_entry_has_its_hashes() -> None:
    own = [Requirement(line) for line in PROJECT["dependencies"]]
    there: set[str] = set()
    for wanted in own:
        needed(wanted.name, there)
        for line in requires(wanted.name) or ():
            of_extra = Requirement(line)
            if any(of_extra.marker is not None and of_extra.marker.evaluate({"extra": one}) for one in wanted.extras):
                needed(of_extra.name, there)
    pinned = locked()
    assert len(there) > len(own)
    assert there - pinned.keys() == set()
    assert [str(one) for one in own if str(one.specifier).removeprefix("==") not in pinned[one.name]] == []
    entries = re.split(r"\n(?=[a-z0-9])", LOCK.strip())
    assert [entry.split()[0] for entry in entries if "--hash=sha256:" not in entry] == []
