"""Used and demonstration pieces in the database."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from typing import cast

from sqlmodel import Session, col, select

from server.domain.pieces import Piece, PieceState, Source
from server.domain.sales import Scheme
from server.persistence.tables import PieceRow, SaleItemRow


def add_piece(session: Session, piece: Piece, at: datetime, by: str) -> int:
    """Keep a new piece; its number."""
    row = PieceRow(
        token=piece.token,
        source=piece.source,
        state=piece.state,
        slot=piece.slot,
        sku=piece.sku,
        name=piece.name,
        maker=piece.maker,
        serial=piece.serial,
        measures=_measures(piece),
        condition=piece.condition,
        hours=piece.hours,
        note=piece.note,
        price=piece.price,
        bought=piece.bought,
        scheme=piece.scheme,
        percent=str(piece.percent),
        due_about=piece.due_about,
        from_sale=piece.from_sale,
        from_item=piece.from_item,
        made_at=at,
        made_by=by,
        changed_at=at,
    )
    session.add(row)
    session.flush()
    return row.id or 0


def _measures(piece: Piece) -> str:
    return json.dumps(dict(piece.measures or {}), ensure_ascii=False, sort_keys=True)


def save_piece(session: Session, piece: Piece, at: datetime) -> None:
    """Keep what a piece is now; it has to be there."""
    row = session.get_one(PieceRow, piece.id)
    row.state, row.slot, row.sku, row.name, row.maker = piece.state, piece.slot, piece.sku, piece.name, piece.maker
    row.serial, row.measures, row.condition, row.hours = piece.serial, _measures(piece), piece.condition, piece.hours
    row.note, row.price, row.bought, row.scheme = piece.note, piece.price, piece.bought, piece.scheme
    row.percent, row.due_about, row.changed_at = str(piece.percent), piece.due_about, at


def piece_from(row: PieceRow) -> Piece:
    """A piece from its row."""
    return Piece(
        id=row.id or 0,
        token=row.token,
        source=cast(Source, row.source),
        state=cast(PieceState, row.state),
        slot=row.slot,
        name=row.name,
        maker=row.maker,
        condition=row.condition,
        bought=row.bought,
        scheme=cast(Scheme, row.scheme),
        percent=Decimal(row.percent),
        sku=row.sku,
        serial=row.serial,
        measures=json.loads(row.measures),
        hours=row.hours,
        note=row.note,
        price=row.price,
        due_about=row.due_about,
        from_sale=row.from_sale,
        from_item=row.from_item,
    )


def load_piece(session: Session, number: int, *, to_change: bool = False) -> Piece | None:
    """A piece by its number; with `to_change` nobody else changes it until this transaction ends."""
    wanted = select(PieceRow).where(col(PieceRow.id) == number)
    if to_change:
        wanted = wanted.with_for_update().execution_options(populate_existing=True)
    row = session.exec(wanted).first()
    return None if row is None else piece_from(row)


def pieces_from_sale(session: Session, sale_id: int, *, to_change: bool = False) -> list[Piece]:
    """The pieces that came or are to come with a sale, in order."""
    wanted = select(PieceRow).where(col(PieceRow.from_sale) == sale_id).order_by(col(PieceRow.id))
    if to_change:
        wanted = wanted.with_for_update().execution_options(populate_existing=True)
    return [piece_from(row) for row in session.exec(wanted)]


def load_pieces(session: Session, *, slot: str = "", states: Sequence[PieceState] = (), most: int = 400) -> list[Piece]:
    """Pieces in some states (all of them where none is named) and of a slot, the newest first."""
    wanted = select(PieceRow).order_by(col(PieceRow.id).desc()).limit(most)
    if slot:
        wanted = wanted.where(col(PieceRow.slot) == slot)
    if states:
        wanted = wanted.where(col(PieceRow.state).in_(states))
    return [piece_from(row) for row in session.exec(wanted)]


def piece_with_token(session: Session, token: str) -> int | None:
    """The number of the piece that a form made whose key is the piece's token."""
    return session.exec(select(PieceRow.id).where(col(PieceRow.token) == token)).first()


def sale_of_piece(session: Session, number: int) -> int | None:
    """The number of the newest sale of a piece, or None."""
    wanted = select(SaleItemRow.sale_id).where(col(SaleItemRow.piece) == number).order_by(col(SaleItemRow.id).desc())
    return session.exec(wanted).first()
