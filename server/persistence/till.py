"""The file of a till, and what the ledger knows that was counted since."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, time

from sqlmodel import Session, col, func, select

from server.domain.errors import FileFault
from server.domain.till import TIME_ACCEPTED
from server.persistence.columns import HISTORY_COLUMNS, ZONE_COLUMNS, Column, NumberedRow
from server.persistence.folder import read_table
from server.persistence.sources import Files
from server.persistence.tables import StockRow

FILE = "till.csv"
FOUND = "till: "
"""How the reason of a count begins that was booked because the till sold more than the ledger had."""
MOST_PIECES = 999
_TEXT, _FEE = ZONE_COLUMNS[0], ZONE_COLUMNS[1]
_DAY = next(column for column in HISTORY_COLUMNS if column.name == "from")


def _moment(cell: str) -> datetime | time:
    if re.fullmatch(r"\d{4}-\d\d-\d\d[ T]\d\d:\d\d(:\d\d)?", cell, re.ASCII):
        return datetime.fromisoformat(cell)
    if not re.fullmatch(r"\d\d:\d\d(:\d\d)?", cell, re.ASCII):
        raise ValueError
    return time.fromisoformat(cell)


def _pieces(cell: str) -> int:
    if not re.fullmatch(r"[+-]?\d{1,3}", cell.replace("\N{MINUS SIGN}", "-"), re.ASCII):
        raise ValueError
    pieces = int(cell.replace("\N{MINUS SIGN}", "-"))
    if not pieces:
        raise ValueError
    return pieces


TILL_COLUMNS = (
    replace(_TEXT, name="receipt"),
    replace(_TEXT, name="line", may_be_blank=True),
    replace(_DAY, name="day", may_be_blank=True),
    Column("time", _moment, TIME_ACCEPTED, may_be_blank=True),
    replace(_TEXT, name="code", accepted="a SKU or a GTIN of a part or set"),
    Column("pieces", _pieces, f"a whole number up to {MOST_PIECES}, less than 0 where they came back"),
    replace(_FEE, name="price", may_be_blank=True),
)


def read_till_rows(content: bytes) -> tuple[list[NumberedRow], list[FileFault], list[str]]:
    """The rows of a till's file that are right, the faults of the others, and what was odd about reading it."""
    files = Files({FILE: content})
    rows, faults = read_table(files, FILE, TILL_COLUMNS)
    return rows, faults, [words for _, words in files.remarks()]


def counted_since(session: Session, skus: Iterable[str], moment: datetime) -> dict[str, datetime]:
    """When parts were last counted after a moment, but for the counts that a till's file made."""
    wanted = (
        select(StockRow.sku, func.max(col(StockRow.at)))
        .where(col(StockRow.kind) == "count", col(StockRow.at) > moment, ~col(StockRow.why).startswith(FOUND))
        .group_by(col(StockRow.sku))
    )
    among = set(skus)
    return {sku: at for sku, at in session.exec(wanted) if sku in among}


def load_found(session: Session, skus: Iterable[str]) -> dict[str, int]:
    """Of parts whose newest count is one that a till's file made: how many pieces it found."""
    newest = (
        select(func.max(col(StockRow.id)))
        .where(col(StockRow.kind) == "count", col(StockRow.sku).in_(list(skus)))
        .group_by(col(StockRow.sku))
    )
    wanted = select(StockRow).where(col(StockRow.id).in_(newest), col(StockRow.why).startswith(FOUND))
    return {row.sku: row.change for row in session.exec(wanted)}
