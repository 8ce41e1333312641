"""The files of a catalogue folder, their columns, and how a cell of each is read; what is accepted stands beside it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from server.domain.catalogue import Part, PartSet, Spot
from server.domain.errors import Fault
from server.domain.sets import PARTS_ACCEPTED, skus_in
from server.domain.slots import EXTRA_SLOTS, SPARE, Measure, measures_of

PART_FILES = {
    "boards.csv": "board",
    "masts.csv": "mast",
    "fuselages.csv": "fuselage",
    "front_foils.csv": "front_foil",
    "tails.csv": "tail",
    "hand_wings.csv": "hand_wing",
    "extras.csv": "",
}
SPARES = "spares.csv"
"""A further file of parts, which may be absent."""
SETS = "sets.csv"
POLICY = "policy.toml"
FILES = (*PART_FILES, SPARES, SETS, "price_history.csv", "spots.csv", "lessons.csv", "delivery.csv", POLICY)
"""All files that a folder may have."""
MONTHS = tuple(f"{month:02d}" for month in range(1, 13))
NumberedRow = tuple[int, dict[str, Any]]
"""A row's number in a spreadsheet, and its values."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its name, how a cell is read, whether it may be blank (then it may also be left out), what is accepted."""

    name: str
    read: Callable[[str], Any]
    accepted: str
    may_be_blank: bool = False

    @property
    def is_number(self) -> bool:
        """Whether a comma in it can only be a decimal one."""
        return self.read.__qualname__.startswith(("_number", "_money"))


def _text(cell: str) -> str:
    if len(cell) > 200 or not cell.isprintable():
        raise ValueError
    return cell


def _sku(cell: str) -> str:
    if len(cell) > 40 or not cell.isprintable() or " " in cell:
        raise ValueError
    return cell


def _number(low: float, high: float) -> Callable[[str], float]:
    def read(cell: str) -> float:
        if not re.fullmatch(r"-?\d{1,9}(\.\d{1,9})?", cell, re.ASCII) or not low <= float(cell) <= high:
            raise ValueError
        return float(cell)

    return read


def _whole(low: int, high: int) -> Callable[[str], int]:
    def read(cell: str) -> int:
        if not re.fullmatch(r"\d{1,9}", cell, re.ASCII) or not low <= int(cell) <= high:
            raise ValueError
        return int(cell)

    return read


def _money(least: str) -> Callable[[str], int]:
    def read(cell: str) -> int:
        if not re.fullmatch(r"\d{1,6}(\.\d{1,2})?", cell, re.ASCII):
            raise ValueError
        amount = Decimal(cell)
        if not Decimal(least) <= amount <= 100_000:
            raise ValueError
        return int(amount * 100)

    return read


def _gtin(cell: str) -> str:
    """A GTIN of 8, 12, 13 or 14 digits with a right check digit (GS1 General Specifications, 7.9)."""
    if len(cell) not in (8, 12, 13, 14) or not re.fullmatch(r"\d+", cell, re.ASCII):
        raise ValueError
    total = sum(int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(cell[:-1])))
    if (10 - total % 10) % 10 != int(cell[-1]):
        raise ValueError
    return cell


def _day(cell: str) -> date:
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", cell, re.ASCII):
        raise ValueError
    day = date.fromisoformat(cell)
    if day.year not in YEARS:
        raise ValueError
    return day


def _word(*words: str) -> Callable[[str], str]:
    def read(cell: str) -> str:
        if cell not in words:
            raise ValueError
        return cell

    return read


PRICE = "money from 0.01 to 100000.00, such as 1249.00"
FEE = "money from 0.00 to 100000.00, such as 35.00"
DAY = "a day from 1900 to 2200, such as 2026-11-25"
YEARS = range(1900, 2201)  # A day is reckoned from, so the calendar has to go on before and after it.

_SHARED = (
    Column("sku", _sku, "1 to 40 characters without a space"),
    Column("name", _text, "text"),
    Column("maker", _text, "text"),
    Column("gtin", _gtin, "8, 12, 13 or 14 digits with a right check digit"),
    Column("price", _money("0.01"), PRICE),
    Column("cost", _money("0.01"), PRICE),
    Column("on_hand", _whole(0, 1_000_000), "a whole number, 0 or more"),
)
_MARKETED = (
    Column("markdown_price", _money("0.01"), PRICE + ", below the price", may_be_blank=True),
    Column("markdown_from", _day, DAY, may_be_blank=True),
    Column("sold", _word("yes", "no"), "yes or no", may_be_blank=True),
)
_EXTRA_SLOT = Column("slot", _word(*EXTRA_SLOTS), "one of: " + ", ".join(EXTRA_SLOTS))


def file_of(slot: str) -> str:
    """The file that parts of a slot stand in."""
    if slot == SPARE:
        return SPARES
    return next((file for file, of_slot in PART_FILES.items() if of_slot == slot), "extras.csv")


def values_of(part: Part) -> dict[str, Any]:
    """A part as the values of its columns."""
    values: dict[str, Any] = {
        "sku": part.sku,
        "name": part.name,
        "maker": part.maker,
        "gtin": part.gtin,
        "price": part.price,
        "cost": part.cost,
        "slot": part.slot,
        "sold": "yes" if part.sold else "no",
        **part.gear.measures,
    }
    if part.markdown is not None:
        values["markdown_price"] = part.markdown.price
        values |= {"markdown_from": part.markdown.since} if part.markdown.since else {}
    return values


def _measure_column(measure: Measure) -> Column:
    if measure.low is not None and measure.high is not None:
        read: Callable[[str], Any] = _number(measure.low, measure.high)
    else:
        read = _word(*measure.words) if measure.words else _text
    return Column(measure.name, read, measure.accepted, may_be_blank=not measure.in_file)


def part_columns(file: str) -> tuple[Column, ...]:
    """The columns of a file of parts."""
    slot = SPARE if file == SPARES else PART_FILES[file]
    measures = tuple(_measure_column(measure) for measure in measures_of(slot))
    return (*_SHARED, *measures, *(() if slot else (_EXTRA_SLOT,)), *_MARKETED)


SPOT_COLUMNS = (
    Column("name", _text, "text"),
    Column("water", _word("sea", "lake"), "sea or lake"),
    Column("min_depth_m", _number(0, 200), "metres from 0 to 200", may_be_blank=True),
    Column("gust_ratio", _number(1, 3), "a number from 1 to 3"),
    Column("safe_share", _number(0, 1), "a share from 0 to 1"),
    Column("safe_from_deg", _number(0, 360), "degrees from 0 to 360", may_be_blank=True),
    Column("safe_to_deg", _number(0, 360), "degrees from 0 to 360", may_be_blank=True),
    *(Column(f"mean_{month}", _number(1, 40), "knots from 1 to 40") for month in MONTHS),
    Column("k", _number(1, 4), "a number from 1 to 4", may_be_blank=True),
    *(Column(f"water_c_{month}", _number(-2, 35), "°C from -2 to 35", may_be_blank=True) for month in MONTHS),
)
LESSON_COLUMNS = (
    Column("kind", _sku, "one word"),
    Column("title", _text, "text"),
    Column("fee", _money("0.00"), FEE),
    Column("cost", _money("0.00"), FEE),
    Column("minutes", _whole(1, 1440), "whole minutes from 1 to 1440"),
    Column("places", _whole(1, 100), "a whole number from 1 to 100"),
)
ZONE_COLUMNS = (
    Column("zone", _text, "text"),
    Column("fee", _money("0.00"), FEE),
    Column("cost", _money("0.00"), FEE),
    Column("days", _text, "days, such as 3 or 2-4"),
)
HISTORY_COLUMNS = (
    Column("sku", _sku, "a SKU of the parts"),
    Column("from", _day, DAY),
    Column("price", _money("0.01"), PRICE),
    Column("sold", _word("yes", "no"), "yes or no", may_be_blank=True),
)


def _parts(cell: str) -> tuple[str, ...]:
    return tuple(_sku(sku) for sku in skus_in(cell))


SET_COLUMNS = (
    *(column for column in _SHARED if column.name not in ("cost", "on_hand")),
    Column("parts", _parts, PARTS_ACCEPTED),
    Column("sold", _word("yes", "no"), "yes or no", may_be_blank=True),
)


def read_cells(
    columns: Iterable[Column], given: Mapping[str, str], *, has_comma: bool = True, blank: str = "This is blank."
) -> tuple[dict[str, Any], list[Fault]]:
    """The values of one row by column, and a fault for each cell that is not accepted."""
    values: dict[str, Any] = {}
    faults = []
    for column in columns:
        cell = given.get(column.name, "").strip()
        if not cell and column.may_be_blank:
            continue
        try:
            if not cell:
                raise ValueError
            values[column.name] = column.read(cell.replace(",", ".") if has_comma and column.is_number else cell)
        except ValueError:
            message = f"{cell[:40]!r} is not accepted." if cell else blank
            faults.append(Fault(column.name, message, column.accepted))
    return values, faults


def spot_from(values: Mapping[str, Any]) -> Spot:
    """A spot from the values of its row."""
    return Spot(
        name=values["name"],
        water=values["water"],
        min_depth_m=values.get("min_depth_m"),
        gust_ratio=values["gust_ratio"],
        safe_share=values["safe_share"],
        safe_from_deg=values.get("safe_from_deg"),
        safe_to_deg=values.get("safe_to_deg"),
        means_kn=tuple(values[f"mean_{month}"] for month in MONTHS),
        shape=values.get("k", 2.0),
        water_c=tuple(values.get(f"water_c_{month}") for month in MONTHS),
    )


def set_from_row(values: Mapping[str, Any]) -> PartSet:
    """A set from the values of its row."""
    facts = {name: values[name] for name in ("sku", "name", "maker", "gtin", "price", "parts")}
    return PartSet(**facts, sold=values.get("sold", "yes") == "yes")
