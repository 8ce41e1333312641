"""Sales in the database: the contract, its items, the papers in their series, what was paid, and what was done."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from typing import Any, cast

from pydantic import TypeAdapter
from sqlmodel import Session, col, select

from server.domain.sales import (
    Concluded,
    Gone,
    Item,
    Mark,
    MarkKind,
    Means,
    Paper,
    PaperKind,
    PaperLine,
    Sale,
    Scheme,
    Settlement,
    VatLine,
)
from server.domain.stock import Contact
from server.persistence.tables import (
    MarkRow,
    PaperRow,
    SaleItemRow,
    SaleRow,
    SeriesRow,
    SettlementRow,
)

PAPERS = "papers"
_LINES = TypeAdapter(tuple[PaperLine, ...])
_VAT = TypeAdapter(tuple[VatLine, ...])


def add_sale(session: Session, sale: Sale, key: str, hold_id: int | None) -> int:
    """Keep a new sale with its items; its number. Papers, payments and marks are added by themselves."""
    row = SaleRow(
        token=sale.token,
        code=sale.code,
        quote_token=sale.quote_token,
        revision=sale.revision,
        concluded=sale.concluded,
        made_at=sale.made_at,
        made_on=sale.made_on,
        name=sale.contact.name,
        email=sale.contact.email,
        phone=sale.contact.phone,
        email_key=sale.contact.email_key,
        phone_key=sale.contact.phone_key,
        delivery=sale.delivery,
        zone=sale.zone,
        address=sale.address,
        tier_name=sale.tier_name,
        tier_percent=sale.tier_percent,
        agreed_charged=sale.agreed_share[0],
        agreed_before=sale.agreed_share[1],
        policy_version=sale.policy_version,
        may_write=sale.may_write,
        hold_id=hold_id,
        key=key,
    )
    session.add(row)
    session.flush()
    number = row.id or 0
    add_items(session, number, sale.items)
    return number


def add_items(session: Session, sale_id: int, items: Iterable[Item]) -> None:
    """Keep further items of a sale."""
    session.add_all(SaleItemRow(sale_id=sale_id, **_plain(item)) for item in items)
    session.flush()


def _plain(item: Item) -> dict[str, Any]:
    return {**asdict(item), "percent": str(item.percent)}


def save_item(session: Session, sale_id: int, item: Item) -> None:
    """Keep where an item is now; it has to be there."""
    wanted = select(SaleItemRow).where(col(SaleItemRow.sale_id) == sale_id, col(SaleItemRow.number) == item.number)
    row = session.exec(wanted).one()
    for name, value in _plain(item).items():
        setattr(row, name, value)


def save_contact(session: Session, sale_id: int, contact: Contact, address: str, may_write: bool) -> None:
    """Keep another contact and address of a sale."""
    row = session.get_one(SaleRow, sale_id)
    row.name, row.email, row.phone = contact.name, contact.email, contact.phone
    row.email_key, row.phone_key = contact.email_key, contact.phone_key
    row.address, row.may_write = address, may_write


def _item_from(row: SaleItemRow) -> Item:
    return Item(
        number=row.number,
        sku=row.sku,
        label=row.label,
        slot=row.slot,
        list=row.list,
        charged=row.charged,
        alone=row.alone,
        worth=row.worth,
        quantity=row.quantity,
        percent=Decimal(row.percent),
        scheme=cast(Scheme, row.scheme),
        bought=row.bought,
        is_tiered=row.is_tiered,
        piece=row.piece,
        serial=row.serial,
        is_held=row.is_held,
        sent_on=row.sent_on,
        received_on=row.received_on,
        gone=cast(Gone, row.gone),
        gone_on=row.gone_on,
        takes_place_of=row.takes_place_of,
    )


def _paper_from(row: PaperRow) -> Paper:
    return Paper(
        row.number,
        cast(PaperKind, row.kind),
        row.day,
        _LINES.validate_json(row.lines),
        _VAT.validate_json(row.vat),
        row.why,
        row.corrects,
        row.by,
    )


def _settlement_from(row: SettlementRow) -> Settlement:
    return Settlement(row.id or 0, cast(Means, row.means), row.amount, row.day, row.at, row.by, row.note)


def _mark_from(row: MarkRow) -> Mark:
    return Mark(cast(MarkKind, row.kind), row.at, row.by, row.why, json.loads(row.about), row.key)


def load_sale(session: Session, sale_id: int, *, to_change: bool = False) -> Sale | None:
    """A sale with its ledgers; with `to_change` nobody else changes it until this transaction ends."""
    wanted = select(SaleRow).where(col(SaleRow.id) == sale_id)
    if to_change:
        wanted = wanted.with_for_update().execution_options(populate_existing=True)
    row = session.exec(wanted).first()
    return None if row is None else _sale_from(session, row)


def _sale_from(session: Session, row: SaleRow) -> Sale:
    def of(table: Any, order: Any) -> Iterable[Any]:
        wanted = select(table).where(table.sale_id == row.id).order_by(order)
        return session.exec(wanted.execution_options(populate_existing=True))

    return Sale(
        id=row.id or 0,
        token=row.token,
        code=row.code,
        quote_token=row.quote_token,
        revision=row.revision,
        concluded=cast(Concluded, row.concluded),
        made_at=row.made_at,
        made_on=row.made_on,
        contact=Contact(row.name, row.email, row.phone),
        delivery="deliver" if row.delivery == "deliver" else "collect",
        zone=row.zone,
        address=row.address,
        tier_name=row.tier_name,
        tier_percent=row.tier_percent,
        agreed_share=(row.agreed_charged, row.agreed_before),
        policy_version=row.policy_version,
        may_write=row.may_write,
        items=tuple(_item_from(one) for one in of(SaleItemRow, SaleItemRow.number)),
        papers=tuple(_paper_from(one) for one in of(PaperRow, PaperRow.number)),
        settlements=tuple(_settlement_from(one) for one in of(SettlementRow, SettlementRow.id)),
        marks=tuple(_mark_from(one) for one in of(MarkRow, MarkRow.id)),
    )


def sale_at(session: Session, token: str) -> int | None:
    """The number of the sale at a customer's address."""
    return session.exec(select(SaleRow.id).where(col(SaleRow.token) == token)).first()


def sale_of_quote(session: Session, quote_token: str) -> int | None:
    """The number of the sale that a quote became."""
    if not quote_token:
        return None
    return session.exec(select(SaleRow.id).where(col(SaleRow.quote_token) == quote_token)).first()


def sale_under(session: Session, key: str) -> int | None:
    """The number of the sale that a form's key made."""
    return session.exec(select(SaleRow.id).where(col(SaleRow.key) == key)).first()


def sales_with_code(session: Session, code: str) -> list[int]:
    """The numbers of the sales with a code."""
    return [one for one in session.exec(select(SaleRow.id).where(col(SaleRow.code) == code)) if one is not None]


def hold_of_sale(session: Session, sale_id: int) -> int | None:
    """The hold by which a sale's parts are set aside; None where there is none."""
    return session.exec(select(SaleRow.hold_id).where(col(SaleRow.id) == sale_id)).first()


def next_number(session: Session) -> int:
    """The next number of the papers' series, locked until this transaction ends: what is rolled back gives its number back."""
    wanted = select(SeriesRow).where(col(SeriesRow.name) == PAPERS).with_for_update()
    row = session.exec(wanted.execution_options(populate_existing=True)).one()
    row.last += 1
    session.flush()
    return row.last


def add_paper(session: Session, sale_id: int, paper: Paper) -> None:
    """Keep a new paper of a sale."""
    session.add(
        PaperRow(
            number=paper.number,
            sale_id=sale_id,
            kind=paper.kind,
            day=paper.day,
            lines=_LINES.dump_json(paper.lines).decode(),
            vat=_VAT.dump_json(paper.vat).decode(),
            why=paper.why,
            corrects=paper.corrects,
            by=paper.by,
        )
    )
    session.flush()


def load_paper(session: Session, number: int) -> tuple[Paper, int] | None:
    """A paper by its number in the series, with the number of its sale."""
    row = session.get(PaperRow, number)
    return None if row is None else (_paper_from(row), row.sale_id)


def load_papers(session: Session, first: date, last: date) -> list[tuple[Paper, int]]:
    """The papers of some days, both included, by number, each with the number of its sale."""
    wanted = (
        select(PaperRow).where(col(PaperRow.day) >= first, col(PaperRow.day) <= last).order_by(col(PaperRow.number))
    )
    return [(_paper_from(row), row.sale_id) for row in session.exec(wanted)]


def add_settlement(
    session: Session, sale_id: int, means: Means, amount: int, day: date, at: datetime, by: str, note: str = ""
) -> None:
    """Keep what was paid."""
    session.add(SettlementRow(sale_id=sale_id, means=means, amount=amount, day=day, at=at, by=by, note=note))
    session.flush()


def add_mark(
    session: Session,
    sale_id: int,
    kind: MarkKind,
    at: datetime,
    by: str,
    key: str,
    why: str = "",
    about: Mapping[str, Any] | None = None,
) -> None:
    """Keep that something was done, once for each key."""
    text = json.dumps(about or {}, ensure_ascii=False)
    session.add(MarkRow(sale_id=sale_id, kind=kind, at=at, by=by, why=why, about=text, key=key))
    session.flush()


def load_sales(session: Session, numbers: Sequence[int]) -> list[Sale]:
    """Some sales by their numbers, in that order; those that are not there are left out."""
    found = (load_sale(session, number) for number in numbers)
    return [sale for sale in found if sale is not None]


def newest_sales(session: Session, most: int) -> list[int]:
    """The numbers of the newest sales, newest first."""
    wanted = select(SaleRow.id).order_by(col(SaleRow.id).desc()).limit(most)
    return [number for number in session.exec(wanted) if number is not None]
