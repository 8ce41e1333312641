"""Builders of what the owner brings in and takes out, and of the pages that show it."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import replace

import httpx

from server.domain.csv_text import csv_of
from server.domain.prices import Markdown
from server.persistence.columns import PART_FILES
from server.usecases.imports import Choices, Plan, apply_import, plan_import
from server.usecases.opening import SEED
from server.usecases.steps import change_parts
from server.usecases.uploads import Upload, open_upload, packed
from server.usecases.work import Shop
from tests.builders_seen import Seen, State, World, seen_as
from tests.pages.reader import FrontDoor, Reader, encoded

PREVIEW = "/console/files/preview"
Sent = Mapping[str, bytes]


def seed_rows(file: str) -> list[list[str]]:
    """The rows of a file of the seed catalogue, its header first."""
    return list(csv.reader(io.StringIO((SEED / file).read_text(encoding="utf-8"))))


def price_list(**prices: str) -> dict[str, bytes]:
    """A file that says nothing but what some boards cost; a SKU's hyphen is written as two low lines."""
    return {"boards.csv": csv_of([["sku", "price"], *([sku.replace("__", "-"), it] for sku, it in prices.items())])}


def uploaded(files: Sent) -> Upload:
    """Files as they are uploaded."""
    return open_upload(files.items())


def planned(shop: Shop, files: Sent, choices: Choices | None = None) -> Plan:
    """What files would change."""
    with shop.reading("Orla") as work:
        return plan_import(work, uploaded(files), choices or Choices())


def brought_in(shop: Shop, files: Sent, choices: Choices | None = None) -> int:
    """Files brought in, which must be without faults; the version this makes."""
    plan = planned(shop, files, choices)
    assert not plan.faults, "\n".join(map(str, plan.faults))
    with shop.writing("Orla") as work:
        return apply_import(work, plan)


def send_files(client: FrontDoor, files: Sent, **fields: str) -> Reader:
    """The page that answers an upload."""
    parts = [("files", (name, content)) for name, content in files.items()]
    answer = client.post(PREVIEW, files=parts, data=fields)
    return shown(client, answer)


def shown(client: FrontDoor, answer: httpx.Response) -> Reader:
    """An answer as it stands in the window."""
    return Reader(client, PREVIEW, answer.status_code, answer.text, answer.headers)


def many_changes() -> dict[str, bytes]:
    """A ZIP's worth of changes: something new, prices, a markdown whose day is past, other lessons; spares and masts are not in it."""
    boards = seed_rows("boards.csv")
    newest = [*boards[-1]]
    newest[:4] = ["NEW-1", "Mudflat 200", "Dunlin Boardworks", "2190041999994"]
    priced = [[*row[:4], f"{float(row[4]) * 1.04:.2f}", *row[5:]] for row in boards[1:8]]
    priced[0][boards[0].index("markdown_price")], priced[0][boards[0].index("markdown_from")] = "1999.00", "2026-09-01"
    first, *others = seed_rows("lessons.csv")
    others[0][2] = "120.00"
    lessons = [first, *others, ["short", "Short private lesson", "70.00", "30.00", "45", "1"]]
    return {"boards.csv": csv_of([boards[0], *priced, newest]), "lessons.csv": csv_of(lessons)}


def faulty_list() -> dict[str, bytes]:
    """A price list with a fault of each kind that its reader knows."""
    rows = [["sku", "price", "cost"], ["DUN-72", "24,49.00", "1235.57"], ["DUN-82", "2489.00", ""]]
    return {"boards.csv": csv_of([*rows, ["NEW-9", "999.00", "500.00"], ["TUR-M72T", "1.00", "0.50"]])}


def carried(files: Sent, **fields: str) -> bytes:
    """A form that carries files on as an earlier page gave them."""
    return encoded([("content", packed(uploaded(files))), *fields.items()])


Sheet = list[list[str | float]]
AMOUNTS = ("price", "cost", "on_hand")


def many_parts(number: int) -> dict[str, Sheet]:
    """Sheets of so many new parts: those of the seed catalogue over and over under other SKUs and GTINs."""
    sheets: dict[str, Sheet] = {}
    for turn, file in enumerate(PART_FILES):
        header, *rows = seed_rows(file)
        share = number // len(PART_FILES) + (turn < number % len(PART_FILES))
        body: Sheet = []
        for place in range(share):
            row: list[str | float] = [*rows[place % len(rows)]]
            row[0], row[3] = f"P-{turn}-{place}", gtin(100_000 * turn + place)
            body.append([float(cell) if name in AMOUNTS else cell for name, cell in zip(header, row, strict=True)])
        sheets[file.removesuffix(".csv")] = [[*header], *body]
    return sheets


def prices_of(sheets: Mapping[str, Sheet], ratio: float) -> dict[str, Sheet]:
    """The same parts as a list of prices, each in this ratio to what it was."""
    return {
        name: [["sku", "price"], *([row[0], round(float(row[4]) * ratio, 2)] for row in rows[1:])]
        for name, rows in sheets.items()
    }


def gtin(number: int) -> str:
    """A GTIN of 13 digits of those that shops give out themselves (GS1 prefix 29), with its check digit."""
    digits = f"29{number:010d}"
    total = sum(int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(reversed(digits)))
    return f"{digits}{(10 - total % 10) % 10}"


def _repriced(world: World) -> int:
    """A step that changes nothing but what some bolts cost; its number."""
    with world.shop.writing("Orla") as work:
        bolts = work.catalogue.parts["TUR-SBOLTS"]
        dearer = replace(bolts, price=bolts.price + 100, markdown=Markdown(bolts.price, work.today))
        return change_parts(work, [dearer], kind="edit", about="TUR-SBOLTS: price")


def _step(path: str) -> State:
    return lambda world: Seen(f"/console/steps/{_repriced(world)}{path}")


def _older_step(world: World) -> Seen:
    older = _repriced(world)
    _repriced(world)
    return Seen(f"/console/steps/{older}/undo", b"", 409)


def _just_brought_in(world: World) -> Seen:
    return Seen(f"/console/files?done={brought_in(world.shop, many_changes())}")


def _slips(world: World) -> Seen:
    with world.shop.reading() as work:
        price = work.catalogue.parts["DUN-72"].price // 1000
    return Seen(PREVIEW, carried(price_list(DUN__72=f"{price}.00", DUN__82="1100.00")))


def _steps(world: World) -> Seen:
    _repriced(world)
    return Seen("/console/steps")


IMPORT_STATES: dict[str, State] = {
    "import and export": seen_as("owner", lambda _: Seen("/console/files")),
    "import, no file": seen_as("owner", lambda _: Seen(PREVIEW, b"", 422)),
    "import, what would change": seen_as(
        "owner", lambda _: Seen(PREVIEW, carried(many_changes(), rest="retire", books_counts="yes"))
    ),
    "import, faults": seen_as("owner", lambda _: Seen(PREVIEW, carried(faulty_list()), 422)),
    "import, slips": seen_as("owner", _slips),
    "import, brought in": seen_as("owner", _just_brought_in),
    "steps": seen_as("owner", _steps),
    "step": seen_as("owner", _step("")),
    "step to undo": seen_as("owner", _step("/undo")),
    "step that is not the newest": seen_as("owner", _older_step),
}
