"""Files that spreadsheets and people really make, and some that only trouble is made with; each with what a page says of it."""

from __future__ import annotations

import io
import random
import zipfile
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from typing import Any

import xlsxwriter

from server.outside.workbook import Cell
from server.outside.zip_files import zip_of

LIST = "sku,price\nDUN-72,2549.00\n"
SHEET = "xl/worksheets/sheet1.xml"


def spreadsheet_of(sheets: Mapping[str, Sequence[Sequence[Cell]]]) -> bytes:
    """A workbook as spreadsheets write it: each text once, apart from the cells, which name it by its number."""
    file = io.BytesIO()
    with xlsxwriter.Workbook(file, {"strings_to_formulas": False, "strings_to_urls": False}) as book:
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                sheet.write_row(number, 0, row)
    return file.getvalue()


PLAIN = spreadsheet_of({"boards": [["sku", "price"], ["DUN-72", 2549.0]]})


def made(fill: Callable[[Any, Any], object], name: str = "boards") -> dict[str, bytes]:
    """A workbook of one sheet that is filled by hand."""
    file = io.BytesIO()
    with xlsxwriter.Workbook(file) as book:
        sheet = book.add_worksheet(name)
        sheet.write_row(0, 0, ["sku", "price"])
        sheet.write_row(1, 0, ["DUN-72", 2549])
        fill(book, sheet)
    return {"list.xlsx": file.getvalue()}


def with_part(name: str, part: bytes | Callable[[bytes], bytes]) -> dict[str, bytes]:
    """The plain workbook with one of its parts replaced, or one more."""
    file = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(PLAIN)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        for member in old.namelist():
            if member != name:
                new.writestr(member, old.read(member))
        was = old.read(name) if name in old.namelist() else b""
        new.writestr(name, part(was) if callable(part) else part)
    return {"list.xlsx": file.getvalue()}


def _locked_zip() -> bytes:
    """A ZIP whose file says that it has a password."""
    content = bytearray(zip_of({"boards.csv": LIST.encode()}))
    content[6] |= 1
    at = content.index(b"PK\x01\x02")
    content[at + 8] |= 1
    return bytes(content)


def _error(_: Any, sheet: Any) -> None:
    sheet.write_formula("B2", "=1/0", None, "#DIV/0!")


def _merged(_: Any, sheet: Any) -> None:
    sheet.write("B3", 2600)
    sheet.merge_range("A2:A3", "DUN-72")


def _dated(book: Any, sheet: Any) -> None:
    sheet.write_row(0, 0, ["sku", "price", "markdown_price", "markdown_from"])
    sheet.write(1, 2, 1999)
    sheet.write_datetime(1, 3, date(2026, 12, 24), book.add_format({"num_format": "d mmm yy"}))


def _linked(_: Any, sheet: Any) -> None:
    sheet.write_url("A2", "https://elsewhere.example/list", string="DUN-72")
    sheet.write_formula("B2", "='[other.xlsx]boards'!B2", None, 2549)


AS_WINDOWS = "read as Windows-1252"
READ = "Changed1"
"""What the page says of a file that is read right."""
ODD_FILES: Mapping[str, tuple[Mapping[str, bytes], str]] = {
    "with a mark of UTF-8": ({"boards.csv": LIST.encode("utf-8-sig")}, READ),
    "semicolons and decimal commas": ({"boards.csv": b"sku;price\nDUN-72;2549,00\n"}, READ),
    "UTF-16": ({"boards.csv": LIST.encode("utf-16")}, "not UTF-8"),
    "UTF-16 without its mark": ({"boards.csv": LIST.encode("utf-16-le")}, "not UTF-8"),
    "Windows-1252": ({"boards.csv": b"sku,name\nDUN-72,V\xe5gbr\xe4da\n"}, AS_WINDOWS),
    "two encodings": (
        {"boards.csv": "sku,name\nDUN-72,Vågbräda".encode() + b"\x81\n"},
        "neither UTF-8 nor Windows-1252",
    ),
    "a zero in a name": ({"boards.csv": b"sku,name\nDUN-72,Mud\0flat\n"}, "row 2"),
    "a row that is too long": ({"boards.csv": LIST.encode() + b"DUN-82,1.00,2.00\n"}, "more cells than the header"),
    "a row that is too short": ({"boards.csv": LIST.encode() + b"DUN-82\n"}, "The cell is blank"),
    "a quotation without its end": ({"boards.csv": b'sku,name\nDUN-72,"Mudflat\n' + b"DUN-82,x\n" * 9}, "not CSV"),
    "a cell without end": ({"boards.csv": b"sku,name\nDUN-72," + b"x" * 200_000}, "not CSV"),
    "nothing": ({"boards.csv": b""}, "The file is empty"),
    "a policy that is none": ({"policy.toml": b"a = [" * 9000}, "not TOML"),
    "a policy in UTF-16": ({"policy.toml": "[shop]".encode("utf-16")}, "not UTF-8"),
    "merged cells": (made(_merged), "The cell is blank"),
    "a formula": (made(lambda _, sheet: sheet.write_formula("B2", "=2500+49", None, 2549)), READ),
    "a formula that fails": (made(_error), "row 2"),
    "a day of a spreadsheet": (made(_dated), READ),
    "a day as a number": (
        made(lambda _, sheet: sheet.write_row(0, 2, ["markdown_from"]) or sheet.write(1, 2, 46380)),
        "not accepted",
    ),
    "a link elsewhere": (made(_linked), READ),
    "a hidden sheet": (made(lambda book, _: book.add_worksheet("masts").hide()), READ),
    "a sheet of pictures": (made(lambda book, _: book.add_chartsheet("chart")), READ),
    "sheet names in another case": (made(lambda *_: None, "BOARDS"), READ),
    "a sheet of another name": (made(lambda *_: None, "Sheet1"), "There is no table of this name"),
    "macros": (with_part("xl/vbaProject.bin", b"\xd0\xcf\x11\xe0" * 99), READ),
    "a cell at the far end": (
        with_part(SHEET, lambda was: was.replace(b'r="A2"', b"r = 'XFD1048576'")),
        "far outside of any table",
    ),
    "a row number beyond all": (
        with_part(SHEET, lambda was: was.replace(b'r="A2"', b'r="A9999999999"')),
        "far outside",
    ),
    "a sheet elsewhere in the file": (
        with_part("xl/far.xml", b'<c r="XFD1048576"/>'),
        "far outside of any table",
    ),
    "another format in the same file": (with_part("content.xml", b"<office/>"), "not a workbook of the open format"),
    "deep nesting": (with_part(SHEET, b"<a>" * 100_000), "list.xlsx"),
    "entities of entities": (
        with_part(
            SHEET, b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]><worksheet>&b;</worksheet>'
        ),
        "list.xlsx",
    ),
    "cut short": ({"list.xlsx": PLAIN[: len(PLAIN) // 2]}, "list.xlsx"),
    "the old format": (
        {"list.xlsx": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2000)},
        "has a password, or is of the kind",
    ),
    "an empty ZIP": ({"list.zip": zip_of({})}, "There is no table in it"),
    "a ZIP with a password": ({"list.zip": _locked_zip()}, "not a ZIP that can be read here"),
    "a page of the web": ({"list.xlsx": b"<html></html>"}, "There is no table of this name"),
}


def spoilt(content: bytes, seed: int) -> bytes:
    """Bytes with some of them lost, doubled or changed."""
    draw, spoiled = random.Random(seed), bytearray(content)
    for _ in range(draw.randint(1, 8)):
        at = draw.randrange(len(spoiled) + 1)
        piece = spoiled[at : at + draw.randint(0, 40)]
        spoiled[at : at + draw.choice((0, 1, len(piece)))] = draw.choice(
            (b"", b"\0", b'"', b"\xff\xfe", b";", b"\r", piece)
        )
    return bytes(spoiled)


def spoilt_inside(content: bytes, seed: int) -> bytes:
    """A workbook, one of whose parts is spoilt, packed again as it should be."""
    draw, file = random.Random(seed), io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as new:
        unlucky = draw.choice(old.namelist())
        for member in old.namelist():
            part = old.read(member)
            new.writestr(member, spoilt(part, seed) if member == unlucky else part)
    return file.getvalue()
