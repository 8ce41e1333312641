"""The books of the catalogue: a step is there wholly or not at all, and once undone has left no trace."""

from __future__ import annotations

from datetime import date
from typing import Any

from sqlmodel import col, select

from server.persistence.tables import CatalogueRow, PartRow, PricePointRow, StepRow
from tests.bench.crash.books import Books
from tests.bench.crash.journal import Journal

STEPS_OF_NO_VERSION = """SELECT catalogue_step.version FROM catalogue_step LEFT JOIN catalogue_version
ON catalogue_version.version = catalogue_step.version WHERE catalogue_version.version IS NULL"""
UNDONE_BY_NONE = """SELECT step.version FROM catalogue_step AS step LEFT JOIN catalogue_step AS undoing
ON undoing.undoes = step.version WHERE step.undone_at IS NOT NULL
GROUP BY step.version HAVING COUNT(undoing.version) <> 1"""
UNDOES_A_STANDING = """SELECT undoing.version FROM catalogue_step AS undoing JOIN catalogue_step AS step
ON step.version = undoing.undoes WHERE step.undone_at IS NULL"""
PRICE = list(PartRow.model_fields).index("price")


def _parts(books: Books) -> dict[str, tuple[Any, ...]]:
    rows = books.session.exec(select(PartRow).order_by(col(PartRow.sku))).all()
    return {row.sku: tuple(getattr(row, name) for name in PartRow.model_fields) for row in rows}


def _points(books: Books) -> dict[str, list[tuple[Any, ...]]]:
    found: dict[str, list[tuple[Any, ...]]] = {}
    for row in books.session.exec(select(PricePointRow).order_by(col(PricePointRow.sku), col(PricePointRow.since))):
        found.setdefault(row.sku, []).append((row.since, row.price))
    return found


def remember_catalogue(books: Books) -> None:
    """The catalogue before anything was brought in."""
    books.memory.parts, books.memory.points = _parts(books), _points(books)
    books.memory.began_on = books.memory.day_of(books.now)
    for row in books.session.exec(select(CatalogueRow).order_by(col(CatalogueRow.version))):
        books.memory.newest["catalogue_version"] = row.version or 0


def check_catalogue(books: Books, owner: Journal) -> None:
    """Every part is as it was but for the prices of the steps that stand; versions and steps are one to one."""
    books.none_of(STEPS_OF_NO_VERSION, "a step of no version")
    books.none_of(UNDONE_BY_NONE, "a step was undone by none or by two")
    books.none_of(UNDOES_A_STANDING, "a step stands and was undone")
    steps = {row.version: row for row in books.session.exec(select(StepRow)).all()}
    began = books.memory.newest["catalogue_version"]
    versions = set(books.session.exec(select(CatalogueRow.version).where(col(CatalogueRow.version) > began)).all())
    books.must(versions == {one for one in steps if one > began}, "versions and steps are not one to one", versions)
    standing = [one for one, row in steps.items() if row.kind == "import" and row.undone_at is None and one > began]
    told = [one.step for one in owner.standing]
    books.must(sorted(standing) == told, "the steps that stand are not those that were answered", standing, told)
    prices = {sku: cents for one in owner.standing for sku, cents in one.prices.items()}
    _check_parts(books, prices)
    if (
        books.memory.day_of(books.now) == books.memory.began_on
    ):  # What was charged on a day that is over stays in the history.
        _check_points(books, prices, books.memory.began_on)


def _check_parts(books: Books, prices: dict[str, int]) -> None:
    found = _parts(books)
    for sku, before in books.memory.parts.items():
        expected = (*before[:PRICE], prices.get(sku, before[PRICE]), *before[PRICE + 1 :])
        books.must(found.pop(sku, ()) == expected, "a part is not as the steps that stand left it", sku)
    books.must(not found, "a part that nobody brought in", *found)


def _check_points(books: Books, prices: dict[str, int], day: date) -> None:
    """The price history is as it was but for one price of the day of a step that stands."""
    found = _points(books)
    for sku in {*books.memory.points, *found}:
        expected = books.memory.points.get(sku, [])
        if sku in prices:
            expected = [*(point for point in expected if point[0] != day), (day, prices[sku])]
        books.must(
            found.get(sku, []) == expected, "a price history is not as the steps left it", sku, found.get(sku), expected
        )
