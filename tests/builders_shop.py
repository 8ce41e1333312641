"""Builders of what a shop works with: a clock to set, a catalogue folder to change, and the plain answers of a learner."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlmodel import Session, SQLModel, func, select

from server.domain.stock import Contact
from server.usecases.fit import fitter_for
from server.usecases.quotes import find_quote, read_quote
from server.usecases.stock import agree_to_quote, open_hold, release_hold
from server.usecases.work import Shop

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


class Clock:
    """A clock that stands still until it is set."""

    def __init__(self, now: datetime = NOON) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now

    def set(self, text: str) -> None:
        """Set it to a moment such as 2026-06-30T23:30+00:00."""
        self.now = datetime.fromisoformat(text)

    def forward(self, **units: float) -> None:
        """Turn it on by days, hours or minutes."""
        self.now += timedelta(**units)


def learner(**given: Any) -> dict[str, Any]:
    """The plain answers of a learner of 80 kg before the first flights, with what is given in place of the usual."""
    usual = {
        "mass_kg": 80,
        "to_feet": "average",
        "fitness": "fair",
        "board_background": "some",
        "foil_stage": "none",
    }
    return {**usual, **given}


STRONG = {"to_feet": "quick", "fitness": "high", "board_background": "strong"}
WING_OF_ONES_OWN = {"slot": "hand_wing", "area_m2": 5.5}


def number_of(session: Session, table: type[SQLModel]) -> int:
    """How many rows a table has."""
    return session.exec(select(func.count()).select_from(table)).one()


@dataclass(frozen=True)
class FolderCopy:
    """A catalogue folder that can be changed cell by cell; rows are numbered as a spreadsheet does, the header is row 1."""

    path: Path

    @classmethod
    def of(cls, source: Path, path: Path) -> FolderCopy:
        shutil.copytree(source, path)
        return cls(path)

    def rows(self, file: str) -> list[list[str]]:
        """All rows of a file, the header first."""
        with (self.path / file).open(encoding="utf-8", newline="") as lines:
            return list(csv.reader(lines))

    def write(self, file: str, rows: list[list[str]]) -> None:
        """Put rows in place of a file's."""
        with (self.path / file).open("w", encoding="utf-8", newline="") as lines:
            csv.writer(lines).writerows(rows)

    def row_of(self, file: str, first_cell: str) -> int:
        """The number of the row that begins with a cell."""
        return 1 + next(place for place, row in enumerate(self.rows(file)) if row[0] == first_cell)

    def get(self, file: str, row: int, column: str) -> str:
        """A cell."""
        rows = self.rows(file)
        return rows[row - 1][rows[0].index(column)]

    def set(self, file: str, row: int, column: str, cell: str) -> None:
        """Change a cell."""
        rows = self.rows(file)
        rows[row - 1][rows[0].index(column)] = cell
        self.write(file, rows)

    def set_all(self, file: str, column: str, change: Callable[[str], str]) -> None:
        """Change every cell of a column."""
        rows = self.rows(file)
        place = rows[0].index(column)
        self.write(file, [rows[0], *([*row[:place], change(row[place]), *row[place + 1 :]] for row in rows[1:])])

    def keep(self, file: str, wanted: Callable[[dict[str, str]], bool]) -> None:
        """Leave out the rows that are not wanted."""
        rows = self.rows(file)
        self.write(file, [rows[0], *(row for row in rows[1:] if wanted(dict(zip(rows[0], row, strict=True))))])

    def drop_column(self, file: str, column: str) -> None:
        """Leave a column out."""
        rows = self.rows(file)
        place = rows[0].index(column)
        self.write(file, [row[:place] + row[place + 1 :] for row in rows])

    def text(self, file: str) -> str:
        """A file's text."""
        return (self.path / file).read_bytes().decode("utf-8")

    def put(self, file: str, content: str | bytes) -> None:
        """Put a text, or bare bytes, in place of a file."""
        (self.path / file).write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))

    def swap(self, file: str, old: str, new: str) -> None:
        """Change a piece of text that a file must have."""
        text = self.text(file)
        if old not in text:
            raise ValueError(f"{file} has no {old!r}")
        self.put(file, text.replace(old, new, 1))

    def remove(self, file: str) -> None:
        """Take a file away."""
        (self.path / file).unlink()


def refused_part(shop: Shop, **told: Any) -> str:
    """A front foil in stock that the model refuses to this learner."""
    with shop.reading() as work:
        fitter = fitter_for(work, learner(**told))
        kit = fitter.recommended()
        assert kit is not None
        for part in fitter.shelf.core["front_foil"]:
            tried = fitter.kit({**kit.bought, "front_foil": part})
            if tried.refusals and not tried.barring:
                return part.sku
    raise AssertionError("every front foil suits")


def agreed(shop: Shop, code: str) -> str:
    """A quote by its code, agreed to by somebody of its own: its parts are held from now on."""
    with shop.writing() as work:
        quote = read_quote(work, find_quote(work, code))
        agree_to_quote(work, quote.token, Contact("Some One", email=f"{code.lower()}@example.org"), quote.revision)
    return code


def let_go(shop: Shop, code: str) -> None:
    """Free the parts that a quote holds, where it does."""
    with shop.writing("Maeve") as work:
        token = find_quote(work, code)
        if open_hold(work, token) is not None:
            release_hold(work, token, "They are sold.")
