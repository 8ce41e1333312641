"""Bringing in a part of a catalogue: what is not said stays, all of it or nothing, one step that can be undone byte for byte."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.catalogue import Catalogue
from server.domain.csv_text import csv_of
from server.domain.errors import Conflict, InvalidInput
from server.domain.prices import Markdown
from server.domain.stock import Movement
from server.outside.workbook import workbook_of
from server.outside.zip_files import zip_of
from server.persistence.accounts import newest_deeds
from server.persistence.engine import Place, engine_for, sessions
from server.persistence.folder import read_source
from server.persistence.folder_out import files_of, sheets_of
from server.persistence.policies import save_policy, terms_as_text, terms_in_force
from server.persistence.stock import load_on_hand, save_movements
from server.usecases.catalogue import catalogue_files, catalogue_workbook
from server.usecases.imports import EXPORTS, Choices, Plan, apply_import, export, plan_import
from server.usecases.policies import list_versions
from server.usecases.step_changes import step_changes
from server.usecases.steps import change_parts, undo_step
from server.usecases.uploads import MOST_BYTES, MOST_WORKBOOKS, open_upload, packed, unpacked
from server.usecases.work import Shop
from tests.builders_imports import brought_in, many_changes, planned, price_list, seed_rows, uploaded
from tests.builders_shop import Clock

RETIRE = Choices("retire")
EVERYTHING = Choices("retire", books_counts=True)


@pytest.fixture
def read_only(data: Path, clock: Clock) -> Iterator[Shop]:
    """A shop over an SQLite file, for what is only read."""
    engine = engine_for(Place(data))
    yield Shop(sessions(engine), clock)
    engine.dispose()


def exported(shop: Shop) -> tuple[dict[str, bytes], bytes]:
    with shop.reading() as work:
        return catalogue_files(work), catalogue_workbook(work)


def undone(shop: Shop, version: int) -> int:
    with shop.writing("Orla") as work:
        return undo_step(work, version)


def catalogue(shop: Shop) -> Catalogue:
    with shop.reading() as work:
        return work.catalogue


def places(plan: Plan) -> list[tuple[str, int | None, str]]:
    """Where the faults of a plan stand."""
    return [(fault.file, fault.row, fault.column) for fault in plan.faults]


# What is not said stays.


def test_a_list_of_prices_changes_prices_and_nothing_else(shop: Shop) -> None:
    before = catalogue(shop)
    plan = planned(shop, price_list(DUN__72="2549.00", DUN__82="2489.00"))
    assert [(one.after.sku, [str(field) for field in one.fields]) for one in plan.parts.changed] == [
        ("DUN-72", ["price 2449.00 -> 2549.00"])
    ]
    assert (plan.parts.new, plan.parts.retired, plan.counts) == ((), (), ())
    assert "masts.csv" in plan.left
    assert "boards.csv" not in plan.left
    brought_in(shop, price_list(DUN__72="2549.00", DUN__82="2489.00"))
    after = catalogue(shop)
    assert after.parts == {**before.parts, "DUN-72": replace(before.parts["DUN-72"], price=2549_00)}
    assert (after.spots, after.lessons, after.zones, after.policy) == (
        before.spots,
        before.lessons,
        before.zones,
        before.policy,
    )


def test_parts_that_are_not_named_are_retired_only_where_that_was_chosen_and_only_in_files_that_came(
    read_only: Shop,
) -> None:
    rows = seed_rows("masts.csv")
    files = {"masts.csv": csv_of(rows[:3])}
    assert planned(read_only, files).parts.retired == ()
    retired = planned(read_only, files, RETIRE).parts.retired
    assert {part.sku for part in retired} == {row[0] for row in rows[3:]}


def test_a_new_part_needs_its_columns_and_the_fault_names_them(read_only: Shop) -> None:
    plan = planned(read_only, {"masts.csv": csv_of([["sku", "price"], ["NEW-1", "99.00"]])})
    assert places(plan) == [("masts.csv", 2, "sku")]
    assert plan.faults[0].message.endswith(
        "needs more columns: name, maker, gtin, cost, mass_kg, length_cm, track, mount."
    )
    assert "on_hand" not in plan.faults[0].message, "a maker's list knows nothing of our shelf"


@pytest.mark.parametrize(
    ("file", "rows", "where"),
    [
        ("boards.csv", [["sku", "prise"], ["DUN-72", "1.00"]], (1, "prise")),
        ("boards.csv", [["price"], ["1.00"]], (1, "sku")),
        ("boards.csv", [["sku", "price"], ["DUN-72", ""]], (2, "price")),
        ("boards.csv", [["sku", "price"], ["DUN-72", "1.00"], ["DUN-72", "2.00"]], (3, "sku")),
        ("boards.csv", [["sku", "price"], ["TUR-M72T", "1.00"]], (2, "sku")),
        ("boards.csv", [["sku", "gtin"], ["DUN-72", "2110041000377"]], (2, "gtin")),
        ("boards.csv", [["sku", "price"], ["DUN-140", "2000.00"]], (2, "markdown_price")),
    ],
    ids=[
        "an unknown column",
        "no SKU",
        "a blank price",
        "a SKU twice",
        "a mast's SKU",
        "a mast's GTIN",
        "a price below the markdown in force",
    ],
)
def test_faults_of_a_part_of_a_catalogue(
    read_only: Shop, file: str, rows: list[list[str]], where: tuple[int, str]
) -> None:
    assert places(planned(read_only, {file: csv_of(rows)})) == [(file, *where)]


def test_a_retired_part_that_is_named_comes_back(shop: Shop) -> None:
    brought_in(shop, {"masts.csv": csv_of(seed_rows("masts.csv")[:3])}, RETIRE)
    gone = seed_rows("masts.csv")[3][0]
    plan = planned(shop, {"masts.csv": csv_of([["sku", "price"], [gone, "999.00"]])})
    assert [one.after.sku for one in plan.parts.back] == [gone]
    assert plan.parts.new == ()


def test_on_hand_is_booked_only_where_that_was_chosen(shop: Shop) -> None:
    files = {"boards.csv": csv_of([["sku", "on_hand"], ["DUN-82", "7"]])}
    plan = planned(shop, files)
    assert [(one.sku, one.change) for one in plan.counts] == [("DUN-82", 4)]
    assert plan.is_nothing
    brought_in(shop, files, Choices(books_counts=True))
    with shop.reading() as work:
        assert load_on_hand(work.session)["DUN-82"] == 7
        assert newest_deeds(work.session, 1)[0].what == "brought in a catalogue: boards.csv: 1 counts booked"


# Markdowns: Directive 98/6/EC, Article 6a.


def test_a_markdown_said_to_hold_since_a_day_on_which_it_cost_more_begins_today(shop: Shop, clock: Clock) -> None:
    brought_in(shop, price_list(DUN__72="2500.00"))
    clock.forward(days=10)
    rows = [["sku", "markdown_price", "markdown_from"], ["DUN-72", "2300.00", "2026-11-20"]]
    plan = planned(shop, {"boards.csv": csv_of(rows)})
    assert plan.folder.parts["DUN-72"].markdown == Markdown(2300_00, date(2026, 12, 5))
    assert [(one.row, one.verdict.moved) for one in plan.judged] == [(2, "past")]


# All of it or nothing, and undone as one.


def test_what_moved_meanwhile_is_not_written_over(shop: Shop) -> None:
    plan = planned(shop, price_list(DUN__72="2549.00"))
    brought_in(shop, price_list(DUN__82="2589.00"))
    before = exported(shop)
    with shop.writing("Orla") as work, pytest.raises(Conflict):
        apply_import(work, plan)
    assert exported(shop) == before


def test_many_changes_are_undone_byte_for_byte(shop: Shop) -> None:
    policy = exported(shop)[0]["policy.toml"].replace(b"price_good_days = 14", b"price_good_days = 9")
    before = exported(shop)
    files = {
        **many_changes(),
        "policy.toml": policy,
        "price_history.csv": b"sku,from,price\nDUN-72,2026-01-05,2300.00\n",
    }
    version = brought_in(shop, files, RETIRE)
    assert exported(shop) != before
    undone(shop, version)
    assert exported(shop) == before


def test_an_edit_and_an_import_are_undone_one_after_the_other(shop: Shop) -> None:
    first = exported(shop)
    with shop.writing("Orla") as work:
        part = replace(work.catalogue.parts["DUN-72"], price=1999_00)
        edited = change_parts(work, [part], kind="edit", about="DUN-72: price")
    second = exported(shop)
    version = brought_in(shop, many_changes(), RETIRE)
    undone(shop, version)
    assert exported(shop) == second
    undone(shop, edited)
    assert exported(shop) == first


def test_undoing_leaves_the_stock_as_it_is(shop: Shop) -> None:
    version = brought_in(shop, price_list(DUN__72="2549.00"))
    with shop.writing("counter") as work:
        save_movements(work.session, [Movement("DUN-72", "delivery", 5, "")], work.now, work.actor)
        work.commit()
        pieces = load_on_hand(work.session)
    undone(shop, version)
    with shop.reading() as work:
        assert load_on_hand(work.session) == pieces


def test_a_policy_changed_since_keeps_a_step_from_being_undone(shop: Shop) -> None:
    policy = exported(shop)[0]["policy.toml"]
    version = brought_in(shop, {"policy.toml": policy.replace(b"price_good_days = 14", b"price_good_days = 9")})
    with shop.writing("Orla") as work:
        terms = terms_in_force(work.session, work.now)
        assert terms is not None
        terms["quotes"]["price_good_days"] = 8
        save_policy(work.session, terms_as_text(terms), work.now, work.actor)
        work.commit()
    with pytest.raises(Conflict, match="own page"):
        undone(shop, version)
    with shop.reading() as work:
        assert len(list_versions(work)) == 3
        assert step_changes(work, version).hindrances


def test_a_step_tells_what_it_changed_whatever_came_after(shop: Shop) -> None:
    version = brought_in(shop, many_changes(), RETIRE)
    with shop.reading() as work:
        told = step_changes(work, version)
    brought_in(shop, price_list(DUN__72="2000.00", DUN__82="2.00") | {"lessons.csv": csv_of(seed_rows("lessons.csv"))})
    with shop.reading() as work:
        again = step_changes(work, version)
    assert (again.parts, again.others) == (told.parts, told.others)
    assert [part.sku for part in told.parts.new] == ["NEW-1"]
    assert len(told.parts.changed) == 7
    assert {one.word for one in told.others} == {"lessons", "price history"}


# There and back.


def test_what_is_taken_out_and_brought_in_again_changes_nothing(shop: Shop) -> None:
    with shop.reading() as work:
        for name in EXPORTS:
            plan = plan_import(work, open_upload([(name, export(work, name) or b"")]), EVERYTHING)
            assert plan.faults == (), name
            assert plan.is_nothing, (name, plan.changes.lines())


def test_a_set_whose_part_was_retired_is_taken_out_and_brought_in_again(shop: Shop) -> None:
    with shop.writing("Orla") as work:
        gone = replace(work.catalogue.parts["GSK-M75T"], retired=True)
        change_parts(work, [gone], kind="retire", about="GSK-M75T: retired")
        named = [one.sku for one in work.catalogue.sets.values() if "GSK-M75T" in one.parts]
    assert named
    with shop.reading() as work:
        for name in ("catalogue.zip", "catalogue.xlsx", "sets.csv"):
            plan = plan_import(work, open_upload([(name, export(work, name) or b"")]), EVERYTHING)
            assert (plan.faults, plan.is_nothing) == ((), True), name
            assert any("cannot be sold without GSK-M75T" in one.message for one in plan.warnings), name
        other = b"sku,parts\n" + f"{named[0]},GSK-M75T; DUN-72\n".encode()
        plan = plan_import(work, open_upload([("sets.csv", other)]), Choices())
        assert [fault.message for fault in plan.faults] == ["The catalogue has no part GSK-M75T."]


def test_a_part_does_not_get_the_sku_of_a_retired_set(shop: Shop) -> None:
    with shop.reading() as work:
        sets = export(work, "sets.csv") or b""
    lines = sets.splitlines(keepends=True)
    brought_in(shop, {"sets.csv": b"".join(lines[:-1])}, RETIRE)
    sku = lines[-1].decode().split(",")[0]
    row = [*seed_rows("masts.csv")[1]]
    row[0], row[3] = sku.lower(), "2190041999994"
    plan = planned(shop, {"masts.csv": csv_of([seed_rows("masts.csv")[0], row])})
    assert places(plan) == [("masts.csv", 2, "sku")]
    assert "which is retired" in plan.faults[0].message


@pytest.mark.parametrize(
    "content",
    [
        b"sku" + b",a" * 200_000,
        b"sku,price\nDUN-72,1.00" + b"," * 200_000,
        b"sku" + b",a" * 200_000 + b"\nDUN-72,1.00\n",
    ],
    ids=["a header", "a row", "a header and a row"],
)
def test_a_table_far_too_wide_is_one_fault(read_only: Shop, content: bytes) -> None:
    plan = planned(read_only, {"boards.csv": content})
    assert len(plan.faults) == 1
    assert (plan.faults[0].accepted, "too many columns" in plan.faults[0].message) == ("at most 500 columns", True)


def test_a_sheet_is_called_one_in_every_fault(read_only: Shop) -> None:
    rows = [["sku", "price"], ["DUN-72", "1.00"], ["DUN-72", "2.00"], ["TUR-M72T", "1.00"]]
    plan = planned(read_only, {"list.xlsx": workbook_of({"boards": rows})})
    name = catalogue(read_only).parts["TUR-M72T"].name
    told = " ".join(f"{fault} {fault.accepted}" for fault in plan.faults)
    assert "in sheet boards, row 2" in told
    assert "the row in sheet masts" in told
    assert ".csv" not in told
    assert [fault.about for fault in plan.faults] == ["DUN-72 Mudflat 72", f"TUR-M72T {name}"]


def test_nothing_else_can_be_taken_out(read_only: Shop) -> None:
    with read_only.reading() as work:
        assert export(work, "../slackwater.db") is None


printable = st.text(
    st.characters(codec="utf-8", exclude_categories=["C", "Z"], include_characters=" "), min_size=1, max_size=30
)
names = st.one_of(
    printable,
    st.sampled_from(["=1+1", "'quoted'", "''", "-5 m²", "Vågbräda 5,5", 'say "aye"', "a;b c"]),
)


@given(name=names, price=st.integers(1, 100_000_00), length=st.floats(100, 199.999999), on_sale=st.booleans())
def test_odd_names_and_long_decimals_come_back(name: str, price: int, length: float, on_sale: bool) -> None:
    rows = seed_rows("boards.csv")[:2]
    values = {"name": name.strip() or "x", "price": f"{price / 100:.2f}", "length_cm": f"{length:.9f}"}
    values["sold"] = "yes" if on_sale else "no"
    rows[1] = [values.get(column, cell) for column, cell in zip(rows[0], rows[1], strict=True)]
    first = read_source(uploaded({"boards.csv": csv_of(rows)}).source, Catalogue({}), {}, "stay")
    assert [fault for fault in first.faults if fault.file == "boards.csv"] == []
    made = Catalogue(MappingProxyType(first.parts))
    assert (made.parts["DUN-72"].name, made.parts["DUN-72"].price) == (values["name"], price)
    taken_out = {"all.zip": zip_of(files_of(made, {}, None))}, {"c.xlsx": workbook_of(sheets_of(made, {}))}
    for files in taken_out:
        again = read_source(uploaded(files).source, made, {}, "retire")
        assert [fault for fault in again.faults if fault.file != "policy.toml"] == []
        assert again.parts == made.parts


# What is uploaded, told apart by what is in it.


def names_read(files: Mapping[str, bytes]) -> set[str]:
    upload = uploaded(files)
    assert not upload.faults, upload.faults
    return {*upload.files, *upload.sheets}


BOARDS = b"sku,price\nDUN-72,2449.00\n"
BOOK = workbook_of({"Boards": [["sku", "price"], ["DUN-72", 2449.0]], "empty": [], "MASTS ": [["sku"], ["TUR-M72T"]]})


@pytest.mark.parametrize(
    ("files", "found"),
    [
        ({"Boards (2).CSV": BOARDS}, {"boards.csv"}),
        ({"list.xlsx": BOOK}, {"boards", "masts"}),
        ({"list.xlsm": BOOK, "policy.toml": b""}, {"boards", "masts", "policy.toml"}),
        ({"all.zip": zip_of({"shop/boards.csv": BOARDS, "__MACOSX/._boards.csv": b"x"})}, {"boards.csv"}),
        ({"all.zip": zip_of({"README.md": b"#", "prices.xlsx": BOOK})}, {"boards", "masts"}),
    ],
    ids=["a copy from a browser", "a workbook", "a workbook and a policy", "a ZIP of a folder", "a workbook in a ZIP"],
)
def test_files_are_known_by_their_names_and_what_is_in_them(files: Mapping[str, bytes], found: set[str]) -> None:
    assert names_read(files) == found


@pytest.mark.parametrize(
    ("files", "word"),
    [
        ({}, "No file"),
        ({"bords.csv": BOARDS}, "no table of this name"),
        ({"boards.csv": BOARDS, "list.xlsx": BOOK}, "twice"),
        ({"a.zip": zip_of({"a/boards.csv": BOARDS, "b/boards.csv": BOARDS})}, "twice"),
        ({"a.zip": zip_of({"b.zip": zip_of({"boards.csv": BOARDS})})}, "no table of this name"),
        ({"a.zip": zip_of({f"{n}.csv": b"" for n in range(201)})}, "too many files"),
        ({"a.zip": zip_of({"boards.csv": bytes(61 * 1024 * 1024)})}, "unpack"),
        ({"a.zip": zip_of({})}, "no table in it"),
        ({"a.zip": zip_of({"boards.csv": BOARDS})[:-9]}, "not a ZIP"),
        ({"boards.csv": b"s" * (MOST_BYTES + 1)}, "larger than 10 MB"),
        ({"old.xls": b"\xd0\xcf\x11\xe0" + bytes(99)}, "password"),
        ({"list.xlsx": workbook_of({"Sheet1": [["sku"], ["DUN-72"]]})}, "no table of this name"),
        ({"list.xlsx": workbook_of({"boards": []})}, "no table in it"),
        ({"list.exe": BOOK}, "not named as one"),
        ({"boards.csv": BOOK}, "not named as one"),
        ({"boards.csv": zip_of({"boards.csv": BOARDS})}, "not named as one"),
        ({f"{number}.xlsx": BOOK for number in range(MOST_WORKBOOKS + 1)}, "too many workbooks"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_cannot_be_taken_is_said(files: Mapping[str, bytes], word: str) -> None:
    upload = uploaded(files)
    assert any(word in fault.message for fault in upload.faults), upload.faults


@given(st.dictionaries(st.sampled_from(["boards.csv", "policy.toml"]), st.binary(max_size=60), min_size=1))
def test_what_a_page_carries_on_comes_back_the_same(files: dict[str, bytes]) -> None:
    upload = open_upload(list(files.items()))
    if upload.has_tables and not upload.faults:
        assert unpacked(packed(upload)) == upload


@given(st.one_of(st.text(max_size=80), st.binary(max_size=80).map(lambda raw: raw.decode("latin-1"))))
def test_what_no_page_carried_on_is_refused(text: str) -> None:
    with pytest.raises(InvalidInput):
        unpacked(text)
