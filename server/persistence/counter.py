"""Sales over the counter in the database; what they do to stock stands in the ledger."""

from __future__ import annotations

from datetime import datetime

from sqlmodel import Session, col, select

from server.domain.counter import Sale
from server.persistence.tables import CounterSaleRow


def save_sale(session: Session, sale: Sale, key: str) -> Sale:
    """Keep a new sale under its key; the sale with its number."""
    row = CounterSaleRow(key=key, sku=sale.sku, pieces=sale.pieces, price=sale.price, at=sale.at, by=sale.by)
    session.add(row)
    session.flush()
    return _sale_from(row)


def sale_under(session: Session, key: str) -> Sale | None:
    """The sale that was made under a key, or None."""
    row = session.exec(select(CounterSaleRow).where(col(CounterSaleRow.key) == key)).first()
    return None if row is None else _sale_from(row)


def load_sale(session: Session, sale_id: int, *, to_change: bool = False) -> Sale | None:
    """A sale by its number, or None; with `to_change` nobody else takes it back until this transaction ends."""
    wanted = select(CounterSaleRow).where(col(CounterSaleRow.id) == sale_id)
    row = session.exec(wanted.with_for_update() if to_change else wanted).first()
    return None if row is None else _sale_from(row)


def load_sales_since(session: Session, moment: datetime) -> list[Sale]:
    """The sales since a moment, newest first, those taken back too."""
    wanted = select(CounterSaleRow).where(col(CounterSaleRow.at) >= moment)
    return [_sale_from(row) for row in session.exec(wanted.order_by(col(CounterSaleRow.id).desc()))]


def save_taken_back(session: Session, sale_id: int, now: datetime, by: str) -> Sale:
    """Remember that a sale was taken back."""
    row = session.get_one(CounterSaleRow, sale_id)
    row.taken_back_at, row.taken_back_by = now, by
    return _sale_from(row)


def _sale_from(row: CounterSaleRow) -> Sale:
    return Sale(row.id or 0, row.sku, row.pieces, row.price, row.at, row.by, row.taken_back_at)
