"""Sets in the database: what they are, never how many there are."""

from __future__ import annotations

import json
from collections.abc import Iterable

from sqlmodel import Session, select

from server.domain.catalogue import PartSet
from server.persistence.tables import SetRow


def set_from(row: SetRow) -> PartSet:
    """A set from its row."""
    return PartSet(
        row.sku, row.name, row.maker, row.gtin, row.price, tuple(json.loads(row.parts)), row.sold, row.retired
    )


def set_row_from(one: PartSet) -> SetRow:
    """The row of a set."""
    return SetRow(
        sku=one.sku,
        name=one.name,
        maker=one.maker,
        gtin=one.gtin,
        price=one.price,
        parts=json.dumps(list(one.parts)),
        sold=one.sold,
        retired=one.retired,
    )


def load_sets(session: Session) -> list[PartSet]:
    """Every set by SKU, those that were retired too."""
    return sorted((set_from(row) for row in session.exec(select(SetRow))), key=lambda one: one.sku)


def save_sets(session: Session, sets: Iterable[PartSet], retired: Iterable[str] = ()) -> None:
    """Put sets in place of what stood under their SKUs, and retire those that are gone."""
    for one in sets:
        session.merge(set_row_from(one))
    for sku in retired:
        session.get_one(SetRow, sku).retired = True
    session.flush()
