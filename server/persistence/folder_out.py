"""A catalogue written as the tables that `folder` reads: reading them again gives the same catalogue."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from typing import Any

import tomli_w

from server.domain.catalogue import Catalogue, LessonKind, Part, PartSet, Spot, Zone
from server.domain.csv_text import csv_of
from server.domain.deposits import decimal_of
from server.domain.prices import NOT_SOLD
from server.domain.sets import said_parts
from server.persistence.columns import (
    HISTORY_COLUMNS,
    LESSON_COLUMNS,
    PART_FILES,
    POLICY,
    SET_COLUMNS,
    SETS,
    SPARES,
    SPOT_COLUMNS,
    ZONE_COLUMNS,
    file_of,
    part_columns,
)

Rows = list[dict[str, str]]


def tables_of(catalogue: Catalogue, on_hand: Mapping[str, int]) -> dict[str, list[list[str]]]:
    """The tables by the names of their files, a header row first; parts that were retired are not in them."""
    listed = {sku: part for sku, part in catalogue.parts.items() if not part.retired}
    tables = {
        file: _table(
            part_columns(file), [cells_of(part, on_hand) for part in listed.values() if file_of(part.slot) == file]
        )
        for file in (*PART_FILES, SPARES)
    }
    tables[SETS] = _table(SET_COLUMNS, [set_row(one) for one in catalogue.sets.values() if not one.retired])
    tables["price_history.csv"] = _table(HISTORY_COLUMNS, _history(listed, catalogue))
    tables["spots.csv"] = _table(SPOT_COLUMNS, [spot_row(spot) for spot in catalogue.spots.values()])
    tables["lessons.csv"] = _table(LESSON_COLUMNS, [kind_row(kind) for kind in catalogue.lessons.values()])
    tables["delivery.csv"] = _table(ZONE_COLUMNS, [zone_row(zone) for zone in catalogue.zones.values()])
    return tables


def _table(columns: Sequence[Any], rows: Rows) -> list[list[str]]:
    names = [column.name for column in columns]
    return [names, *([row.get(name, "") for name in names] for row in rows)]


def cells_of(part: Part, on_hand: Mapping[str, int]) -> dict[str, str]:
    """A part as the cells of its row."""
    row = {
        "sku": part.sku,
        "name": part.name,
        "maker": part.maker,
        "gtin": part.gtin,
        "price": decimal_of(part.price),
        "cost": decimal_of(part.cost),
        "on_hand": str(max(0, on_hand.get(part.sku, 0))),
        "slot": part.slot,
        "sold": "" if part.sold else "no",
    }
    if part.markdown is not None:
        since = part.markdown.since
        row |= {
            "markdown_price": decimal_of(part.markdown.price),
            "markdown_from": since.isoformat() if since else "",
        }
    return row | {name: _number(value) for name, value in part.gear.measures.items()}


def _history(listed: Mapping[str, Part], catalogue: Catalogue) -> Rows:
    """What was charged for the parts; from a day on which one was not on sale, its list price and that it was not."""
    points = [(part, point) for sku, part in listed.items() for point in catalogue.history.get(sku, ())]
    return [
        {
            "sku": point.sku,
            "from": point.since.isoformat(),
            "price": decimal_of(point.price or part.price),
            "sold": "no" if point.price == NOT_SOLD else "",
        }
        for part, point in sorted(points, key=lambda row: (row[1].sku, row[1].since))
    ]


def set_row(one: PartSet) -> dict[str, str]:
    """A set as the cells of its row."""
    return {
        "sku": one.sku,
        "name": one.name,
        "maker": one.maker,
        "gtin": one.gtin,
        "price": decimal_of(one.price),
        "parts": said_parts(one.parts),
        "sold": "" if one.sold else "no",
    }


def kind_row(kind: LessonKind) -> dict[str, str]:
    """A kind of lesson as the cells of its row."""
    return {
        "kind": kind.kind,
        "title": kind.title,
        "fee": decimal_of(kind.fee),
        "cost": decimal_of(kind.cost),
        "minutes": str(kind.minutes),
        "places": str(kind.places),
    }


def zone_row(zone: Zone) -> dict[str, str]:
    """A zone as the cells of its row."""
    return {"zone": zone.zone, "fee": decimal_of(zone.fee), "cost": decimal_of(zone.cost), "days": zone.days}


def spot_row(spot: Spot) -> dict[str, str]:
    """A spot as the cells of its row."""
    row = {
        "name": spot.name,
        "water": spot.water,
        "min_depth_m": _number(spot.min_depth_m),
        "gust_ratio": _number(spot.gust_ratio),
        "safe_share": _number(spot.safe_share),
        "safe_from_deg": _number(spot.safe_from_deg),
        "safe_to_deg": _number(spot.safe_to_deg),
        "k": _number(spot.shape),
    }
    for month, (mean, water) in enumerate(zip(spot.means_kn, spot.water_c, strict=True), start=1):
        row |= {f"mean_{month:02d}": _number(mean), f"water_c_{month:02d}": _number(water)}
    return row


def _number(value: float | str | None) -> str:
    """A number without an exponent and without a point where it is whole; text as it is; nothing for what is unknown."""
    if value is None or isinstance(value, str):
        return value or ""
    if float(value).is_integer():
        return str(int(value))
    return format(Decimal(repr(float(value))), "f")


def policy_as_toml(terms: Mapping[str, Any]) -> bytes:
    """The policy's tables as TOML."""
    return tomli_w.dumps(terms).encode()


def files_of(catalogue: Catalogue, on_hand: Mapping[str, int], terms: Mapping[str, Any] | None) -> dict[str, bytes]:
    """Everything as files of a catalogue folder."""
    files = {file: csv_of(rows) for file, rows in tables_of(catalogue, on_hand).items()}
    return files | ({POLICY: policy_as_toml(terms)} if terms is not None else {})


def sheets_of(catalogue: Catalogue, on_hand: Mapping[str, int]) -> dict[str, list[list[str | float]]]:
    """Everything but the policy as sheets, numbers as numbers; a SKU, a name or a GTIN stays text."""
    columns = {
        SETS: SET_COLUMNS,
        "price_history.csv": HISTORY_COLUMNS,
        "spots.csv": SPOT_COLUMNS,
        "lessons.csv": LESSON_COLUMNS,
        "delivery.csv": ZONE_COLUMNS,
        **{file: part_columns(file) for file in (*PART_FILES, SPARES)},
    }
    sheets: dict[str, list[list[str | float]]] = {}
    for file, (header, *rows) in tables_of(catalogue, on_hand).items():
        are_numbers = [column.is_number for column in columns[file]]
        body: list[list[str | float]] = [
            [float(cell) if is_number and cell else cell for cell, is_number in zip(row, are_numbers, strict=True)]
            for row in rows
        ]
        sheets[file.removesuffix(".csv")] = [list(header), *body]
    return sheets
