"""What the house knows about the tools it stands on, each as a small test, so that an upgrade tells."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from decimal import Decimal
from typing import Annotated, Any

import pytest
from fastapi import Depends, FastAPI
from jinja2 import DictLoader, Environment, StrictUndefined, UndefinedError
from sqlalchemy import Column, Float, MetaData, Numeric, Table, create_engine, text
from sqlmodel import SQLModel
from starlette.requests import Request
from starlette.types import Message, Scope

from server.persistence import tables
from server.persistence.tables import PartRow
from server.web.render import environment

# --- a block rendered alone does not see what stands at the top of its page

SOURCES = {
    "macros": "{% macro tide(word) %}{{ word }} tide{% endmacro %}",
    "page": '{% set word = "neap" %}{% import "macros" as parts %}{% block top %}{{ word }}{% endblock %}'
    '{% block call %}{{ parts.tide("spring") }}{% endblock %}{% block global %}{{ ui.tide("slack") }}{% endblock %}',
}


def block(name: str) -> str:
    """A block of the page, rendered alone, in an environment like ours."""
    env = Environment(loader=DictLoader(SOURCES), undefined=StrictUndefined, autoescape=True)
    env.globals["ui"] = env.get_template("macros").module
    page = env.get_template("page")
    return "".join(page.blocks[name](page.new_context()))


@pytest.mark.parametrize("name", ["top", "call"])
def test_a_block_alone_sees_neither_a_set_nor_an_import_of_its_page(name: str) -> None:
    with pytest.raises(UndefinedError):
        block(name)


def test_a_block_alone_sees_a_global() -> None:
    assert block("global") == "slack tide"


def test_our_own_macros_are_a_global_and_an_unknown_name_is_an_error() -> None:
    env = environment(lambda name: name)
    assert env.globals["ui"]
    assert env.undefined is StrictUndefined
    with pytest.raises(UndefinedError):
        env.from_string("{{ nobody_knows }}").render()


# --- a row validates nothing


def test_a_row_takes_anything_so_it_is_never_the_domains_value() -> None:
    told: dict[str, Any] = {"sku": 1, "price": "free", "sold": "perhaps"}
    row = PartRow(**told)
    assert {name: getattr(row, name) for name in told} == told


# --- SQLite keeps a decimal as a float


def test_sqlite_keeps_a_decimal_as_a_float() -> None:
    prices = Table("prices", MetaData(), Column("price", Numeric(20, 2)))
    engine = create_engine("sqlite://")
    with engine.connect() as connection:
        prices.create(connection)
        for price in ("0.10", "123456789012345678.01"):
            connection.execute(prices.insert().values(price=Decimal(price)))
        kinds = connection.execute(text("SELECT typeof(price) FROM prices")).scalars().all()
        found = connection.execute(prices.select()).scalars().all()
    engine.dispose()
    assert kinds == ["real", "integer"], (
        "no exact kind for decimals: a fraction is a float, and a large amount loses its cents"
    )
    assert found == [Decimal("0.10"), Decimal("123456789012345680")]


def test_no_column_of_ours_is_a_decimal_and_no_amount_is_a_float() -> None:
    names = {row.__tablename__ for row in vars(tables).values() if isinstance(row, type) and issubclass(row, SQLModel)}
    columns = [column for table in SQLModel.metadata.tables.values() if table.name in names for column in table.columns]
    assert {f"{column.table.name}.{column.name}" for column in columns if isinstance(column.type, Numeric | Float)} == {
        "unmet_demand.ideal",
        "booking.mass_kg",
        "booking.taught_share",
        "strand_reading.mean_kn",
        "strand_reading.gust_kn",
        "strand_reading.from_deg",
        "strand_reading.tide_m",
    }


# --- what stands after a dependency's yield runs after the answer has gone


def session(request: Request) -> Iterator[list[str]]:
    """A session that would commit after yield, and cannot."""
    yield request.app.state.marks
    request.app.state.marks.append("after yield")
    raise LookupError("too late")


def handle(marks: Annotated[list[str], Depends(session)]) -> str:
    """A handler that does its work."""
    marks.append("handled")
    return "done"


def test_a_commit_after_yield_would_fail_behind_an_answer_of_200() -> None:
    app = FastAPI()
    app.get("/")(handle)
    marks: list[str] = []
    app.state.marks = marks

    async def receive() -> Message:
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            marks.append(f"answered {message['status']}")

    scope: Scope = {"type": "http", "method": "GET", "path": "/", "query_string": b"", "headers": []}
    with pytest.raises(LookupError, match="too late"):
        asyncio.run(app(scope, receive, send))
    assert marks == ["handled", "answered 200", "after yield"]
