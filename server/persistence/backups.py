"""All rows of all tables read and put back, whatever the revision of the schema; and which backups were made.

Tables are looked at in the database itself, since those of an older revision are not the program's.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any

from sqlalchemy import Connection, MetaData, Table, delete, func, insert, inspect, text, types
from sqlalchemy import select as select_columns
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session, SQLModel, col, select

from server.domain.backups import Column, Kind, Row
from server.domain.errors import Conflict, Fault, InvalidInput
from server.persistence.engine import Place, engine_for, reaching, sessions
from server.persistence.migrate import VERSION_TABLE, changing_schema, dangling, revision_of, upgrade
from server.persistence.tables import BackupRow, DeedRow

KINDS: tuple[tuple[type[types.TypeEngine[Any]], Kind], ...] = (
    (types.Boolean, "truth"),
    (types.DateTime, "moment"),
    (types.Date, "day"),
    (types.LargeBinary, "bytes"),
    (types.Float, "real"),
    (types.Integer, "whole"),
    (types.String, "text"),
)
AT_ONCE, PICTURES_AT_ONCE = 1000, 10
FUNCTIONS = ("deeds_stay",)
"""What the steps make beside tables, on PostgreSQL."""


@dataclass(frozen=True)
class Stored:
    """Every table of a database, each after those it refers to, as one transaction sees it."""

    connection: Connection
    revision: str
    _tables: dict[str, Table] = field(repr=False)

    @classmethod
    def of(cls, connection: Connection) -> Stored:
        """The tables that are there now."""
        found = MetaData()
        found.reflect(connection)
        tables = {table.name: table for table in found.sorted_tables if table.name != VERSION_TABLE}
        return cls(connection, revision_of(connection) or "", tables)

    @property
    def columns(self) -> dict[str, tuple[Column, ...]]:
        """The columns of each table and what stands in them."""
        return {
            name: tuple(Column(column.name, _kind_of(column.type)) for column in table.columns)
            for name, table in self._tables.items()
        }

    def number(self) -> int:
        """How many rows there are in all."""
        return sum(
            self.connection.execute(select_columns(func.count()).select_from(table)).scalar_one()
            for table in self._tables.values()
        )

    def rows(self, name: str, columns: tuple[Column, ...]) -> Iterator[Row]:
        """A table's rows in the order of its key, fetched some at a time."""
        table = self._tables[name]
        wanted = select_columns(*(table.columns[column.name] for column in columns)).order_by(*table.primary_key)
        outward = [OUTWARD.get(column.kind, _as_it_is) for column in columns]
        for row in self.connection.execute(wanted, execution_options={"yield_per": _at_once(columns)}):
            yield [None if value is None else out(value) for out, value in zip(outward, row, strict=True)]

    def put(self, name: str, columns: tuple[Column, ...], rows: Iterable[Row]) -> None:
        """Put rows into an empty table, some at a time; raises `InvalidInput` where the database does not take one."""
        inward = [_inward(column, self.connection.dialect.name == "sqlite") for column in columns]
        into, coming = insert(self._tables[name]), iter(rows)
        while some := list(islice(coming, _at_once(columns))):
            try:
                values = [dict(take(value) for take, value in zip(inward, row, strict=True)) for row in some]
                self.connection.execute(into, values)
            except (SQLAlchemyError, ValueError, TypeError, OverflowError) as error:
                raise InvalidInput([Fault("file", f"A row of its table {name} cannot be put in.")]) from error

    def empty(self) -> None:
        """Take away what the steps themselves put into tables."""
        for table in reversed(self._tables.values()):
            self.connection.execute(delete(table))

    def bring_up(self, at: datetime, who: str, deed: str) -> None:
        """Bring the schema to the newest revision, let numbers go on after the highest, and write down who did it.

        Raises `InvalidInput` where a row refers to one that is not there.
        """
        if dangling(self.connection):
            raise InvalidInput([Fault("file", "It has rows that refer to rows that it does not have.")])
        upgrade(self.connection)
        if self.connection.dialect.name == "postgresql":
            for table in Stored.of(self.connection)._tables.values():
                _set_series(self.connection, table)
        self.connection.execute(insert(DeedRow), {"at": at, "who": who, "what": deed, "whom": "", "address": ""})


@contextmanager
def reading_all(place: Place) -> Iterator[Stored]:
    """Every table as it is at one moment, however long it is read and whoever writes meanwhile; nothing is migrated."""
    with reaching(place):
        engine = engine_for(place)
    try:
        with sessions(engine)(False) as session:
            with reaching(place):
                stored = Stored.of(session.connection())
            yield stored
    finally:
        engine.dispose()


@contextmanager
def replacing_all(place: Place, revision: str) -> Iterator[Stored]:
    """An empty schema of a revision in place of all that is there, which is gone once this ends well, and whole again else.

    Raises `Conflict` while anybody else is connected, and where there are tables that are none of the shop's.
    """
    with reaching(place):
        place.data.mkdir(parents=True, exist_ok=True, mode=0o700)
        engine = engine_for(place)
        engine.connect().close()
    try:
        with changing_schema(engine, alone=True) as connection:
            _tear_down(connection)
            upgrade(connection, revision)
            stored = Stored.of(connection)
            stored.empty()
            yield stored
    finally:
        engine.dispose()


def _kind_of(kind: types.TypeEngine[Any]) -> Kind:
    return next(name for sort, name in KINDS if isinstance(kind, sort))


def _at_once(columns: tuple[Column, ...]) -> int:
    return PICTURES_AT_ONCE if any(column.kind == "bytes" for column in columns) else AT_ONCE


def _as_it_is(value: Any) -> Any:
    return value


def _moment_out(value: datetime) -> str:
    """A moment without its zone, which is UTC; SQLite has it so."""
    return (value if value.tzinfo is None else value.astimezone(UTC).replace(tzinfo=None)).isoformat()


OUTWARD: dict[Kind, Callable[[Any], Any]] = {
    "moment": _moment_out,
    "day": date.isoformat,
    "bytes": lambda value: base64.b64encode(value).decode(),
    "real": float,
}
INWARD: dict[Kind, Callable[[Any], Any]] = {
    "day": date.fromisoformat,
    "bytes": lambda value: base64.b64decode(value, validate=True),
    "real": float,
}


def _inward(column: Column, is_sqlite: bool) -> Callable[[Any], tuple[str, Any]]:
    """How a value of a backup becomes one of a row, with its column's name."""
    read = INWARD.get(column.kind, _as_it_is)
    if column.kind == "moment":
        zone = None if is_sqlite else UTC
        return lambda value: (column.name, value and datetime.fromisoformat(value).replace(tzinfo=zone))
    return lambda value: (column.name, None if value is None else read(value))


def _tear_down(connection: Connection) -> None:
    """Take every table of the shop away; raises `Conflict`, and takes none, where there are others beside them."""
    names = set(inspect(connection).get_table_names())
    strange = sorted(names - set(SQLModel.metadata.tables) - {VERSION_TABLE})
    if strange:
        words = f"There are tables in it that are none of this program's: {', '.join(strange)}."
        raise Conflict([Fault("database", words, "a database for this shop alone")])
    is_postgres = connection.dialect.name == "postgresql"
    quoted = connection.dialect.identifier_preparer.quote
    for name in sorted(names):
        connection.execute(text(f"DROP TABLE {quoted(name)}{' CASCADE' if is_postgres else ''}"))
    for function in FUNCTIONS if is_postgres else ():
        connection.execute(text(f"DROP FUNCTION IF EXISTS {function}()"))


def _set_series(connection: Connection, table: Table) -> None:
    """Let the numbers that PostgreSQL gives begin after the highest that was put back."""
    for column in table.primary_key:
        asked = {"table": f'"{table.name}"', "column": column.name}
        series = connection.execute(text("SELECT pg_get_serial_sequence(:table, :column)"), asked).scalar()
        if series is not None:
            highest = connection.execute(select_columns(func.max(column))).scalar()
            connection.execute(select_columns(func.setval(series, highest or 1, highest is not None)))


def save_backup(session: Session, at: datetime, name: str, size: int, by: str) -> None:
    """Write down that a backup was made."""
    session.add(BackupRow(at=at, name=name, size=size, by=by))


def last_backup(session: Session) -> datetime | None:
    """When the newest backup was made."""
    return session.exec(select(BackupRow.at).order_by(col(BackupRow.at).desc()).limit(1)).first()
