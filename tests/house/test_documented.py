"""DEVELOPERS.md says what is checked and where, and the program does as it says (OWASP ASVS 5.0, V2.1, V5.1.1 and V13.1.1)."""

from __future__ import annotations

import re
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.routing import iter_route_contexts

from server.outside import photos, workbook_bounds, zip_files
from server.settings import Settings
from server.usecases import catalogue_edits, pieces, till, uploads
from server.web.pages import files, forms, owned
from server.web.pages import till as till_page
from server.web.uploads import MOST_WITH_CATALOGUE, most_with_files

ROOT = Path(__file__).parents[2]
MB = 1024 * 1024
UNITS = {"": 1, "KiB": 1024, "MB": MB, "bytes": 1}
TAKES_FILES = {forms._form_with_photos, files._form_with_catalogue}
CARRIES_ON = "/console/till/book"
"""Takes no file but what a page carries on of one, as text."""


@cache
def tables() -> dict[str, list[list[str]]]:
    """The tables of the section, each by the heading of its first column, as cells."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = text.partition("## What is checked and where\n")[2].partition("\n## ")[0]
    found: dict[str, list[list[str]]] = {}
    for block in re.findall(r"(?:^\|.*\n)+", section, re.MULTILINE):
        head, _, *rows = ([cell.strip() for cell in line.strip("|").split("|")] for line in block.splitlines())
        found[head[0]] = rows
    return found


def named(cell: str) -> Any:
    """What a cell in backticks names of the program."""
    module: list[str] = cell.strip("`").split(".")
    rest: list[str] = []
    while True:
        try:
            found: Any = import_module(".".join(module))
        except ModuleNotFoundError:
            rest.insert(0, module.pop())
        else:
            break
    for word in rest:
        found = found.model_fields[word].default if found is Settings else getattr(found, word)
    return found


def amount(cell: str) -> int:
    """A number with its unit, which is the first thing in a cell."""
    match = re.match(r"([\d,]+) ?(KiB|MB|bytes|)", cell)
    assert match, cell
    return int(match[1].replace(",", "")) * UNITS[match[2]]


@pytest.mark.parametrize("heading", ["what is typed or sent", "what"])
def test_every_rule_that_is_named_is_there(heading: str) -> None:
    assert len(tables()[heading]) > 8
    for row in tables()[heading]:
        assert named(row[-1]), row


def test_every_limit_is_what_the_program_has() -> None:
    assert len(tables()["limit"]) > 15
    for what, value, where in tables()["limit"]:
        assert named(where) == amount(value), what


def test_every_address_that_takes_files_is_named_and_let_through_as_large_as_is_said(app: FastAPI) -> None:
    taking = {
        str(route.path)
        for route in iter_route_contexts(app.routes)
        if hasattr(route, "dependant") and TAKES_FILES & {part.call for part in route.dependant.dependencies}
    }
    said = {row[0].strip("`"): row for row in tables()["address"]}
    filled = {path: path.replace("{token}", "x" * 22).replace("{number}", "7") for path in said}
    assert taking == set(said)
    for path, row in said.items():
        assert most_with_files(filled[path]) == amount(row[3]), path
    posts = {str(route.path) for route in iter_route_contexts(app.routes) if "POST" in (route.methods or ())}
    let_through = {path for path in posts if most_with_files(re.sub(r"\{\w+\}", "7" * 8, path))}
    assert let_through == {*said, CARRIES_ON}


def test_what_is_said_of_uploads_is_what_their_readers_hold_to() -> None:
    rows = {row[0].strip("`"): row for row in tables()["address"]}
    pictures = {"/owned/{token}/ask": owned.MOST_PHOTOS, "/console/part/photos": catalogue_edits.MOST_PHOTOS}
    pictures |= dict.fromkeys(("/desk/pieces", "/desk/pieces/{number}"), pieces.MOST_PHOTOS)
    for path, most in pictures.items():
        assert (amount(rows[path][4]), int(rows[path][5])) == (photos.MOST_BYTES, most)
    asked = rows["/owned/{token}/ask"]
    assert tuple(asked[2].split()) == photos.ENDINGS
    assert [amount(part) for part in re.findall(r"[\d,]+", asked[6])[:1]] == [photos.MOST_PIXELS]
    assert f"{photos.MOST_PIXELS_UNSCALED:,} of others" in asked[6]
    day = rows["/console/till"]
    assert (amount(day[4]), tuple(day[2].split())) == (till.MOST_BYTES, till_page.ENDINGS)
    catalogue = rows["/console/files/preview"]
    endings = (*uploads.WORKBOOK_ENDINGS, uploads.ZIP_ENDING, ".csv", ".toml")
    assert (tuple(catalogue[2].split()), amount(catalogue[4]), int(catalogue[5])) == (
        endings,
        uploads.MOST_BYTES,
        files.MOST_FILES,
    )
    assert workbook_bounds.MOST_BYTES == uploads.MOST_BYTES < MOST_WITH_CATALOGUE
    for said in (
        f"workbook {workbook_bounds.MOST_UNPACKED // MB} MB in {workbook_bounds.MOST_FILES:,} parts",
        f"{workbook_bounds.MOST_CELLS:,} cells",
        f"ZIP {zip_files.MOST_UNPACKED // MB} MB in {zip_files.MOST_FILES} files",
    ):
        assert said in catalogue[6]
    assert amount(rows["/console/files/apply"][6]) == uploads.MOST_UNPACKED


def test_every_connection_is_named_with_its_setting_and_its_room() -> None:
    rows = tables()["to"]
    assert {row[1].strip("`") for row in rows} == {"SLACKWATER_DATABASE_URL", "SLACKWATER_SMTP_HOST"}
    rooms = {row[2].strip("`") for row in rows}
    texts = {
        path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in (ROOT / "server").rglob("*.py")
    }
    assert rooms == {name for name, text in texts.items() if "create_engine(" in text or "smtplib.SMTP(" in text}
