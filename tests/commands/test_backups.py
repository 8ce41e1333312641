"""`backup` and `restore` as they are typed, beside a server that serves."""

from __future__ import annotations

import stat
from pathlib import Path

import pytest

from server.persistence.engine import sqlite_file
from tests.builders_served import answer_of, free_port, served
from tests.commands.test_commands import call, dump


def test_a_shop_is_backed_up_while_it_is_served_and_put_back_once_it_is_not(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file, port = tmp_path / "monday.zip", free_port()
    with served("--data", str(data), "--port", str(port)):
        assert answer_of(f"http://127.0.0.1:{port}/privacy").status_code == 200
        assert call("backup", str(file), "--data", str(data)) == 0
        said = capsys.readouterr()
        assert "read back and found whole" in said.out
        assert [line for line in said.err.splitlines() if line.startswith("writing")][-1] == "writing 100 %"
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        assert call("backup", str(file), "--data", str(data)) == 1
        assert "is there already" in capsys.readouterr().err
        assert call("restore", str(file), "--data", str(data)) == 1
        assert "Accepted: --force to overwrite it." in capsys.readouterr().err
        assert call("restore", str(file), "--force", "--data", str(data)) == 1
        assert "stop every server" in capsys.readouterr().err
        assert answer_of(f"http://127.0.0.1:{port}/lessons").status_code == 200
    assert call("restore", str(file), "--force", "--data", str(data)) == 0
    assert "tables are back, as they were on 20" in capsys.readouterr().out


def test_a_new_folder_gets_the_whole_shop(data: Path, tmp_path: Path) -> None:
    file, new = tmp_path / "shop.zip", tmp_path / "new"
    before = dump(data)
    assert call("backup", str(file), "--data", str(data)) == 0
    assert call("restore", str(file), "--data", str(new)) == 0
    assert {line for line in dump(new) if "deed" not in line} == {line for line in before if "deed" not in line}
    assert stat.S_IMODE(sqlite_file(new).stat().st_mode) == 0o600


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("backup", "{tmp}/nowhere/shop.zip", "--data", "{data}"), "cannot be written: No such file or directory"),
        (("backup", "{tmp}/shop.zip", "--data", "{tmp}/none"), "There is no shop there yet"),
        (("restore", "{tmp}/none.zip", "--data", "{tmp}/none"), "There is no such file"),
        (("restore", "{data}", "--data", "{tmp}/none"), "It cannot be read: Is a directory"),
    ],
)
def test_what_cannot_be_done_is_said_on_the_error_stream(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...], words: str
) -> None:
    assert call(*(text.format(tmp=tmp_path, data=data) for text in arguments)) == 1
    assert words in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
