"""Text in a table is never run as a formula, and is read again as it was."""

from __future__ import annotations

import csv
import io

import pytest

from server.domain.csv_text import csv_of, csv_to_save, undefused


# OWASP, CSV Injection: a cell that begins with one of these is taken for a formula.
@pytest.mark.parametrize("cell", ["=1+1", "+x", "-x", "@SUM(A1)", "\tx", "\rx", "-2+3", "＝1+1", "＠x"])
def test_a_cell_that_a_spreadsheet_would_run_is_defused(cell: str) -> None:
    assert list(csv.reader(io.StringIO(csv_of([[cell, "x"]]).decode(), newline=""))) == [[f"'{cell}", "x"]]


@pytest.mark.parametrize("cell", ["", "a", "-123.00", "+5", "1", "a=b", "Sent back."])
def test_numbers_and_plain_words_stay_as_they_are(cell: str) -> None:
    assert list(csv.reader(io.StringIO(csv_of([[cell, "x"]]).decode(), newline=""))) == [[cell, "x"]]


@pytest.mark.parametrize("cell", ["=1+1", "-x", "'=x", "''", "'", "a", "-5.00", "\nx", "＝x", "'＝x"])
def test_what_was_written_is_read_again(cell: str) -> None:
    row = next(csv.reader(io.StringIO(csv_of([[cell, "x"]]).decode(), newline="")))
    assert undefused(row[0]) == cell


# OWASP, CSV Injection: attackers could use the field separator ("e.g., , or ;") and quotes to start a new cell.
@pytest.mark.parametrize("cell", ["a;=1+1", "a\t=1+1;b", "a; =1+1", "a\n@SUM(A1)", "a;＝1+1", '";=1+1;"'])
def test_no_cell_begins_with_a_formula_where_semicolons_or_tabs_divide_them(cell: str) -> None:
    saved = csv_to_save([[cell, "x"]]).decode("utf-8-sig")
    cells = [part for line in saved.splitlines() for part in line.replace("\t", ";").split(";")]
    assert len(cells) > 1
    assert not [part for part in cells if part.strip().startswith(("=", "@", "＝"))]
    assert "1+1" in saved or "SUM" in saved
