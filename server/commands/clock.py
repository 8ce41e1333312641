"""`clock`: how the machine's clock stands against what was written, and the word that it is right."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from server.persistence.engine import Place
from server.usecases.clock import WORDS, confirm_clock, look_at_clock
from server.usecases.opening import open_shop

if TYPE_CHECKING:
    Commands = argparse._SubParsersAction[argparse.ArgumentParser]


def add_grammar(commands: Commands, data: argparse.ArgumentParser) -> None:
    """The command's part of the grammar."""
    looking = commands.add_parser(
        "clock",
        parents=[data],
        help="say whether the machine's clock can be right",
        description="Say whether the machine's clock can be right, by what was written before.",
    )
    looking.add_argument("--is-right", action="store_true", help="it was looked at and is right: believe it again")


def clock(place: Place, *, is_right: bool) -> int:
    """Say how the clock stands, or that it is right."""
    shop = open_shop(place)
    with shop.writing("command line") as work:
        if is_right:
            confirm_clock(work)
        print(f"{work.now:%Y-%m-%d %H:%M} UTC: {WORDS[look_at_clock(work)] or 'nothing speaks against it'}.")
    shop.close()
    return 0
