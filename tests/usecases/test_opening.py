"""Opening a data folder: made, migrated and seeded where there is none, left alone where there is one."""

from __future__ import annotations

import stat
from pathlib import Path

from server.domain.catalogue import Catalogue
from server.persistence.catalogue import newest_version
from server.persistence.engine import Place, sqlite_file
from server.persistence.folder import read_folder
from server.persistence.stock import load_on_hand
from server.usecases.catalogue import replace_catalogue
from server.usecases.opening import SEED, open_shop, read_folder_for
from tests.builders_shop import FolderCopy


def test_a_folder_that_is_not_there_is_made_for_its_owner_alone_and_seeded(tmp_path: Path) -> None:
    data = tmp_path / "deep" / "data"
    assert Place(data).is_empty()
    with open_shop(Place(data)).reading() as work:
        assert set(work.catalogue.parts) == set(read_folder(SEED, Catalogue({}), None).parts)
        assert load_on_hand(work.session)["DUN-82"] == 3
    assert not Place(data).is_empty()
    assert stat.S_IMODE(data.stat().st_mode) == 0o700


def test_other_files_do_not_make_a_folder_full(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    (tmp_path / "other.sqlite3").write_bytes(b"not ours")
    assert Place(tmp_path).is_empty()
    with open_shop(Place(tmp_path)).reading() as work:
        assert newest_version(work.session) == 1
    assert (tmp_path / "other.sqlite3").read_bytes() == b"not ours"


def test_a_database_of_ours_is_not_seeded_again(tmp_path: Path, folder: FolderCopy) -> None:
    folder.keep("boards.csv", lambda row: row["sku"] != "DUN-72")
    with open_shop(Place(tmp_path)).writing() as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    with open_shop(Place(tmp_path)).reading() as work:
        assert work.catalogue.parts["DUN-72"].retired
        assert newest_version(work.session) == 2


def test_a_catalogue_brought_into_an_empty_folder_is_not_mixed_with_the_seed(
    tmp_path: Path, folder: FolderCopy
) -> None:
    folder.keep("boards.csv", lambda row: row["sku"].startswith("EEL"))
    with open_shop(Place(tmp_path), seeded=False).writing() as work:
        assert work.catalogue.parts == {}
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    with open_shop(Place(tmp_path)).reading() as work:
        boards = [part for part in work.catalogue.parts.values() if part.slot == "board"]
        assert {part.maker for part in boards} == {"Eelgrass Boards"}
        assert newest_version(work.session) == 1


def test_reading_a_folder_for_an_empty_data_folder_makes_nothing(tmp_path: Path, folder: FolderCopy) -> None:
    data = tmp_path / "data"
    assert read_folder_for(Place(data), folder.path).faults == []
    assert not data.exists()


def test_what_a_folder_leaves_out_is_read_from_what_is_in_force(data: Path, folder: FolderCopy) -> None:
    folder.remove("policy.toml")
    folder.remove("spots.csv")
    found = read_folder_for(Place(data), folder.path)
    assert found.faults == []
    assert [spot.name for spot in found.spots][:1] == ["Tullaveen Strand"]
    assert found.terms is not None
    assert found.terms["trade_in"]["share"] == "0.50"


def test_opening_leaves_a_database_as_it_is(data: Path) -> None:
    with open_shop(Place(data)).reading() as work:
        before = [
            tuple(row) for row in work.session.connection().exec_driver_sql("SELECT * FROM part, catalogue_version")
        ]
    with open_shop(Place(data)).reading() as work:
        after = [
            tuple(row) for row in work.session.connection().exec_driver_sql("SELECT * FROM part, catalogue_version")
        ]
    assert before == after
    assert len(before) > 100
    assert sqlite_file(data).is_file()
