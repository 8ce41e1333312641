"""A shop that outgrew its folder is copied whole into PostgreSQL and back, or not at all, and the books say so on both sides."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import SQLModel

from server.domain.errors import Conflict, NotFound
from server.domain.stock import Contact, Movement
from server.persistence.engine import Place, engine_for
from server.persistence.migrate import newest
from server.persistence.stock import save_movements
from server.usecases.copying import Copied, copy_shop
from server.usecases.opening import open_shop
from server.usecases.quotes import issue_quote
from server.usecases.stock import agree_to_quote
from tests.builders_accounts import load_deeds
from tests.builders_rows import every_row, fill_every_table
from tests.builders_sales import bought
from tests.builders_shop import learner
from tests.postgres import Cluster

pytestmark = pytest.mark.postgres


def silent(_stage: str, _done: int, _total: int) -> None:
    """Nobody watches."""


@pytest.fixture
def there(tmp_path: Path, postgres: Cluster) -> Place:
    """An empty PostgreSQL database."""
    return Place(tmp_path / "beside", postgres.url(postgres.create_database()))


@pytest.fixture
def lived_in(data: Path) -> Place:
    """A shop in a folder with a sale, an open hold, and a row in every table."""
    place = Place(data)
    shop = open_shop(place)
    bought(shop, mass_kg=72)
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    with shop.writing() as work:
        agree_to_quote(work, quote.token, Contact("Some One", "someone@example.org"), quote.revision)
    with shop.writing() as work:
        fill_every_table(work.session)
    shop.close()
    return place


def rows_at(place: Place) -> dict[str, list[tuple[object, ...]]]:
    shop = open_shop(place, seeded=False)
    with shop.reading() as work:
        rows = every_row(work.session)
    shop.close()
    return rows


def said(copied: Copied) -> dict[str, str]:
    assert copied.is_kept, [one for one in copied.compared if not one.agrees]
    return {one.what: one.there for one in copied.compared}


def test_everything_is_copied_the_books_agree_and_numbers_go_on_and_back_again(
    lived_in: Place, there: Place, tmp_path: Path
) -> None:
    before = rows_at(lived_in)
    assert all(before.values()), "the builder leaves no table empty"
    books = said(copy_shop(lived_in, there, silent, force=False))
    assert rows_at(there) == rows_at(lived_in) == before
    shop = open_shop(there, seeded=False)
    with shop.reading() as work:
        by_hand = work.session.connection()
        for name, sql in (
            ("quotes", "SELECT count(*) FROM quote"),
            ("pieces on hand by count", "SELECT sum(change) FROM stock_entry WHERE kind = 'count'"),
            ("photographs, bytes", "SELECT sum(length(content)) FROM photo"),
        ):
            assert books[name] == str(by_hand.execute(text(sql)).scalar_one())
        paid = by_hand.execute(text("SELECT sum(amount) FROM sale_settlement WHERE means = 'terminal'")).scalar_one()
        assert books["paid by terminal"] == f"{paid / 100:,.2f}"
        assert books["papers, invoice"].startswith("1: ")
        gross = by_hand.execute(text("SELECT gross FROM sale_paper WHERE kind = 'invoice'")).scalar_one()
        assert books["papers at 23 %, VAT"].startswith(f"{gross / 100:,.2f}, ")
        assert books["papers whose VAT cannot be read"] == "1", "the odd row"
        assert int(books["open holds"]) >= 1
        assert load_deeds(work.session)[-1].what == f"copied the shop from {lived_in.sqlite_file}"
    with shop.writing("Maeve") as work:
        save_movements(work.session, [Movement("EEL-105", "delivery", 1)], work.now, work.actor)
        work.commit()
        asked = work.session.connection()
        numbered = [name for name, table in SQLModel.metadata.tables.items() if "id" in table.columns]
        for name in numbered:
            series = asked.execute(text(f"SELECT pg_get_serial_sequence('\"{name}\"', 'id')")).scalar_one()
            following, highest = asked.execute(text(f"SELECT nextval('{series}'), max(id) FROM {name}")).one()
            assert following == highest + 1, name
        assert {"sale", "quote", "hold", "stock_entry"} <= {*numbered}
    shop.close()
    elsewhere = Place(tmp_path / "elsewhere")
    said(copy_shop(there, elsewhere, silent, force=False))
    assert rows_at(elsewhere) == rows_at(there)


def test_a_shop_that_is_there_or_in_use_stays_as_it_is(lived_in: Place, there: Place) -> None:
    with pytest.raises(NotFound, match="no shop"):
        copy_shop(Place(there.data), there, silent, force=False)
    said(copy_shop(lived_in, there, silent, force=False))
    before = rows_at(there)
    with pytest.raises(Conflict, match="would be gone"):
        copy_shop(lived_in, there, silent, force=False)
    for used in (lived_in, there):
        serving = open_shop(used)
        with serving.reading() as work:
            assert every_row(work.session)["part"]
        for one, other in ((lived_in, there), (there, lived_in)):
            with pytest.raises(Conflict, match="stop every server"):
                copy_shop(one, other, silent, force=True)
        serving.close()
    assert rows_at(there) == before
    said(copy_shop(lived_in, there, silent, force=True))
    assert rows_at(there) == before


def changed(place: Place, sql: str) -> None:
    engine = engine_for(place)
    with engine.execution_options(writing=True).begin() as connection:
        connection.execute(text(sql))
    engine.dispose()


def test_where_the_two_sides_differ_nothing_is_kept(lived_in: Place, there: Place) -> None:
    """SQLite keeps half a piece in a column of whole numbers, PostgreSQL rounds it."""
    columns = "sku, kind, change, held, at, by, why"
    half = f"INSERT INTO stock_entry ({columns}) SELECT sku, 'delivery', 2.5, 0, at, by, '' FROM stock_entry LIMIT 1"
    changed(lived_in, half)
    copied = copy_shop(lived_in, there, silent, force=False)
    wrong = [one for one in copied.compared if not one.agrees]
    assert [one.what for one in wrong] == ["pieces on hand by delivery", "table stock_entry"]
    assert float(wrong[0].here) != float(wrong[0].there)
    assert there.is_empty()


def test_a_shop_of_another_version_is_served_once_before_it_is_copied(lived_in: Place, there: Place) -> None:
    changed(lived_in, "UPDATE alembic_version SET version_num = '0006'")
    with pytest.raises(Conflict, match="another version") as refused:
        copy_shop(lived_in, there, silent, force=False)
    assert (newest() or "-") in refused.value.faults[0].accepted
    assert there.is_empty()
