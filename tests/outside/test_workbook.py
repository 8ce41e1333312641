"""Workbooks are read as they were written; what would fill the memory or is none is refused with a word."""

from __future__ import annotations

import gc
import io
import resource
import tempfile
import tracemalloc
import zipfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.errors import InvalidInput, TooMany
from server.outside import workbook
from server.outside.workbook import read_workbook, workbook_of
from server.outside.workbook_bounds import MOST_BYTES, look_through
from tests.builders_odd_files import spreadsheet_of

texts = st.text(st.characters(codec="utf-8", min_codepoint=32, exclude_categories=["C"]), max_size=30)
cells = st.one_of(texts, st.integers(-(10**9), 10**9), st.floats(-1e6, 1e6, allow_nan=False).map(lambda n: round(n, 4)))


def said(cell: object) -> str:
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)


def refusal(content: bytes) -> str:
    with pytest.raises(InvalidInput) as caught:
        read_workbook(content)
    [fault] = caught.value.faults
    assert fault.field == "file"
    assert ".xlsx" in fault.accepted
    return fault.message


@given(st.lists(st.lists(cells, min_size=3, max_size=3), min_size=1, max_size=6))
def test_what_is_written_is_read_again(rows: list[list[str | int | float]]) -> None:
    header = ["one", "two", "three"]
    read = read_workbook(workbook_of({"boards": [header, *rows]}))["boards"]
    padded = [[*row, *[""] * (3 - len(row))] for row in read] + [[""] * 3] * (1 + len(rows) - len(read))
    assert padded == [header, *([said(cell) for cell in row] for row in rows)]


def test_a_text_that_begins_like_a_formula_stays_a_text() -> None:
    content = workbook_of({"a": [["name"], ["=1+1"], ["@SUM(A1)"], ["http://example.org"], ["+353"]]})
    assert read_workbook(content)["a"] == [["name"], ["=1+1"], ["@SUM(A1)"], ["http://example.org"], ["+353"]]
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert b"<f>" not in archive.read("xl/worksheets/sheet1.xml")


def test_the_same_sheets_are_the_same_bytes() -> None:
    assert workbook_of({"a": [["x"], [1]]}) == workbook_of({"a": [["x"], [1]]})


def with_part(content: bytes, name: str, part: bytes) -> bytes:
    """A workbook with one of its parts replaced."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.namelist():
            new.writestr(member, part if member == name else old.read(member))
    return file.getvalue()


SHEET = "xl/worksheets/sheet1.xml"
PLAIN = spreadsheet_of({"boards": [["sku"], ["A"]]})


def test_a_cell_at_the_far_end_of_an_empty_sheet_is_refused_before_it_takes_its_room() -> None:
    with zipfile.ZipFile(io.BytesIO(PLAIN)) as archive:
        sheet = archive.read(SHEET)
    far = sheet.replace(b'r="A2"', b'r="XFD1048576"')
    assert far != sheet
    assert "far outside" in refusal(with_part(PLAIN, SHEET, far))


def test_a_file_that_would_unpack_to_too_much_is_refused() -> None:
    bomb = with_part(PLAIN, "docProps/app.xml", bytes(201 * 1024 * 1024))
    assert len(bomb) < 300_000
    assert "unpack" in refusal(bomb)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"PK",
        b"sku,name\nA,B\n",
        PLAIN[: len(PLAIN) // 2],
        with_part(PLAIN, SHEET, b"<worksheet"),
        b"\xd0\xcf\x11\xe0" + bytes(600),
    ],
    ids=["nothing", "two letters", "a CSV file", "half of one", "a sheet that ends early", "the format of before 2007"],
)
def test_what_is_no_workbook_is_refused(content: bytes) -> None:
    assert "not a workbook" in refusal(content)


DECLARED = b"<!DOCTYPE sst [%s]>"
BILLION = b"".join(
    b'<!ENTITY a%d "%s">' % (depth, b"&a%d;" % (depth - 1) * 10 if depth else b"ha" * 10) for depth in range(10)
)
OUTSIDE = b'<!ENTITY a9 SYSTEM "file:///etc/passwd">'


@pytest.mark.parametrize("entity", [BILLION, OUTSIDE], ids=["entities of entities", "an entity of a file"])
def test_no_entity_of_a_workbook_is_unfolded_or_fetched(entity: bytes) -> None:
    """OWASP, XML External Entity Prevention: neither "billion laughs" nor a file of the server comes out of a cell."""
    with zipfile.ZipFile(io.BytesIO(PLAIN)) as archive:
        texts = archive.read("xl/sharedStrings.xml")
    doctype, cut = DECLARED % entity, texts.index(b"<sst")
    odd = (texts[:cut] + doctype + texts[cut:]).replace(b"<t>A</t>", b"<t>x&a9;x</t>")
    assert odd.count(b"&a9;") == 1
    try:
        read = str(read_workbook(with_part(PLAIN, "xl/sharedStrings.xml", odd)))
    except InvalidInput:
        return
    assert len(read) < 200
    assert "haha" not in read
    assert "root:" not in read


def test_a_file_too_large_is_refused_by_its_bytes() -> None:
    assert "larger than 10 MB" in refusal(bytes(MOST_BYTES + 1))


LONG = "x" * 32_000


def repeated(text: str, rows: int, columns: int = 30) -> bytes:
    """A workbook in which very many cells name one shared text."""
    return spreadsheet_of({"boards": [[text] * columns for _ in range(rows)]})


def odd(content: bytes) -> bytes:
    """The same with its cells written as no program writes them, which a reader takes all the same."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        sheet = archive.read(SHEET)
    return with_part(content, SHEET, sheet.replace(b"<v>", b"<v ><!-- -->"))


@pytest.mark.parametrize("content", [repeated(LONG, 60), odd(repeated(LONG, 60))], ids=["plainly", "oddly written"])
def test_one_long_text_that_very_many_cells_name_is_refused_before_it_is_unfolded(content: bytes) -> None:
    assert len(content) < 20_000
    assert "far more text" in refusal(content)


def test_a_text_that_ends_where_the_reader_stops_for_breath_is_counted_under_its_own_number() -> None:
    texts = [[f"{number:07d}" + "y" * 50] for number in range(40_000)]
    look_through(spreadsheet_of({"boards": [*texts, [LONG], *([1.5] * 30 for _ in range(100))]}))
    with pytest.raises(Exception, match="far more text"):
        look_through(spreadsheet_of({"boards": [*texts, *([LONG] for _ in range(1_600))]}))


def test_a_long_text_beside_many_numbers_and_short_texts_is_read() -> None:
    rows: list[list[str | float]] = [["short", 1.5, 2, 3]] * 1_000
    assert read_workbook(workbook_of({"boards": [[LONG], *rows]}))["boards"][0][0] == LONG


def test_whoever_waits_long_for_other_workbooks_is_told_to_come_again(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workbook, "WAIT_S", 0.01)
    with workbook._GATE, pytest.raises(TooMany, match="Other workbooks"):
        workbook_of({"a": [["name"]]})
    assert workbook_of({"a": [["name"]]})


def test_a_large_workbook_takes_little_memory_and_leaves_no_file_behind(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    rows: list[list[str | float]] = [
        [f"SKU-{number}", "a board of many words", number, 2549.5] for number in range(5_000)
    ]
    gc.collect()
    tracemalloc.start()
    content = workbook_of({"boards": rows})
    most = tracemalloc.get_traced_memory()[1] - len(content)
    tracemalloc.stop()
    assert most < 2_000_000
    assert list(tmp_path.iterdir()) == []
    assert len(read_workbook(content)["boards"]) == 5_000


def test_where_there_is_no_room_for_files_it_is_written_in_memory_and_leaves_none_behind(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    rows: list[list[str | float]] = [[f"SKU-{number}", number, 2549.5] for number in range(2_000)]
    usual = read_workbook(workbook_of({"boards": rows}))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    for most in (0, 1_024, 20_000, 100_000):  # In the rows, and in what is made of them.
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, limits[1]))
        try:
            content = workbook_of({"boards": rows})
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        assert read_workbook(content) == usual
        assert list(tmp_path.iterdir()) == []
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "that is not there"))
    assert read_workbook(workbook_of({"boards": rows})) == usual
