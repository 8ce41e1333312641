"""The command line: serve, load and lesson-payment, as real programs and (where that tells the same) as functions."""

from __future__ import annotations

import os
import re
import resource
import signal
import socket
import sqlite3
import subprocess
import sys
from contextlib import closing, redirect_stderr, redirect_stdout
from datetime import date
from io import StringIO
from pathlib import Path

import base32_crockford
import httpx
import pytest

from server.commands import main
from server.persistence.deposits import load_lessons
from server.persistence.engine import Place, sqlite_file
from server.settings import Settings
from server.usecases.accounts import look_at_link, use_link
from server.usecases.opening import SEED, open_shop
from server.usecases.work import Shop
from tests.builders_accounts import CHEAP, WORDS, load_deeds
from tests.builders_served import PATIENCE_S, answer_of, environment, free_port, served
from tests.builders_shop import FolderCopy, learner
from tests.pace import IS_WHOLE

ROOT = SEED.parent


@pytest.fixture
def place(data: Path) -> Place:
    """The folder that the commands are told with `--data`."""
    return Place(data)


def run(*arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """A command to its end: a program of its own under CI, in this process else, where nothing has to be imported first."""
    return as_program(*arguments, **variables) if IS_WHOLE else run_here(*arguments, **variables)


def as_program(*arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """`python -m server` as a program of its own, to its end."""
    return subprocess.run(
        [sys.executable, "-m", "server", *arguments],
        cwd=ROOT,
        env=environment(**variables),
        capture_output=True,
        text=True,
        timeout=PATIENCE_S,
        check=False,
    )


def run_here(*arguments: str, **variables: str) -> subprocess.CompletedProcess[str]:
    """A command with what it says; one that serves opens the shop and goes no further."""
    out, err = StringIO(), StringIO()
    with pytest.MonkeyPatch.context() as patch, redirect_stdout(out), redirect_stderr(err):
        for name, value in variables.items():
            patch.setenv(name, value)
        status = main(open_only, arguments)
    return subprocess.CompletedProcess(arguments, status, out.getvalue(), err.getvalue())


def open_only(settings: Settings) -> None:
    open_shop(Place(settings.data)).close()


def no_server(settings: Settings) -> None:
    raise AssertionError(f"nobody asked to serve {settings}")


def call(*arguments: str) -> int:
    """A command that serves nothing."""
    return main(no_server, arguments)


def dump(data: Path) -> list[str]:
    """Everything in the database of a data folder, as text."""
    database = sqlite3.connect(sqlite_file(data))
    lines = list(database.iterdump())
    database.close()
    return lines


# --- serve


def test_without_a_command_it_serves_a_seeded_shop_where_it_says_until_it_is_told_to_stop(tmp_path: Path) -> None:
    data, port = tmp_path / "data", free_port()
    with served(SLACKWATER_DATA=str(data), SLACKWATER_PORT=str(port)) as (process, line):
        found = re.search(r"http://127\.0\.0\.1:\d+", line)
        assert found, line
        assert found[0] == f"http://127.0.0.1:{port}"
        skus = {part["sku"] for part in answer_of(f"{found[0]}/api/parts").json()["parts"]}
        assert {"DUN-72", "WRK-PUMP1"} <= skus
        answer = httpx.post(f"{found[0]}/api/quotes", json={"answers": learner()})
        assert answer.status_code == 201
        assert answer.json()["url"].startswith(f"{found[0]}/quotes/")
        process.send_signal(signal.SIGINT)  # As Ctrl and C do; of SIGTERM test_serving.py knows.
        assert process.wait(PATIENCE_S) == 0
    assert sqlite_file(data).is_file()


def test_a_catalogue_loaded_first_is_served_without_the_seed(tmp_path: Path, folder: FolderCopy) -> None:
    data, port = tmp_path / "data", free_port()
    data.mkdir()
    (data / "notes.txt").write_text("other files do not matter")
    folder.keep("boards.csv", lambda row: row["sku"].startswith("EEL"))
    loaded = run("load", str(folder.path), "--data", str(data))
    assert (loaded.returncode, loaded.stderr) == (0, "")
    new = {line.split()[1] for line in loaded.stdout.splitlines() if line.startswith("new ")}
    assert "EEL-85" in new
    assert "DUN-72" not in new
    with served("serve", "--data", str(data), "--host", "127.0.0.1", "--port", str(port)) as (_, line):
        assert f"http://127.0.0.1:{port}" in line
        parts = answer_of(f"http://127.0.0.1:{port}/api/parts?slot=board").json()["parts"]
    assert {part["maker"] for part in parts} == {"Eelgrass Boards"}


def settings_served(*arguments: str) -> Settings:
    """The settings that `serve` would be given."""
    given: list[Settings] = []
    assert main(given.append, arguments) == 0
    [settings] = given
    return settings


def test_by_itself_it_serves_at_loopback_port_8000_from_a_folder_here(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in Settings.model_fields:
        monkeypatch.delenv(f"SLACKWATER_{name.upper()}", raising=False)
    for arguments in ((), ("serve",)):
        settings = settings_served(*arguments)
        assert (settings.host, settings.port, settings.data) == ("127.0.0.1", 8000, Path(".data"))


def test_what_is_given_wins_over_the_environment(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, value in (("HOST", "127.0.0.2"), ("PORT", "8001"), ("DATA", "there"), ("PUBLIC_BURST", "7")):
        monkeypatch.setenv(f"SLACKWATER_{name}", value)
    from_variables = settings_served("serve")
    assert (from_variables.host, from_variables.port, from_variables.data) == ("127.0.0.2", 8001, Path("there"))
    given = settings_served("--host", "127.0.0.3", "--port", "8002", "--data", "here")
    assert (given.host, given.port, given.data) == ("127.0.0.3", 8002, Path("here"))
    assert given.public_burst == 7


@pytest.mark.parametrize(("name", "value"), [("PORT", "eighty"), ("PORT", "65536"), ("PUBLIC_BURST", "-1")])
def test_a_setting_that_cannot_be_read_is_named(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], name: str, value: str
) -> None:
    monkeypatch.setenv(f"SLACKWATER_{name}", value)
    assert call("serve") != 0
    assert f"SLACKWATER_{name}: " in capsys.readouterr().err


def test_a_setting_that_is_misspelt_is_named_with_what_may_be_meant(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("SLACKWATER_SECOND_FACTORS", "everyone")
    assert call("serve") == 1
    said = capsys.readouterr().err
    assert said == "SLACKWATER_SECOND_FACTORS: there is no such setting. Is SLACKWATER_SECOND_FACTOR meant?\n"


def test_an_address_at_which_it_cannot_listen_is_named(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        ran = run("--port", str(port), "--data", str(data))
    assert ran.returncode == 1
    assert ran.stderr.splitlines()[-1].startswith(f"The server cannot listen at 127.0.0.1, port {port}: ")


# --- load


def test_loading_replaces_what_was_there_and_says_what_changed(
    data: Path, shop: Shop, folder: FolderCopy, capsys: pytest.CaptureFixture[str]
) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != "DUN-102")
    folder.set("masts.csv", 2, "price", "1599.00")
    folder.set("tails.csv", 2, "on_hand", "5")
    assert call("load", str(folder.path), "--data", str(data)) == 0
    told = capsys.readouterr().out.splitlines()
    assert "retired  DUN-102" in told
    assert "changed  TUR-M72T: price 1619.00 -> 1599.00" in told
    assert "count    TUR-T190: +3, counted 5" in told
    assert told[-1] == "The catalogue is in force."
    with shop.reading() as work:
        assert work.catalogue.parts["DUN-102"].retired
        assert work.catalogue.parts["TUR-M72T"].price == 1599_00
        assert work.shelf.free["TUR-T190"] == 5


def test_a_dry_run_says_the_same_and_changes_nothing(
    data: Path, folder: FolderCopy, capsys: pytest.CaptureFixture[str]
) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != "DUN-102")
    folder.set("tails.csv", 2, "on_hand", "5")
    before = dump(data)
    assert call("load", str(folder.path), "--data", str(data), "--dry-run") == 0
    dry = capsys.readouterr().out.splitlines()
    assert dump(data) == before
    assert call("load", str(folder.path), "--data", str(data)) == 0
    assert dump(data) != before
    assert capsys.readouterr().out.splitlines()[:-1] == dry[:-1]
    assert "dry run" in dry[-1]


def test_a_dry_run_for_an_empty_data_folder_makes_nothing(
    tmp_path: Path, folder: FolderCopy, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    assert call("load", str(folder.path), "--data", str(data), "--dry-run") == 0
    assert not data.exists()
    assert "new      DUN-72 Mudflat 72" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["season", "season.xlsx"])
def test_what_is_written_is_loaded_again_as_the_same_and_nothing_is_written_over(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    path = tmp_path / name
    assert call("export", str(path), "--data", str(data)) == 0
    assert str(path) in capsys.readouterr().out
    assert call("load", str(path), "--data", str(data), "--dry-run") == 0
    *_, sums, last = capsys.readouterr().out.splitlines()
    assert sums.startswith("0 new, 0 changed, 0 retired, ")
    assert sums.endswith(" 0 counts booked")
    assert "dry run" in last
    assert call("export", str(path), "--data", str(data)) == 1
    assert "there already" in capsys.readouterr().err


def test_a_file_that_is_no_workbook_is_a_fault(data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "list.xlsx"
    path.write_bytes(b"sku,name")
    assert call("load", str(path), "--data", str(data)) == 1
    assert "list.xlsx: This is not a workbook" in capsys.readouterr().err


@pytest.mark.parametrize("dry", [(), ("--dry-run",)], ids=["for good", "dry"])
def test_a_line_for_each_fault_and_nothing_is_changed(
    data: Path, folder: FolderCopy, capsys: pytest.CaptureFixture[str], dry: tuple[str, ...]
) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != "DUN-102")
    folder.set("boards.csv", 3, "gtin", "2100041000744")
    folder.set("masts.csv", 2, "length_cm", "0.72")
    folder.set("tails.csv", 4, "price", "")
    folder.swap("policy.toml", "worn_kg = 5.0", "worn_kg = 500")
    before = dump(data)
    assert call("load", str(folder.path), "--data", str(data), *dry) != 0
    told = capsys.readouterr()
    assert dump(data) == before
    lines = told.err.splitlines()
    for place in (
        "boards.csv, row 3, column gtin:",
        "masts.csv, row 2, column length_cm:",
        "tails.csv, row 4, column price:",
        "policy.toml, file, column fit.worn_kg:",
    ):
        [line] = [line for line in lines if line.startswith(place)]
        assert "Accepted: " in line
    assert lines[-1] == "4 faults: nothing was changed."
    assert told.out == ""


def test_a_fault_leaves_an_empty_data_folder_empty(tmp_path: Path, folder: FolderCopy) -> None:
    data = tmp_path / "data"
    folder.set("tails.csv", 4, "price", "")
    assert call("load", str(folder.path), "--data", str(data)) != 0
    assert not data.exists()


def test_a_folder_that_is_not_there_is_a_fault(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = dump(data)
    assert call("load", str(data / "nothing"), "--data", str(data)) != 0
    assert "no such folder" in capsys.readouterr().err
    assert dump(data) == before


def test_an_earlier_price_of_an_unknown_part_is_a_warning_only(
    data: Path, folder: FolderCopy, capsys: pytest.CaptureFixture[str]
) -> None:
    folder.set("price_history.csv", 3, "sku", "NO-SUCH")
    assert call("load", str(folder.path), "--data", str(data)) == 0
    told = capsys.readouterr()
    [line] = [line for line in told.out.splitlines() if line.startswith("warning")]
    assert "price_history.csv, row 3, column sku:" in line
    assert "NO-SUCH" in line
    assert told.err == ""


# --- lesson-payment


def test_a_paid_lesson_is_recorded_and_its_code_is_all_that_is_printed(data: Path, shop: Shop) -> None:
    told = run("lesson-payment", "--kind", "private", "--fee", "115.00", "--taken", "2026-11-20", "--data", str(data))
    assert (told.returncode, told.stderr) == (0, "")
    code = told.stdout.strip()
    # Crockford's base 32; the package base32-crockford raises where the check symbol is wrong.
    assert base32_crockford.decode(code, checksum=True) < 32**7
    with shop.reading() as work:
        lesson = load_lessons(work.session, [code])[code]
    assert (lesson.kind, lesson.state, lesson.day, lesson.balance) == ("private", "taken", date(2026, 11, 20), 115_00)


@pytest.mark.parametrize(
    ("flag", "state"),
    [("--taken", "taken"), ("--booked", "booked"), ("--missed", "missed"), ("--called-off-late", "called_off_late")],
)
def test_how_a_lesson_went_is_told_by_its_flag(
    data: Path, shop: Shop, capsys: pytest.CaptureFixture[str], flag: str, state: str
) -> None:
    assert call("lesson-payment", "--data", str(data), "--kind", "group", "--fee", "60", flag, "2026-11-20") == 0
    code = capsys.readouterr().out.strip()
    with shop.reading() as work:
        lesson = load_lessons(work.session, [code])[code]
    assert (lesson.kind, lesson.state, lesson.balance) == ("group", state, 60_00)


def test_a_lesson_can_be_paid_in_a_data_folder_that_is_new(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = str(tmp_path / "data")
    assert call("lesson-payment", "--data", data, "--kind", "private", "--fee", "115.00", "--booked", "2026-12-01") == 0
    assert len(capsys.readouterr().out.strip()) == 8


def test_a_kind_that_the_shop_does_not_list_is_refused(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = dump(data)
    assert call("lesson-payment", "--data", str(data), "--kind", "yoga", "--fee", "1.00", "--taken", "2026-11-20") != 0
    told = capsys.readouterr()
    assert told.out == ""
    assert "private" in told.err
    assert dump(data) == before


WRONG_LINES = {
    "no kind": ("--fee", "1.00", "--taken", "2026-11-20"),
    "no fee": ("--kind", "private", "--taken", "2026-11-20"),
    "no day": ("--kind", "private", "--fee", "1.00"),
    "two days": ("--kind", "private", "--fee", "1.00", "--taken", "2026-11-20", "--missed", "2026-11-21"),
    "a fee of three decimals": ("--kind", "private", "--fee", "1.005", "--taken", "2026-11-20"),
    "a fee below nothing": ("--kind", "private", "--fee=-1.00", "--taken", "2026-11-20"),
    "a fee that is no number": ("--kind", "private", "--fee", "nan", "--taken", "2026-11-20"),
    "a fee with its currency": ("--kind", "private", "--fee", "€1", "--taken", "2026-11-20"),
    "a day not in the calendar": ("--kind", "private", "--fee", "1.00", "--taken", "2026-02-30"),
    "a day the other way round": ("--kind", "private", "--fee", "1.00", "--taken", "20/11/2026"),
}


@pytest.mark.parametrize("name", WRONG_LINES)
def test_a_lesson_that_is_told_wrongly_is_not_recorded(
    data: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    before = dump(data)
    with pytest.raises(SystemExit) as refused:
        call("lesson-payment", "--data", str(data), *WRONG_LINES[name])
    assert refused.value.code != 0
    assert "lesson-payment: error:" in capsys.readouterr().err
    assert dump(data) == before


# --- help

HELP: dict[tuple[str, ...], tuple[str, ...]] = {
    (): ("serve", "load", "lesson-payment"),
    ("serve",): ("--host", "--port", "--data"),
    ("load",): ("DIR", "--data", "--dry-run"),
    ("lesson-payment",): ("--kind", "--fee", "--taken", "--booked", "--missed", "--called-off-late", "--data"),
}


@pytest.mark.parametrize("command", HELP, ids=lambda command: " ".join(command) or "the whole")
@pytest.mark.parametrize("flag", ["--help", "-h"])
def test_help_names_all_that_can_be_said(
    capsys: pytest.CaptureFixture[str], command: tuple[str, ...], flag: str
) -> None:
    with pytest.raises(SystemExit) as ended:
        call(*command, flag)
    assert ended.value.code == 0
    told = capsys.readouterr().out
    assert told.startswith("usage: python -m server")
    for word in HELP[command]:
        assert word in told


@pytest.mark.parametrize("arguments", [("sell",), ("load",), ("serve", "--port", "70000"), ("serve", "--port", "x")])
def test_what_is_no_command_is_refused_with_its_usage(
    capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    with pytest.raises(SystemExit) as ended:
        call(*arguments)
    assert ended.value.code == 2
    assert "usage: python -m server" in capsys.readouterr().err


def test_a_broken_database_file_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = tmp_path / "data"
    data.mkdir()
    (data / "slackwater.sqlite3").write_bytes(b"this is no database" * 100)
    for command in ("holds",), ("load", str(SEED)):
        assert main(lambda _: None, [*command, "--data", str(data)]) == 1
        said = capsys.readouterr().err
        assert said.count("\n") == 1, said
        assert "cannot be opened: file is not a database" in said
    ran = run("serve", "--port", "1", "--data", str(data))
    assert ran.returncode == 1
    assert ran.stderr.count("\n") == 1, ran.stderr
    assert "cannot be opened: file is not a database" in ran.stderr


def test_a_folder_that_can_only_be_read_is_named_before_anybody_is_served(data: Path) -> None:
    """Whoever runs as root is bound by a file's mode only without the right to pass over it (capabilities(7))."""
    data.chmod(0o555)
    bound = ("setpriv", "--bounding-set=-dac_override", "--inh-caps=-dac_override") if os.geteuid() == 0 else ()
    command = [*bound, sys.executable, "-m", "server", "--port", "1", "--data", str(data)]
    ran = subprocess.run(command, cwd=ROOT, env=environment(), capture_output=True, text=True, timeout=PATIENCE_S)
    data.chmod(0o755)
    assert (ran.returncode, ran.stdout) == (1, "")
    assert ran.stderr.startswith(f"{data} can be read and not written.")
    assert ran.stderr.count("\n") == 1


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
@pytest.mark.parametrize("name", ["out", "out.xlsx"])
def test_an_export_that_cannot_be_written_leaves_nothing_in_the_way_of_the_next(
    place: Place, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    with closing(sqlite3.connect(place.sqlite_file)) as reader:
        reader.execute(
            "SELECT count(*) FROM part"
        ).fetchone()  # What SQLite needs beside its file is there, and is not written.
        resource.setrlimit(resource.RLIMIT_FSIZE, (1024, usual[1]))
        try:
            assert call("export", str(tmp_path / name), "--data", str(place.data)) == 1
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, usual)
    assert "cannot be written: File too large." in capsys.readouterr().err
    assert not (tmp_path / name).exists()
    assert call("export", str(tmp_path / name), "--data", str(place.data)) == 0


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_the_clock_is_looked_at_and_said_to_be_right(place: Place, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("clock", "--data", str(place.data)) == 0
    assert "nothing speaks against it" in capsys.readouterr().out
    with closing(sqlite3.connect(place.sqlite_file, isolation_level=None)) as database:
        database.execute(
            "INSERT INTO deed (at, who, what, whom, address) VALUES (datetime('now', '+9 days'), 'a', 'b', '', '')"
        )
    assert call("clock", "--data", str(place.data)) == 0
    assert "it is behind what was written here" in capsys.readouterr().out
    assert call("clock", "--is-right", "--data", str(place.data)) == 0
    assert "nothing speaks against it" in capsys.readouterr().out


def test_a_lesson_taken_has_had_its_day(place: Place, capsys: pytest.CaptureFixture[str]) -> None:
    payment = ["lesson-payment", "--kind", "private", "--fee", "115", "--taken", "2999-01-01"]
    assert main(lambda _: None, [*payment, "--data", str(place.data)]) == 1
    said = capsys.readouterr().err
    assert "taken: A lesson taken on 1 January 2999 cannot be. Accepted: a day from 2000-01-01 to " in said


def test_the_first_owners_link_leads_to_the_form_of_a_password(place: Place) -> None:
    made = run("owner-link", "Orla", "--data", str(place.data), SLACKWATER_BASE_ADDRESS="https://shop.example/")
    assert made.returncode == 0, made.stderr
    address, holds = made.stdout.splitlines()
    assert re.fullmatch(r"https://shop\.example/welcome/[A-Za-z0-9_-]{43}", address)
    assert re.fullmatch(r"It works once, until \d{4}-\d\d-\d\d \d\d:\d\d UTC, .*", holds)
    link = address.rpartition("/")[2]
    with open_shop(place).reading() as work:
        assert look_at_link(work, link).name == "Orla"
    use_link(open_shop(place), CHEAP, link, WORDS)


def test_once_there_is_an_owner_the_command_recovers_but_makes_no_other(
    place: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    def command(*arguments: str) -> int:
        return main(lambda _: None, ["owner-link", "--data", str(place.data), *arguments])

    assert command() == 0
    use_link(open_shop(place), CHEAP, capsys.readouterr().out.splitlines()[0].rpartition("/")[2], WORDS)
    assert command("Nessa") == 1
    assert "The shop has an owner" in capsys.readouterr().err
    assert command("--recover", "Nessa") == 1
    assert "There is no account of this name" in capsys.readouterr().err
    for wrong in (("--forget-factor",), ("Nessa", "--recover", "owner")):
        with pytest.raises(SystemExit):
            command(*wrong)
    capsys.readouterr()
    assert command("--recover", "owner", "--forget-factor") == 0
    link = capsys.readouterr().out.splitlines()[0].rpartition("/")[2]
    with open_shop(place).reading() as work:
        assert look_at_link(work, link).forgets_factor
        deeds = [(deed.who, deed.what) for deed in load_deeds(work.session)]
    assert deeds[-1] == ("command", "recovery link made, second factor to be forgotten")
