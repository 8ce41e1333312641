"""Random learners, and random shelves of any number of parts, named by a seed.

Prices follow size to the power 0.8 with log-normal noise of 0.3."""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

from server.domain.catalogue import Catalogue, Gear, MeasureValue, Part, Shelf
from server.domain.slots import EXTRA_SLOTS, SIZES
from server.persistence.columns import PART_FILES
from tests.builders_imports import Sheet, many_parts

SHARES = {"board": 0.24, "mast": 0.14, "fuselage": 0.10, "front_foil": 0.18, "tail": 0.14, "hand_wing": 0.20}
RANGES = {
    "board": ("volume_l", 60.0, 165.0, 180_000),
    "mast": ("length_cm", 60.0, 95.0, 70_000),
    "fuselage": ("length_cm", 52.0, 76.0, 25_000),
    "front_foil": ("area_cm2", 900.0, 2400.0, 80_000),
    "tail": ("area_cm2", 180.0, 340.0, 30_000),
    "hand_wing": ("area_m2", 2.5, 7.0, 110_000),
}
TRACKS, MOUNTS = ("rail", "box"), ("cone", "saddle")


def shelf(parts: int, seed: int = 1) -> Shelf:
    """A shelf of about so many core parts, all of them in stock."""
    draw = random.Random(seed)
    made: list[Part] = []
    for slot, share in SHARES.items():
        for number in range(round(parts * share)):
            name, low, high, price = RANGES[slot]
            size = round(draw.uniform(low, high), 1)
            middle = (low + high) / 2
            cents = round(price * (size / middle) ** 0.8 * draw.lognormvariate(0, 0.3))
            made.append(_part(f"{slot[:2].upper()}{number:05d}", slot, cents, {name: size}, draw))
    return Shelf(Catalogue({part.sku: part for part in made}), {part.sku: draw.randint(1, 6) for part in made})


def _part(sku: str, slot: str, cents: int, size: dict[str, MeasureValue], draw: random.Random) -> Part:
    measures: dict[str, MeasureValue] = {**size, "track": draw.choice(TRACKS), "mount": draw.choice(MOUNTS)}
    if slot == "board":
        measures |= {"length_cm": 175.0, "width_cm": draw.uniform(60, 85), "thickness_cm": 12.5, "bottom": "flat"}
    if slot == "front_foil":
        measures["aspect_ratio"] = draw.uniform(4.5, 9)
    return Part(sku, sku, "Maker", "", cents, cents // 2, Gear(slot, measures))


def extras() -> dict[str, Part]:
    """Three sizes of every extra there is."""
    named = [(slot, f"{slot.upper()}-{size}", size) for slot in EXTRA_SLOTS for size in range(3)]
    return {
        sku: Part(sku, sku, "Maker", "", 50_00 + 10_00 * size, 25_00, Gear(slot, {"mass_kg": 1.0}))
        for slot, sku, size in named
    }


def drawn_parts(number: int, seed: int = 1) -> dict[str, Sheet]:
    """Sheets of so many new parts to bring in, as `many_parts` makes them, but the core parts no two alike: of any size that their
    kind has, at prices of such a shelf, nothing marked down."""
    draw, sheets = random.Random(seed), many_parts(number)
    for file, slot in PART_FILES.items():
        if slot:
            _draw(draw, sheets[file.removesuffix(".csv")], SIZES[slot])
    return sheets


def _draw(draw: random.Random, sheet: Sheet, measure: str) -> None:
    """Give each row of a sheet a size and a price of its own; spans go with the root of an area, so that the shape stays."""
    header, *rows = sheet
    place = {str(name): column for column, name in enumerate(header)}
    sizes = [float(row[place[measure]]) for row in rows]
    for row, was in zip(rows, sizes, strict=True):
        size = round(draw.uniform(min(sizes), max(sizes)), 2)
        price = round(float(row[place["price"]]) * (size / was) ** 0.8 * draw.lognormvariate(0, 0.3), 2)
        row[place[measure]], row[place["price"]], row[place["cost"]] = size, price, round(price / 2, 2)
        row[place["markdown_price"]] = row[place["markdown_from"]] = ""
        if "span_cm" in place:
            row[place["span_cm"]] = round(float(row[place["span_cm"]]) * (size / was) ** 0.5, 1)


def learners(number: int, seed: int = 7) -> Iterator[dict[str, Any]]:
    """Different learners, steady and lively."""
    draw = random.Random(seed)
    for _ in range(number):
        yield {
            "mass_kg": round(draw.uniform(45, 115), 1),
            "to_feet": draw.choice(("quick", "average", "slow")),
            "fitness": draw.choice(("high", "fair", "low")),
            "board_background": draw.choice(("strong", "some", "none")),
            "foil_stage": draw.choice(("none", "towed", "short_flights", "long_flights", "turning")),
            "usual_wind_kn": draw.choice((12, 15, 18, 22)),
        }
