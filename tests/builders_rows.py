"""A row of every table, with values that are hard to carry from one database to another."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlalchemy import Column, Table, select, types
from sqlmodel import Session, SQLModel

from server.persistence.tables import Moment
from tests.builders_shop import NOON

ODD_TEXT = "O'Brien „Ürsula“ 龍 🏄 \\ \" \t\r\n\x01\x7f\u2028 = 1"
ODD_BYTES = bytes(range(256)) * 8
ODD_REAL = 0.1 + 0.2
ODD_MOMENT = NOON.replace(microsecond=123_456)


def fill_every_table(session: Session, number: int = 901) -> None:
    """Put a row into each table; references lead to the row of this number put in before, or nowhere where they may."""
    keys: dict[str, Any] = {}
    for table in SQLModel.metadata.sorted_tables:
        values = {column.name: _value(table, column, keys, number) for column in table.columns}
        session.connection().execute(table.insert(), values)
        keys[table.name] = values[next(iter(table.primary_key)).name]
    session.commit()


def _value(table: Table, column: Column[Any], keys: dict[str, Any], number: int) -> Any:
    for key in column.foreign_keys:
        name = key.column.table.name
        return keys[name] if name != table.name else None
    if isinstance(column.type, Moment):
        return ODD_MOMENT
    if isinstance(column.type, types.String):
        return f"{number} {ODD_TEXT}"
    if isinstance(column.type, types.Boolean):
        return True
    if isinstance(column.type, types.Date):
        return date(2028, 2, 29)
    if isinstance(column.type, types.LargeBinary):
        return ODD_BYTES
    return ODD_REAL if isinstance(column.type, types.Float) else number


def every_row(session: Session) -> dict[str, list[tuple[Any, ...]]]:
    """All rows of all tables but of the record of deeds, each in an order that does not depend on the database."""
    connection = session.connection()
    return {
        table.name: sorted((tuple(row) for row in connection.execute(table.select())), key=repr)
        for table in SQLModel.metadata.sorted_tables
        if table.name != "deed"
    }


def fill_empty_tables(session: Session, number: int = 902) -> None:
    """Put a row into each table of a shop that has none; references lead to the last row of the other table."""
    keys: dict[str, Any] = {}
    connection = session.connection()
    for table in SQLModel.metadata.sorted_tables:
        key = next(iter(table.primary_key))
        there = connection.execute(select(key).order_by(key.desc()).limit(1)).scalar()
        if there is None:
            values = {column.name: _value(table, column, keys, number) for column in table.columns}
            connection.execute(table.insert(), values)
            there = values[key.name]
        keys[table.name] = there
    session.commit()
