"""The file of sets: read with its faults named, kept where it is absent, written as it was read."""

from __future__ import annotations

from dataclasses import replace

import pytest

from server.domain.catalogue import Catalogue, PartSet
from server.persistence.folder import read_folder, read_source
from server.persistence.folder_out import files_of
from server.persistence.sets import set_from, set_row_from
from server.persistence.sources import Files
from server.usecases.opening import SEED
from tests.builders_shop import FolderCopy

FAULTY = [
    ("sku", "TUR-F70", "sku", "used already"),
    ("sku", "two words", "sku", "not accepted"),
    ("gtin", "2110041000377", "gtin", "used already, by TUR-M72T"),
    ("gtin", "2180041000371", "gtin", "not accepted"),
    ("price", "0.00", "price", "not accepted"),
    ("parts", "TUR-F70", "parts", "at least 2 parts"),
    ("parts", "TUR-F70; NO-SUCH", "parts", "no part NO-SUCH"),
    ("parts", "TUR-F70; PLV-1400", "parts", "do not hold together"),
    ("sold", "maybe", "sold", "not accepted"),
]


@pytest.mark.parametrize(("column", "cell", "at", "words"), FAULTY)
def test_a_fault_is_named_by_row_and_column(folder: FolderCopy, column: str, cell: str, at: str, words: str) -> None:
    folder.set("sets.csv", 3, column, cell)
    [fault] = read_folder(folder.path, Catalogue({}), None).faults
    assert (fault.file, fault.row, fault.column) == ("sets.csv", 3, at)
    assert words in fault.message


def test_without_their_file_the_sets_in_force_stay_and_say_what_they_miss(folder: FolderCopy) -> None:
    seed = read_folder(SEED, Catalogue({}), None)
    gone = replace(seed.sets["WRK-FIRST"], sku="GONE", retired=True)
    before = Catalogue(seed.parts, sets={**seed.sets, "GONE": gone})
    folder.remove("sets.csv")
    folder.keep("tails.csv", lambda row: row["sku"] != "TUR-T320")
    found = read_folder(folder.path, before, None)
    assert found.sets == seed.sets
    assert "The set TUR-KELP cannot be sold without TUR-T320." in [warning.message for warning in found.warnings]
    folder.set("tails.csv", 2, "gtin", seed.sets["GSK-EBB"].gtin)
    assert [fault.column for fault in read_folder(folder.path, before, None).faults] == ["gtin"]


def test_a_set_comes_back_from_its_row_and_from_its_file() -> None:
    seed = read_folder(SEED, Catalogue({}), None)
    odd = PartSet("=ODD", "=1+1", "'@", "2190041000379", 12_05, ("WRK-BLM", "WRK-BLM"), sold=False)
    catalogue = Catalogue(seed.parts, sets={**seed.sets, odd.sku: odd})
    assert read_source(Files(files_of(catalogue, {}, None)), Catalogue({}), None).sets == catalogue.sets
    assert [set_from(set_row_from(one)) for one in catalogue.sets.values()] == list(catalogue.sets.values())
