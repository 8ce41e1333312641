"""The file of a backup: what was written is read back, and nothing else ever is."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from server.domain.backups import Column, Row
from server.domain.errors import InvalidInput
from server.outside.archives import open_archive, write_archive
from tests.builders_rows import ODD_TEXT
from tests.builders_shop import NOON

COLUMNS = (Column("id", "whole"), Column("text", "text"))
ROWS: list[Row] = [[1, ODD_TEXT], [2, None], [3, "a\x00b"]]


def read(file: Path) -> list[Row]:
    with open_archive(file) as archive:
        [table] = archive.manifest.tables
        return list(archive.rows(table))


def test_what_was_written_is_read_back(tmp_path: Path) -> None:
    file = tmp_path / "shop.zip"
    manifest = write_archive(file, "0007", NOON, [("part", COLUMNS, ROWS)])
    assert read(file) == ROWS
    with open_archive(file) as archive:
        assert archive.manifest == manifest


def test_a_file_cut_short_or_with_any_byte_changed_never_gives_other_rows(tmp_path: Path) -> None:
    file = tmp_path / "shop.zip"
    write_archive(file, "0007", NOON, [("part", COLUMNS, ROWS)])
    whole = file.read_bytes()
    spoiled = [whole[:length] for length in range(0, len(whole), 7)]
    spoiled += [whole[:at] + bytes([whole[at] ^ 0x55]) + whole[at + 1 :] for at in range(len(whole))]
    refused = 0
    for content in spoiled:
        file.write_bytes(content)
        try:
            assert read(file) == ROWS, "a byte of a date or an attribute of the file may be another, a row may not"
        except InvalidInput:
            refused += 1
    assert refused > len(spoiled) * 0.75


def test_nothing_is_left_behind_where_the_rows_break_off(tmp_path: Path) -> None:
    def breaking() -> Iterator[Row]:
        yield [1, "whole"]
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        write_archive(tmp_path / "shop.zip", "0007", NOON, [("part", COLUMNS, breaking())])
    assert list(tmp_path.iterdir()) == []
