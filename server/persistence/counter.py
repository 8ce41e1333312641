"""Sales over the counter in the database; what they do to stock stands in the ledger."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, col, or_, select

from server.domain.counter import Sale
from server.persistence.tables import CounterSaleRow


def save_sale(session: Session, sale: Sale, place: int = 0) -> Sale:
    """Keep a new sale under its form, and where it is a part of a set under its place there; the sale with its number."""
    key = f"{sale.form}/{place}/{sale.of_set}" if sale.of_set else sale.form
    row = CounterSaleRow(key=key, sku=sale.sku, pieces=sale.pieces, price=sale.price, at=sale.at, by=sale.by)
    session.add(row)
    session.flush()
    return _sale_from(row)


def sales_under(session: Session, form: str, *, to_change: bool = False) -> list[Sale]:
    """The sales that a form made, in their order: one, those of a set's parts, or none yet.

    With `to_change` nobody else takes them back until this transaction ends.
    """
    key = col(CounterSaleRow.key)
    wanted = select(CounterSaleRow).where(or_(key == form, key.startswith(f"{form}/", autoescape=True)))
    wanted = wanted.order_by(col(CounterSaleRow.id)).execution_options(populate_existing=True)
    sales = [_sale_from(row) for row in session.exec(wanted.with_for_update() if to_change else wanted)]
    return [sale for sale in sales if sale.form == form]  # LIKE knows no case in SQLite.


def load_sale(session: Session, sale_id: int) -> Sale | None:
    """A sale by its number, or None."""
    row = session.get(CounterSaleRow, sale_id)
    return None if row is None else _sale_from(row)


def load_sales_between(session: Session, start: datetime, end: datetime) -> list[Sale]:
    """The sales from one moment on and before another, newest first, those taken back too."""
    at = col(CounterSaleRow.at)
    wanted = select(CounterSaleRow).where(at >= start, at < end).order_by(at.desc(), col(CounterSaleRow.id).desc())
    return [_sale_from(row) for row in session.exec(wanted)]


def save_taken_back(session: Session, sale_id: int, now: datetime, by: str) -> Sale:
    """Remember that a sale was taken back."""
    row = session.get_one(CounterSaleRow, sale_id)
    row.taken_back_at, row.taken_back_by = now, by
    return _sale_from(row)


def _sale_from(row: CounterSaleRow) -> Sale:
    form, _, rest = row.key.partition("/")
    of_set = rest.partition("/")[2]
    return Sale(row.id or 0, row.sku, row.pieces, row.price, row.at, row.by, row.taken_back_at, form, of_set)
