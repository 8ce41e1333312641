"""Import, export and steps over the front door: what an upload would change, all of it or nothing, and back again."""

from __future__ import annotations

import re
from collections.abc import Mapping

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.domain.csv_text import csv_of
from server.outside.workbook import workbook_of
from server.outside.zip_files import files_in_zip
from server.persistence.sources import MOST_ROWS
from tests.builders_http import Client
from tests.builders_imports import (
    PREVIEW,
    brought_in,
    carried,
    faulty_list,
    many_changes,
    planned,
    price_list,
    send_files,
    uploaded,
)
from tests.builders_odd_files import AS_WINDOWS, ODD_FILES, READ, spoilt, spoilt_inside
from tests.pages.reader import FORM, Reader, text_of

EXPORT = "/console/files/export?name="


def everything(owner: Client) -> bytes:
    """All of the catalogue as it is taken out."""
    return owner.get(EXPORT + "catalogue.zip").content


def test_a_list_is_looked_at_brought_in_and_undone(owner: Client) -> None:
    before = everything(owner)
    page = send_files(owner, price_list(DUN__72="2549.00"))
    assert page.status == 200
    assert "DUN-72Mudflat 72price 2449.00 → 2549.00" in page.text
    assert "1 up, 0 down. The farthest: DUN-72 from €2,449.00 to €2,549.00 (+4 %)." in page.text
    assert "left as they are: masts.csv, fuselages.csv" in page.text
    assert everything(owner) == before, "looking changes nothing"
    page.press("Bring it in")
    assert page.address == "/console/files?done=2"
    assert "Brought in: 1 price changed. What it changed · Undo it" in page.text
    assert everything(owner) != before
    page.open("/console/steps/2/undo").press("Undo this step")
    assert page.address == "/console/steps/3"
    assert everything(owner) == before
    assert "by Orla" in page.open("/console/steps/2").row("Undone")


def test_faults_are_named_by_file_row_and_column_and_nothing_can_be_brought_in(owner: Client) -> None:
    page = send_files(owner, faulty_list(), rest="retire")
    assert page.status == 422
    rows = [[text_of(cell) for cell in row][:3] for row in page.page.findall(".//tbody/tr")]
    assert rows == [
        ["boards.csv", "row 2", "price"],
        ["boards.csv", "row 3", "cost"],
        ["boards.csv", "row 4", "sku"],
        ["boards.csv", "row 5", "sku"],
    ]
    for said in ("DUN-72 Mudflat 72: '24,49.00'", "DUN-82 Mudflat 82: The cell is blank.", "NEW-9: NEW-9 is not in"):
        assert said in page.text
    assert 'name="content"' not in page.html
    assert ("rest", "retire") in [
        (one.get("name"), one.get("value")) for one in page.page.iter("input") if "checked" in one.attrib
    ]
    posted = owner.post("/console/files/apply", content=carried(faulty_list()), headers=FORM)
    assert posted.status_code == 422


def test_many_faults_are_on_the_page_up_to_a_thousand(owner: Client) -> None:
    with_faults = csv_of([["sku", "price"], *([f"NEW-{n}", "x"] for n in range(2000))])
    page = send_files(owner, {"boards.csv": with_faults})
    assert "2000 faults" in page.text
    assert page.html.count("<tr>") == 1002
    assert "900 more" in page.text
    assert "And 1000 more that are not shown" in page.text


def test_more_faults_than_a_page_takes_are_counted(owner: Client) -> None:
    rows = [["sku", "price"], *([f"NEW-{n}", "x"] for n in range(6000))]
    page = send_files(owner, {"boards.csv": csv_of(rows)})
    assert page.html.count("<tr>") == 1002
    assert "And 4001 more that are not shown" in page.text


def test_prices_that_may_be_slips_are_named_first(owner: Client) -> None:
    page = send_files(owner, price_list(DUN__72="244.90", DUN__82="1100.00", DUN__92="4500.00"))
    assert "2 parts would sell for less than they cost, VAT taken out: DUN-72 (€244.90, cost €" in page.text
    assert "3 prices fall or rise by more than half: DUN-72 from €2,449.00 to €244.90 (-90 %), DUN-82" in page.text
    calm = send_files(owner, price_list(DUN__72="2500.00", DUN__82="2300.00")).text
    assert "more than half" not in calm
    assert "less than" not in calm


def test_only_an_import_that_stands_is_said_to_be_brought_in(app: FastAPI, owner: Client) -> None:
    version = brought_in(app.state.shop, many_changes())
    page = Reader(owner).open(f"/console/files?done={version}")
    assert "Brought in: 7 prices changed, 1 new part" in page.text
    owner.post(f"/console/steps/{version}/undo")
    for number in (str(version), str(version + 1), "999", "x", "²"):
        assert "Brought in:" not in Reader(owner).open(f"/console/files?done={number}").text


def test_what_moved_meanwhile_is_shown_anew(app: FastAPI, owner: Client) -> None:
    page = send_files(owner, price_list(DUN__72="2549.00"))
    brought_in(app.state.shop, price_list(DUN__82="2589.00"))
    page.press("Bring it in")
    assert page.status == 409
    assert "changed meanwhile" in page.text
    assert page.press("Bring it in").address == "/console/files?done=3"


def test_other_choices_are_shown_before_they_are_carried_out(owner: Client) -> None:
    page = send_files(owner, {"masts.csv": csv_of([["sku", "price"], ["TUR-M72T", "1649.00"]])})
    page.press("Bring it in", rest="retire")
    assert page.status == 409
    assert "shown anew with what you chose" in page.text
    assert "Retired (" in page.text


def test_what_would_change_nothing_cannot_be_brought_in(owner: Client) -> None:
    page = send_files(owner, {"boards.csv": owner.get(EXPORT + "boards.csv").content})
    assert "This would change nothing" in page.text
    assert "Bring it in" not in page.text
    form = carried(price_list(DUN__72="2449.00"))
    assert owner.post("/console/files/apply", content=form, headers=FORM).status_code == 409


@pytest.mark.parametrize(
    "form", [b"", b"content=x", b"content=eJwDAAAAAAE%3D&shown=1"], ids=["nothing", "a letter", "nothing, packed"]
)
def test_a_form_without_a_file_says_so_beside_the_field(owner: Client, form: bytes) -> None:
    for address in (PREVIEW, "/console/files/apply"):
        answer = owner.post(address, content=form, headers=FORM)
        assert answer.status_code == 422
        assert 'id="files-fault"' in answer.text


def test_files_that_are_too_large_are_refused_in_words(owner: Client) -> None:
    large = send_files(owner, {"boards.csv": b"sku,price\n" + b"x" * 10 * 1024 * 1024})
    assert (large.status, "larger than 10 MB" in large.text) == (422, True)
    huge = owner.post(PREVIEW, content=b"x" * (32 * 1024 * 1024 + 1), headers=FORM)
    assert (huge.status_code, "at most 32 MB" in huge.text) == (413, True)


def test_each_file_can_be_taken_out(owner: Client) -> None:
    page = Reader(owner).open("/console/files")
    links = [link.get("href", "") for link in page.page.iter("a") if EXPORT in link.get("href", "")]
    archive = dict(files_in_zip(owner.get(EXPORT + "catalogue.zip").content))
    assert {link.removeprefix(EXPORT) for link in links} == {"catalogue.xlsx", "catalogue.zip", *archive}
    for name, content in archive.items():
        answer = owner.get(EXPORT + name)
        assert answer.content == content
        assert answer.headers["content-disposition"] == f'attachment; filename="{name}"'
    assert owner.get(EXPORT + "slackwater.db").status_code == 404


def test_only_the_newest_step_that_stands_can_be_undone(app: FastAPI, owner: Client) -> None:
    first, second = (brought_in(app.state.shop, price_list(DUN__72=price)) for price in ("2549.00", "2649.00"))
    page = Reader(owner).open("/console/steps")
    assert re.findall(r"/console/steps/(\d+)/undo", page.html) == [str(second)]
    refused = owner.post(f"/console/steps/{first}/undo")
    assert (refused.status_code, "Something was changed after it" in refused.text) == (409, True)
    assert owner.post(f"/console/steps/{second}/undo").headers["location"] == "/console/steps/4"
    assert owner.post(f"/console/steps/{second}/undo").headers["location"] == f"/console/steps/{second}", (
        "once is enough"
    )
    assert "2549.00 → 2649.00" in page.open(f"/console/steps/{second}").text
    assert "2649.00 → 2549.00" in page.open("/console/steps/4").text


# Files that nobody sends in earnest.


def test_odd_files_are_read_right_or_their_faults_are_told(owner: Client) -> None:
    before = everything(owner)
    for name, (files, word) in ODD_FILES.items():
        page = send_files(owner, files)
        assert page.status == (200 if word in (READ, AS_WINDOWS) else 422), name
        assert word in page.text, name
    assert everything(owner) == before


ROWS: list[list[str | float]] = [["DUN-72", 2449.0, 1235.57] for _ in range(40)]
BOOK = workbook_of({"boards": [["sku", "price", "cost"], *ROWS]})
SPOILABLE: Mapping[str, bytes] = {
    "boards.csv": many_changes()["boards.csv"],
    "policy.toml": b'[shop]\nname = "Two Herons"\n[[tiers]]\npercent = 5\n',
    "list.xlsx": BOOK,
}


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(name=st.sampled_from(sorted(SPOILABLE)), seed=st.integers(0, 10**9), raw=st.none() | st.binary(max_size=300))
def test_spoilt_files_have_faults_or_are_read(app: FastAPI, name: str, seed: int, raw: bytes | None) -> None:
    how = spoilt_inside if name == "list.xlsx" and seed % 2 else spoilt
    content = how(SPOILABLE[name], seed) if raw is None else raw
    plan = planned(app.state.shop, {name: content})
    assert all(fault.file and fault.message for fault in plan.faults)
    assert plan.faults or uploaded({name: content}).has_tables


def test_rows_without_end_are_cut_off(owner: Client) -> None:
    page = send_files(owner, {"boards.csv": b"sku,price\n" + b"DUN-72,1.00\n" * MOST_ROWS})
    assert page.status == 422
    assert "5001 faults" in page.text
    assert "And 4001 more that are not shown" in page.text
