"""The command line over the use cases: `serve`, `load`, `export`, `lesson-payment`, `stock`, `holds`, `owner-link`, `clock`,
and those of `backups` and `copying`.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import sys
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

from pydantic import ValidationError

from server.commands import backups, clock, copying
from server.domain.accounts import OWNER_LINK_LIFE
from server.domain.catalogue import Catalogue
from server.domain.deposits import LessonState
from server.domain.errors import Conflict, InvalidInput, NotFound, OutOfReach
from server.domain.stock import BY_HAND
from server.persistence.engine import Place, using
from server.settings import Settings, misspelt
from server.usecases.accounts import make_owner_link, recover_by_command
from server.usecases.catalogue import catalogue_files, catalogue_workbook, compare, preview, replace_catalogue
from server.usecases.deposits import take_deposit
from server.usecases.opening import WORKBOOK, open_shop, read_folder_for
from server.usecases.quotes import find_quote
from server.usecases.sets import book_item
from server.usecases.stock import confirm_hold, list_open_holds

STATES: dict[str, LessonState] = {
    "taken": "taken",
    "booked": "booked",
    "missed": "missed",
    "called_off_late": "called_off_late",
}
FIRST_OWNER = "Owner"
FAULTY = 1


def _money(text: str) -> int:
    if not re.fullmatch(r"\d{1,6}(\.\d{1,2})?", text, re.ASCII):
        raise argparse.ArgumentTypeError(f"{text!r} is not money such as 115.00")
    return int(Decimal(text) * 100)


def _day(text: str) -> date:
    try:
        if len(text) != len("2026-11-25"):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"{text!r} is not a day such as 2026-11-25") from None


def _port(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 65535:
        raise argparse.ArgumentTypeError(f"{text!r} is not a port from 1 to 65535")
    return int(text)


def _workers(text: str) -> int:
    if not text.isascii() or not text.isdigit() or not 1 <= int(text) <= 64:
        raise argparse.ArgumentTypeError(f"{text!r} is not a number of processes from 1 to 64")
    return int(text)


def _pieces(text: str) -> int:
    if not text.isascii() or not text.isdigit() or len(text) > 7:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number of pieces")
    return int(text)


def parser(settings: Settings) -> argparse.ArgumentParser:
    """The command line's grammar; what is not given comes from the settings."""
    top = argparse.ArgumentParser(
        prog="python -m server",
        description="Sizes, checks and prices a wing-foiling kit for a learner. Without a command: serve.",
    )
    commands = top.add_subparsers(dest="command", metavar="COMMAND")
    data = argparse.ArgumentParser(add_help=False)
    data.add_argument("--data", type=Path, default=settings.data, help="folder of the database (default: %(default)s)")

    serving = commands.add_parser(
        "serve", parents=[data], help="serve the shop's pages (the default)", description="Serve the shop's pages."
    )
    serving.add_argument("--host", default=settings.host, help="address to listen at (default: %(default)s)")
    serving.add_argument("--port", type=_port, default=settings.port, help="port to listen at (default: %(default)s)")

    serving.add_argument(
        "--workers", type=_workers, default=settings.workers, help="processes that serve (default: %(default)s)"
    )

    loading = commands.add_parser(
        "load",
        parents=[data],
        help="bring in a catalogue folder",
        description="Bring in a catalogue folder in place of the catalogue that is there. With any fault nothing is changed.",
    )
    loading.add_argument(
        "folder", type=Path, metavar="DIR", help="a folder in the format of seed_catalogue/, or an .xlsx file"
    )
    loading.add_argument("--dry-run", action="store_true", help="only say what would change")

    writing = commands.add_parser(
        "export",
        parents=[data],
        help="write the catalogue as a folder or a workbook",
        description="Write the catalogue in force as a folder that `load` takes, or as one workbook. Nothing is written over.",
    )
    writing.add_argument("path", type=Path, metavar="PATH", help="a new folder, or a new file that ends in .xlsx")

    paying = commands.add_parser(
        "lesson-payment",
        parents=[data],
        help="record a paid lesson and print its code",
        description="Record a paid lesson and print its code, for the deposit that is given back with a kit.",
    )
    paying.add_argument("--kind", required=True, help="a kind of lessons.csv")
    paying.add_argument("--fee", required=True, type=_money, help="what was really paid, such as 115.00")
    went = paying.add_mutually_exclusive_group(required=True)
    for state in STATES:
        went.add_argument(
            f"--{state.replace('_', '-')}", type=_day, metavar="DATE", help=f"{state.replace('_', ' ')}, on this day"
        )
    booking = commands.add_parser(
        "stock",
        parents=[data],
        help="book what happened to a part's stock",
        description="Book what happened to a part's stock in its ledger. A count takes what was found and books the difference.",
    )
    booking.add_argument("sku", metavar="SKU", help="of a part, or of a set: then of each of its parts")
    booking.add_argument("kind", choices=BY_HAND, metavar="KIND", help="one of: " + ", ".join(BY_HAND))
    booking.add_argument("pieces", type=_pieces, metavar="PIECES")
    booking.add_argument("--why", default="", help="a reason, kept in the ledger")

    holding = commands.add_parser(
        "holds",
        parents=[data],
        help="list the requests to hold that are open, or confirm one",
        description="List the requests to hold that are open, or confirm the one of a quote's code.",
    )
    holding.add_argument("--confirm", metavar="CODE", help="the code of the quote whose request is confirmed")

    linking = commands.add_parser(
        "owner-link",
        parents=[data],
        help="print a link by which the first owner, or somebody locked out, sets a password",
        description="Print a link by which the first owner sets a password. With --recover: by which any account's holder does.",
    )
    linking.add_argument("name", nargs="?", metavar="NAME", help=f"the first owner's name (default: {FIRST_OWNER})")
    linking.add_argument("--recover", metavar="NAME", help="the name of the account to recover")
    linking.add_argument("--forget-factor", action="store_true", help="forget the second factor of the account, too")
    backups.add_grammar(commands, data)
    clock.add_grammar(commands, data)
    copying.add_grammar(commands, data)
    return top


def _with_default_command(arguments: Sequence[str]) -> list[str]:
    """`serve` stands where no command is named."""
    if not arguments or (arguments[0].startswith("-") and arguments[0] not in ("-h", "--help")):
        return ["serve", *arguments]
    return list(arguments)


def main(serve: Callable[[Settings], None], arguments: Sequence[str] | None = None) -> int:
    """Run a command; 0 when it was done, else another number and a reason on the error stream.

    `serve` runs the web server, which stands beside this door and is handed in.
    """
    try:
        settings = Settings()
    except ValidationError as error:
        for row in error.errors():
            named = "".join(f"SLACKWATER_{str(name).upper()}: " for name in row["loc"][:1])
            print(f"{named}{row['msg'].removeprefix('Value error, ')}.", file=sys.stderr)
        return FAULTY
    strange = misspelt(os.environ)
    for name, meant in strange.items():
        print(f"{name}: there is no such setting.{f' Is {meant} meant?' if meant else ''}", file=sys.stderr)
    if strange:
        return FAULTY
    grammar = parser(settings)
    given = grammar.parse_args(_with_default_command(sys.argv[1:] if arguments is None else arguments))
    if given.command == "owner-link" and given.recover is None and given.forget_factor:
        grammar.error("--forget-factor wants --recover NAME")
    if given.command == "owner-link" and given.recover is not None and given.name is not None:
        grammar.error("either the first owner's NAME, or --recover NAME")
    place = Place(given.data, settings.database_url.get_secret_value())
    try:
        with using(place):
            return _run(given, place, settings, serve)
    except (InvalidInput, Conflict) as error:
        for fault in error.faults:
            accepted = f" Accepted: {fault.accepted}." if fault.accepted else ""
            print(f"{fault.field}: {fault.message}{accepted}", file=sys.stderr)
        return FAULTY
    except NotFound as error:
        print(f"{error.field}: {error}", file=sys.stderr)
        return FAULTY
    except OutOfReach as error:
        print(error, file=sys.stderr)
        return FAULTY


def _run(given: argparse.Namespace, place: Place, settings: Settings, serve: Callable[[Settings], None]) -> int:
    """Do what the command line asks for."""
    if given.command == "load":
        return load(place, given.folder, dry_run=given.dry_run)
    if given.command == "export":
        return export(place, given.path)
    if given.command == "lesson-payment":
        return lesson_payment(place, given)
    if given.command == "stock":
        return stock(place, given)
    if given.command == "holds":
        return holds(place, given.confirm, settings.address)
    if given.command == "owner-link":
        return owner_link(place, given, settings.address)
    if given.command == "backup":
        return backups.backup(place, given.file)
    if given.command == "restore":
        return backups.restore(place, given.file, force=given.force)
    if given.command == "copy":
        return copying.copy(place, back=given.back, force=given.force)
    if given.command == "clock":
        return clock.clock(place, is_right=given.is_right)
    told = {name: getattr(given, name) for name in ("host", "port", "data", "workers")}
    serve(settings.model_copy(update=told))
    return 0


def load(place: Place, path: Path, *, dry_run: bool) -> int:
    """Bring in a catalogue folder, or say what it would change; a line for each fault, and then nothing is changed."""
    folder = read_folder_for(place, path)
    for warning in folder.warnings:
        print(f"warning  {warning}")
    if folder.faults:
        for fault in folder.faults:
            print(fault, file=sys.stderr)
        number = len(folder.faults)
        print(f"{number} {'fault' if number == 1 else 'faults'}: nothing was changed.", file=sys.stderr)
        return FAULTY
    if dry_run and place.is_empty():
        changes = compare(Catalogue({}), {}, folder)
    else:
        shop = open_shop(place, seeded=False)
        with shop.reading() if dry_run else shop.writing("load") as work:
            changes = preview(work, folder) if dry_run else replace_catalogue(work, folder)
    for line in changes.lines():
        print(line)
    print("Nothing was changed: this was a dry run." if dry_run else "The catalogue is in force.")
    return 0


def export(place: Place, path: Path) -> int:
    """Write the catalogue in force to a new folder or a new workbook; what is there already is not touched."""
    if path.exists():
        print(f"{path} is there already: name another, or take it away first.", file=sys.stderr)
        return FAULTY
    with open_shop(place).reading() as work:
        files = {} if path.suffix.casefold() == WORKBOOK else catalogue_files(work)
        book = b"" if files else catalogue_workbook(work)
    try:
        if book:
            path.write_bytes(book)
        else:
            path.mkdir(parents=True)
            for name, content in files.items():
                (path / name).write_bytes(content)
    except OSError as error:
        shutil.rmtree(path, ignore_errors=True)  # Half a catalogue would be in the way of the next try.
        path.unlink(missing_ok=True)
        print(f"{path} cannot be written: {error.strerror}.", file=sys.stderr)
        return FAULTY
    print(f"The catalogue was written to {path}.")
    return 0


def lesson_payment(place: Place, given: argparse.Namespace) -> int:
    """Record a paid lesson and print its code."""
    state = next(word for word in STATES if getattr(given, word) is not None)
    with open_shop(place).writing("command line") as work:
        lesson = take_deposit(work, given.kind, given.fee, STATES[state], getattr(given, state))
    print(lesson.code)
    return 0


def stock(place: Place, given: argparse.Namespace) -> int:
    """Book a movement of stock."""
    with open_shop(place).writing("command line") as work:
        booked = book_item(work, given.sku, given.kind, given.pieces, given.why)
    for movement in booked:
        print(f"{movement.sku}: {movement.change:+d} on hand.")
    if not booked:
        print("The count agrees with the ledger.")
    return 0


def holds(place: Place, code: str | None, address: str) -> int:
    """List the open requests to hold, or confirm one; who asked reads the address in the message."""
    shop = open_shop(place)
    shop.address = address
    if code is not None:
        with shop.writing("command line") as work:
            hold = confirm_hold(work, find_quote(work, code))
        print(f"Confirmed: the parts are set aside until {hold.expires_at:%Y-%m-%d %H:%M} UTC.")
        return 0
    with shop.reading("command line") as work:
        for row in list_open_holds(work):
            state = "confirmed" if row.hold.is_confirmed else "to confirm"
            reach = " ".join(part for part in (row.contact.name, row.contact.email, row.contact.phone) if part)
            print(f"{row.code}  {state} until {row.hold.expires_at:%Y-%m-%d %H:%M} UTC  {reach}")
    return 0


def owner_link(place: Place, given: argparse.Namespace, address: str) -> int:
    """Print a one-time link: the first owner's, or one that recovers an account."""
    with open_shop(place).writing("command") as work:
        if given.recover is None:
            link = make_owner_link(work, given.name or FIRST_OWNER)
        else:
            link = recover_by_command(work, given.recover, forget_factor=given.forget_factor)
        ends = work.now + OWNER_LINK_LIFE
    print(f"{address}/welcome/{link}")
    print(f"It works once, until {ends:%Y-%m-%d %H:%M} UTC, and takes the place of every earlier link of the account.")
    return 0
