"""The order to take away: its rows, and its workbook with a sheet for each maker."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

from server.domain.money import Cents
from server.domain.order_list import MakersOrder, UnlistedLine
from server.domain.slots import SLOT_WORDS
from server.outside.workbook import Cell
from server.web.pages.number_tables import size_words

COLUMNS = ("maker", "sku", "gtin", "name", "pieces", "cost_each", "sum")
NOT_IN_A_SHEETS_NAME = re.compile(r"[\[\]:*?/\\']")
LONGEST_SHEETS_NAME = 31


def rows_of(makers: Sequence[MakersOrder], amount: Callable[[Cents], Cell]) -> list[list[Cell]]:
    """What is ordered of each maker, part by part."""
    return [
        [maker.maker, part.sku, part.gtin, part.name, pieces, amount(part.cost), amount(part.cost * pieces)]
        for maker in makers
        for part, pieces in maker.parts
    ]


def unlisted_rows(unlisted: Sequence[UnlistedLine]) -> list[list[Cell]]:
    """What is ordered of sizes that the shop does not list: the size in place of a SKU, no maker, no cost."""
    return [
        [
            "",
            about_words(line),
            "",
            f"{SLOT_WORDS[line.wanted.slot]}, a size the shop does not list",
            line.pieces,
            "",
            "",
        ]
        for line in unlisted
        if line.pieces
    ]


def about_words(line: UnlistedLine) -> str:
    """The size to ask makers for, with what it has to join: about 177 l."""
    joins = "".join(f", {join}" for join in line.wanted.joins)
    return f"about {size_words(line.wanted.slot, line.size)}{joins}".replace("\N{NO-BREAK SPACE}", " ")


def _as_number(cents: Cents) -> float:
    return cents / 100


def sheets_of(makers: Sequence[MakersOrder], unlisted: Sequence[UnlistedLine] = ()) -> dict[str, list[list[Cell]]]:
    """The order as sheets of a workbook; names of sheets are cut to what a workbook takes, and none stands there twice."""
    sheets: dict[str, list[list[Cell]]] = {"Order": _with_sum(makers, unlisted_rows(unlisted))}
    for maker in makers:
        name = NOT_IN_A_SHEETS_NAME.sub(" ", maker.maker)[:LONGEST_SHEETS_NAME].strip() or "Maker"
        number = 2
        while name.lower() in {other.lower() for other in sheets}:
            name = f"{name[: LONGEST_SHEETS_NAME - 4]} {number}"
            number += 1
        sheets[name] = _with_sum([maker], [])
    return sheets


def _with_sum(makers: Sequence[MakersOrder], unlisted: list[list[Cell]]) -> list[list[Cell]]:
    pieces = sum(maker.pieces for maker in makers)
    cost = sum(maker.cost for maker in makers)
    total: list[Cell] = ["sum", "", "", "", pieces, "", _as_number(cost)]
    return [list(COLUMNS), *rows_of(makers, _as_number), *unlisted, total]
