"""What is written of a catalogue is read as the same catalogue, as files and as a workbook."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from types import MappingProxyType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Catalogue
from server.domain.prices import Markdown
from server.outside.workbook import read_workbook, workbook_of
from server.persistence.folder import Folder, read_folder, read_source
from server.persistence.folder_out import csv_of, files_of, sheets_of
from server.persistence.policies import terms_as_text
from server.persistence.sources import Files, Sheets
from server.usecases.opening import SEED

ODD_NAMES = ("=1+1", "@home", "-5 m²", "+353", "'quoted'", "'=x", "a, b; c", 'say "aye"', "Vågbräda", "''")


@pytest.fixture(scope="module")
def seed() -> Folder:
    return read_folder(SEED, Catalogue({}), None)


def catalogue_of(found: Folder) -> Catalogue:
    """What was read, as the catalogue that it makes."""
    history: dict[str, Any] = {}
    for point in sorted(found.history, key=lambda point: point.since):
        history[point.sku] = (*history.get(point.sku, ()), point)
    return Catalogue(
        parts=MappingProxyType(found.parts),
        spots=MappingProxyType({spot.name: spot for spot in found.spots}),
        lessons=MappingProxyType({kind.kind: kind for kind in found.lessons}),
        zones=MappingProxyType({zone.zone: zone for zone in found.zones}),
        history=MappingProxyType(history),
        policy=found.policy,
        sets=MappingProxyType(found.sets),
    )


def same(one: Folder, other: Folder) -> None:
    assert not one.faults, "\n".join(map(str, one.faults))
    assert one.parts == other.parts
    assert one.on_hand == other.on_hand
    assert (one.spots, one.lessons, one.zones) == (other.spots, other.lessons, other.zones)
    assert one.sets == other.sets
    assert sorted(one.history, key=repr) == sorted(other.history, key=repr)


def test_files_are_read_as_what_they_were_written_from(seed: Folder) -> None:
    assert seed.terms is not None
    files = files_of(catalogue_of(seed), seed.on_hand, _plain(seed.terms))
    again = read_source(Files(files), Catalogue({}), None)
    same(again, seed)
    assert again.policy == seed.policy
    assert files_of(catalogue_of(again), again.on_hand, _plain(again.terms or {})) == files


def _plain(terms: Mapping[str, Any]) -> dict[str, Any]:
    """The terms as they lie in the database."""
    plain: dict[str, Any] = json.loads(terms_as_text(terms))
    return plain


def test_a_workbook_is_read_as_what_it_was_written_from(seed: Folder) -> None:
    content = workbook_of(sheets_of(catalogue_of(seed), seed.on_hand))
    same(read_source(Sheets(read_workbook(content)), replace(catalogue_of(seed)), None), seed)


@pytest.mark.parametrize("name", ODD_NAMES)
def test_odd_names_and_markdowns_come_back_and_none_is_a_formula(seed: Folder, name: str) -> None:
    odd = replace(seed.parts["DUN-82"], name=name, sold=False, markdown=Markdown(1999_05, date(2026, 3, 1)))
    catalogue = replace(catalogue_of(seed), parts=MappingProxyType({**seed.parts, odd.sku: odd}))
    files = files_of(catalogue, seed.on_hand, None)
    assert not any(
        cell[:1] in ("=", "@") for line in files["boards.csv"].decode().split("\n") for cell in line.split(",")
    )
    assert read_source(Files(files), Catalogue({}), None).parts[odd.sku] == odd
    book = read_workbook(workbook_of(sheets_of(catalogue, seed.on_hand)))
    assert read_source(Sheets(book), Catalogue({}), None).parts[odd.sku] == odd


@given(st.lists(st.text(st.characters(codec="utf-8", exclude_categories=["C"]), max_size=12), min_size=2, max_size=5))
def test_any_text_survives_the_apostrophe(cells: list[str]) -> None:
    content = csv_of([["a" for _ in cells], cells])
    assert list(Files({"boards.csv": content}).rows("boards.csv"))[1] == (2, cells)
