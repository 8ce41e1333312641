"""At which prices parts were offered or sold by themselves since a moment: in quotes that were kept, and over the counter."""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime

from sqlmodel import Session, col, select

from server.domain.money import Cents
from server.persistence.quotes import quote_from
from server.persistence.tables import CounterSaleRow, RevisionRow


def lowest_offered(session: Session, skus: Collection[str], since: datetime) -> dict[str, Cents]:
    """The lowest price of one piece of each part that was quoted or sold since then; parts that were not are left out."""
    wanted = set(skus)
    found = [
        (sku, price)
        for sku, price in session.exec(
            select(CounterSaleRow.sku, CounterSaleRow.price).where(col(CounterSaleRow.at) >= since)
        )
        if sku in wanted
    ]
    records = session.exec(select(RevisionRow.record).where(col(RevisionRow.issued_at) >= since)) if wanted else ()
    for record in records:
        lines = quote_from(record).kit.price.lines
        found += [(line.sku, line.alone) for line in lines if line.sku in wanted and line.alone is not None]
    lowest: dict[str, Cents] = {}
    for sku, price in found:
        lowest[sku] = min(price, lowest.get(sku, price))
    return lowest
