"""Sales in the database: the contract, its items, the papers in their series, what was paid, and what was done."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from decimal import Decimal
from typing import Any, cast

from pydantic import TypeAdapter
from sqlalchemy import bindparam, func, or_, update
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
from server.persistence.plain import plain_value, table_of
from server.persistence.tables import (
    CaseRow,
    HoldRow,
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
        row.buyer,
        row.policy_version,
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
    return _sales_from(session, [row])[0]


def _sales_from(session: Session, rows: Sequence[SaleRow]) -> list[Sale]:
    """Sales from their rows in that order, read table by table, however many there are."""
    numbers = [row.id for row in rows]

    def of(table: Any, order: Any) -> dict[int, list[Any]]:
        found: dict[int, list[Any]] = {}
        wanted = select(table).where(table.sale_id.in_(numbers)).order_by(order)
        for one in session.exec(wanted.execution_options(populate_existing=True)):
            found.setdefault(one.sale_id, []).append(one)
        return found

    items, papers = of(SaleItemRow, SaleItemRow.number), of(PaperRow, PaperRow.number)
    settlements, marks = of(SettlementRow, SettlementRow.id), of(MarkRow, MarkRow.id)
    return [
        Sale(
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
            items=tuple(_item_from(one) for one in items.get(row.id or 0, ())),
            papers=tuple(_paper_from(one) for one in papers.get(row.id or 0, ())),
            settlements=tuple(_settlement_from(one) for one in settlements.get(row.id or 0, ())),
            marks=tuple(_mark_from(one) for one in marks.get(row.id or 0, ())),
        )
        for row in rows
    ]


def sale_at(session: Session, token: str) -> int | None:
    """The number of the sale at a customer's address."""
    return session.exec(select(SaleRow.id).where(col(SaleRow.token) == token)).first()


_OF_QUOTE = select(table_of(SaleRow).c.id).where(table_of(SaleRow).c.quote_token == bindparam("token"))


def sale_of_quote(session: Session, quote_token: str) -> int | None:
    """The number of the sale that a quote became."""
    if not quote_token:
        return None
    found: int | None = plain_value(session, _OF_QUOTE, {"token": quote_token})
    return found


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
            gross=paper.gross,
            buyer=paper.buyer,
            policy_version=paper.policy_version,
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
    rows = {row.id: row for row in session.exec(select(SaleRow).where(col(SaleRow.id).in_(list(numbers))))}
    return _sales_from(session, [rows[number] for number in numbers if number in rows])


def newest_sales(session: Session, most: int) -> list[int]:
    """The numbers of the newest sales, newest first."""
    wanted = select(SaleRow.id).order_by(col(SaleRow.id).desc()).limit(most)
    return [number for number in session.exec(wanted) if number is not None]


def sales_with_serial(session: Session, serial: str, most: int) -> list[int]:
    """The numbers of the sales with an item whose serial number has these signs in it, newest first."""
    wanted = (
        select(SaleItemRow.sale_id)
        .where(func.upper(SaleItemRow.serial).contains(serial.upper(), autoescape=True))
        .distinct()
        .order_by(col(SaleItemRow.sale_id).desc())
        .limit(most)
    )
    return list(session.exec(wanted))


def sales_on_the_way(session: Session, most: int) -> list[int]:
    """The numbers of the sales of which something was sent and has not arrived yet, oldest first."""
    wanted = (
        select(SaleItemRow.sale_id)
        .where(
            col(SaleItemRow.sent_on).is_not(None),
            col(SaleItemRow.received_on).is_(None),
            col(SaleItemRow.gone) == "",
        )
        .distinct()
        .order_by(col(SaleItemRow.sale_id))
        .limit(most)
    )
    return list(session.exec(wanted))


def sale_with_hold(session: Session, hold_id: int) -> int | None:
    """The number of the sale whose parts a hold sets aside, or None."""
    return session.exec(select(SaleRow.id).where(col(SaleRow.hold_id) == hold_id)).first()


def serials_out(session: Session, sku: str, beside: tuple[int, int]) -> list[str]:
    """The serial numbers of a SKU that are with customers or on their way, beside one item: the number of its sale and its own."""
    wanted = select(SaleItemRow).where(
        col(SaleItemRow.sku) == sku,
        col(SaleItemRow.serial) != "",
        col(SaleItemRow.gone) == "",
        or_(col(SaleItemRow.received_on).is_not(None), col(SaleItemRow.sent_on).is_not(None)),
    )
    return [row.serial for row in session.exec(wanted) if (row.sale_id, row.number) != beside]


def unbalanced_sales(session: Session, most: int) -> list[int]:
    """The numbers of the sales in which one side owes the other, oldest first: so many where the customer does, and where we do."""
    papers = select(col(PaperRow.sale_id), func.sum(PaperRow.gross).label("sum")).group_by(col(PaperRow.sale_id))
    paid = select(col(SettlementRow.sale_id), func.sum(SettlementRow.amount).label("sum"))
    written, met = papers.subquery(), paid.group_by(col(SettlementRow.sale_id)).subquery()
    left = func.coalesce(written.c.sum, 0) - func.coalesce(met.c.sum, 0)
    wanted = (
        select(col(SaleRow.id))
        .outerjoin(written, written.c.sale_id == col(SaleRow.id))
        .outerjoin(met, met.c.sale_id == col(SaleRow.id))
        .order_by(col(SaleRow.id))
        .limit(most)
    )
    return [*session.exec(wanted.where(left > 0)), *session.exec(wanted.where(left < 0))]


def sales_with_goods_to_come(session: Session, most: int) -> list[int]:
    """The numbers of the sales of which something set aside, or a used piece, was not handed over or sent yet, oldest first."""
    wanted = (
        select(SaleItemRow.sale_id)
        .where(
            col(SaleItemRow.received_on).is_(None),
            col(SaleItemRow.sent_on).is_(None),
            col(SaleItemRow.gone) == "",
            or_(col(SaleItemRow.is_held), col(SaleItemRow.piece).is_not(None)),
        )
        .distinct()
        .order_by(col(SaleItemRow.sale_id))
        .limit(most)
    )
    return list(session.exec(wanted))


def refunds_due(session: Session, numbers: Iterable[int]) -> dict[int, date]:
    """The first day by which what is owed for a return that was done has to be paid, by sale; those without such a day are left out."""
    wanted = (
        select(CaseRow.sale_id, func.min(CaseRow.due_on))
        .where(
            col(CaseRow.sale_id).in_(list(numbers)),
            col(CaseRow.due_on).is_not(None),
            col(CaseRow.kind) == "return",
            col(CaseRow.outcome) != "",
            col(CaseRow.settled_at).is_(None),
        )
        .group_by(col(CaseRow.sale_id))
    )
    return {number: day for number, day in session.exec(wanted) if day is not None}


def last_number(session: Session) -> int:
    """The number of the newest paper; 0 where there is none."""
    return session.exec(select(SeriesRow.last).where(col(SeriesRow.name) == PAPERS)).one()


def paper_numbers(session: Session) -> list[int]:
    """The numbers of all papers, in order."""
    return list(session.exec(select(PaperRow.number).order_by(col(PaperRow.number))))


def forget_sales_before(session: Session, day: date) -> int:
    """Forget who bought, and where to it went, of the sales made before a day; how many there were."""
    old = select(SaleRow.id).where(col(SaleRow.made_on) < day, or_(col(SaleRow.name) != "", col(SaleRow.address) != ""))
    numbers = [number for number in session.exec(old) if number is not None]
    forget_sales(session, numbers)
    return len(numbers)


def forget_sales(session: Session, numbers: Sequence[int]) -> None:
    """Forget who made some sales.

    Of the papers the buyer goes and why they were written; what was said when something came back or was faulty, the notes of payments
    and the words about an address may name somebody and go as well. Sums, VAT and stock stay as they are.
    """
    rows = session.exec(select(SaleRow).where(col(SaleRow.id).in_(numbers))).all()
    for row in rows:
        row.name = row.email = row.phone = row.email_key = row.phone_key = row.address = ""
        row.may_write = False
    holds = [row.hold_id for row in rows if row.hold_id is not None]
    nobody = {"name": "", "email": "", "phone": "", "email_key": "", "phone_key": ""}
    session.exec(update(HoldRow).where(col(HoldRow.id).in_(holds)).values(**nobody))
    session.exec(update(PaperRow).where(col(PaperRow.sale_id).in_(numbers)).values(buyer="", why=""))
    for case in session.exec(select(CaseRow).where(col(CaseRow.sale_id).in_(numbers))):
        case.record = json.dumps({**json.loads(case.record), "text": ""}, ensure_ascii=False)
        if case.settled_at is not None:
            case.outcome = ""  # Of one that waits for its money it says only that it was done.
    session.exec(update(SettlementRow).where(col(SettlementRow.sale_id).in_(numbers)).values(note=""))
    session.exec(update(MarkRow).where(col(MarkRow.sale_id).in_(numbers)).values(why="", about="{}"))
