"""`backup` and `restore`: the whole shop to one file, and back."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from server.persistence.engine import Place
from server.usecases.backups import make_backup, restore_backup

if TYPE_CHECKING:
    Commands = argparse._SubParsersAction[argparse.ArgumentParser]

FAULTY = 1
NAMES = ("backup", "restore")


def add_grammar(commands: Commands, data: argparse.ArgumentParser) -> None:
    """The two commands' part of the grammar."""
    keeping = commands.add_parser(
        "backup",
        parents=[data],
        help="write the whole shop to one file",
        description="Write everything in the database, as it is at one moment, to a new file, also while the shop is served.",
    )
    keeping.add_argument("file", type=Path, metavar="FILE", help="a new file")
    back = commands.add_parser(
        "restore",
        parents=[data],
        help="put a backup back",
        description="Put a backup in place of what the database holds, all of it or nothing. No server may run meanwhile.",
    )
    back.add_argument("file", type=Path, metavar="FILE", help="a file that `backup` wrote")
    back.add_argument("--force", action="store_true", help="overwrite the shop that is there")


class Progress:
    """Says on the error stream how far it is: in one line that changes where somebody watches, else every ten per cent."""

    def __init__(self) -> None:
        self.watched = sys.stderr.isatty()
        self.step = 1 if self.watched else 10
        self.said = ("", -1)

    def __call__(self, stage: str, done: int, total: int) -> None:
        """Say it, unless the same was said last."""
        now = (stage, done * 100 // total // self.step * self.step)
        if now != self.said:
            self.said = now
            is_over = not self.watched or now[1] == 100
            print(
                f"\r{stage} {now[1]:3d} %" if self.watched else f"{stage} {now[1]} %",
                end="\n" if is_over else "",
                file=sys.stderr,
            )


def backup(place: Place, path: Path) -> int:
    """Write the whole shop to a new file."""
    try:
        manifest = make_backup(place, path, Progress())
    except OSError as error:
        print(f"{path} cannot be written: {error.strerror}.", file=sys.stderr)
        return FAULTY
    size = path.stat().st_size / 1e6
    print(
        f"{manifest.rows} rows of {len(manifest.tables)} tables are in {path} ({size:.1f} MB), read back and found whole."
    )
    return 0


def restore(place: Place, path: Path, *, force: bool) -> int:
    """Put a backup in place of what the database holds."""
    manifest = restore_backup(place, path, Progress(), force=force)
    print(
        f"{manifest.rows} rows of {len(manifest.tables)} tables are back, as they were on {manifest.made_at:%Y-%m-%d %H:%M} UTC."
    )
    return 0
