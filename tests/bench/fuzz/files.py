"""Files for the forms that take some: photographs, a till's day, lists of the catalogue; right, odd and spoilt ones, all small."""

from __future__ import annotations

import random
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from functools import cache

from server.outside.zip_files import zip_of
from tests.bench.fuzz.probes import File
from tests.bench.fuzz.values import BYTES, MARK
from tests.builders_odd_files import ODD_FILES, spoilt, spoilt_inside, spreadsheet_of
from tests.builders_photos import SCRIPT, bomb, phone_photo
from tests.builders_sets import ROWS, WRONG_DAY

SMALL = (40, 30)
MOST_FILE_BYTES = 60_000
NAMES = (
    "a.jpg",
    "",
    "../../etc/passwd",
    "a\0.png",
    "C:\\x\\boards.csv",
    f"{MARK}>.zip",
    "ж.xlsx",
    "x" * 5000,
    '"',
    ".",
    "a.exe",
)
KINDS = ("image/jpeg", "text/csv", "application/x-sh", "", "text/html", "image/svg+xml", "x" * 300, "multipart/mixed")


@cache
def photos() -> tuple[File, ...]:
    """Small photographs of each kind that is taken, turned as telephones turn them."""
    kinds = (("JPEG", "jpeg"), ("PNG", "png"), ("WEBP", "webp"))
    made = [File(f"photo.{end}", phone_photo(SMALL, orientation=6, kind=kind), f"image/{end}") for kind, end in kinds]
    return tuple(made)


@cache
def lists() -> tuple[File, ...]:
    """A list of prices in each of the formats that are taken, and a policy."""
    sheets: dict[str, list[list[str | int | float | None]]] = {
        "boards": [["sku", "price"], ["DUN-72", 2549.0], ["DUN-82", 2489.5]]
    }
    text = b"sku,price\nDUN-72,2551.00\nDUN-82,2490.00\n"
    return (
        File("list.xlsx", spreadsheet_of(sheets)),
        File("list.zip", zip_of({"boards.csv": text}), "application/zip"),
        File("boards.csv", text, "text/csv"),
        File("policy.toml", b'[shop]\nname = "Two Herons Watersports"\n', "application/toml"),
    )


def till_days(draw: random.Random) -> File:
    """What a till wrote on one of the last days: some of the lines, since one whose part is gone from the list spoils the whole file.

    Its receipts have other numbers each time.
    """
    day = (datetime.now(UTC) - timedelta(days=draw.randrange(1, 9))).date()
    head, *lines = ROWS.format(day=day).replace("104", str(draw.randrange(10**6))).splitlines(keepends=True)
    some = draw.sample(lines, draw.randrange(1, len(lines) + 1))
    return File("day.csv", "".join([head, *some]).encode(), "text/csv")


def right_file(draw: random.Random, accepted: Sequence[str]) -> File:
    """A file of a kind that a control says it takes."""
    if any(kind.startswith("image/") for kind in accepted):
        return draw.choice(photos())
    return draw.choice(lists()) if ".xlsx" in accepted else till_days(draw)


@cache
def odd_files() -> tuple[File, ...]:
    """Files that spreadsheets and people really make, and some that only trouble is made with."""
    sheets = [File(name, content) for files, _ in ODD_FILES.values() for name, content in files.items()]
    others = [File("bomb.png", bomb(), "image/png"), File("run.jpg", SCRIPT, "image/jpeg")]
    others += [File("day.csv", WRONG_DAY.encode()), File("day.csv", MARK.encode() + b",1\n" * 900)]
    others += [File("x.svg", b"<svg xmlns='http://www.w3.org/2000/svg' onload='x'/>", "image/svg+xml")]
    others += [File("odd.bin", content) for content in BYTES]
    return tuple(file for file in (*sheets, *others) if len(file.content) < MOST_FILE_BYTES)


def odd_file(draw: random.Random) -> File:
    """A file that no control expects: odd, spoilt in some bytes or in a part of an archive, or one kind under another's name."""
    way, seed = draw.randrange(5), draw.randrange(10**6)
    if way == 0:
        return draw.choice(odd_files())
    file = draw.choice((*photos(), *lists(), till_days(draw)))
    if way == 1:
        return File(draw.choice(NAMES), file.content, draw.choice(KINDS))
    if way == 2:
        return File(file.name, file.content[: draw.randrange(len(file.content))], file.kind)
    if way == 3 and file.name.endswith((".xlsx", ".zip")):
        return File(file.name, spoilt_inside(file.content, seed), file.kind)
    return File(file.name, spoilt(file.content, seed), file.kind)
