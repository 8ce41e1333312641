"""`copy`: the whole shop from the folder's SQLite file to PostgreSQL, or back, with the books of both sides beside each other."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from server.commands.backups import FAULTY, Progress
from server.domain.copying import Beside
from server.domain.errors import Fault, InvalidInput
from server.persistence.engine import Place
from server.usecases.copying import copy_shop

if TYPE_CHECKING:
    Commands = argparse._SubParsersAction[argparse.ArgumentParser]

NO_ADDRESS = "No PostgreSQL database is named."
ACCEPTED = "SLACKWATER_DATABASE_URL=postgresql://user@host/name, its password there, in PGPASSWORD or in ~/.pgpass"


def add_grammar(commands: Commands, data: argparse.ArgumentParser) -> None:
    """The command's part of the grammar."""
    copying = commands.add_parser(
        "copy",
        parents=[data],
        help="copy the shop from the folder to PostgreSQL, or back",
        description="Copy everything in the folder's SQLite database to the empty PostgreSQL database that "
        "SLACKWATER_DATABASE_URL names, and hold the books of both side by side; with any difference nothing is kept. "
        "No server may run meanwhile.",
    )
    copying.add_argument("--back", action="store_true", help="from PostgreSQL to the folder")
    copying.add_argument("--force", action="store_true", help="overwrite the shop that is there")


def copy(place: Place, *, back: bool, force: bool) -> int:
    """Copy the shop one way or the other, and print both columns."""
    if not place.url:
        raise InvalidInput([Fault("database", NO_ADDRESS, ACCEPTED)])
    folder = replace(place, url="")
    source, target = (place, folder) if back else (folder, place)
    copied = copy_shop(source, target, Progress(), force=force)
    names = ("PostgreSQL", "the folder") if back else ("the folder", "PostgreSQL")
    _print_table([Beside("", *names), *copied.compared])
    if not copied.is_kept:
        wrong = ", ".join(one.what for one in copied.compared if not one.agrees)
        print(f"The two sides differ, so nothing was kept: {wrong}.", file=sys.stderr)
        return FAULTY
    print(f"{copied.rows} rows are in {copied.target}, and all of the above agrees.")
    print("The shop that was copied is as it was: keep it until you are sure, and serve it no more.")
    return 0


def _print_table(rows: list[Beside]) -> None:
    wide = [
        max(len(text) for text in column) for column in zip(*((r.what, r.here, r.there) for r in rows), strict=True)
    ]
    for row in rows:
        mark = "" if row.agrees or not row.what else "  differs"
        print(f"{row.what:<{wide[0]}}  {row.here:>{wide[1]}}  {row.there:>{wide[2]}}{mark}")
