"""Backups of the whole shop to one file, and putting one back, on either database and from one to the other."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from server.domain.backups import ACCEPTED, Column, Manifest, Row, Tally, line_of
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.outside.archives import Archive, open_archive, write_archive
from server.persistence.backups import Stored, last_backup, reading_all, replacing_all, save_backup
from server.persistence.engine import Place, reaching, take_away_unbegun
from server.persistence.migrate import newest, revisions
from server.usecases.opening import open_shop
from server.usecases.work import Work, now_utc

Say = Callable[[str, int, int], None]
"""Is told what is being done, how many rows of it are done, and how many there are."""
COMMAND = "command"
NO_DATABASE = "There is no shop there yet."
NEWER = "It was made by a newer version of this program."
NOT_EMPTY = "There is a shop there already, which would be gone."
NOT_THE_SAME = "What was put in reads differently; nothing was changed."


@dataclass
class Counting:
    """Passes rows on and says how far it is."""

    say: Say
    stage: str
    total: int
    done: int = 0

    def over(self, rows: Iterator[Row]) -> Iterator[Row]:
        for row in rows:
            yield row
            self.done += 1
            self.say(self.stage, self.done, self.total)


def make_backup(place: Place, path: Path, say: Say) -> Manifest:
    """Write everything, as it is at one moment, to a new file, while others may serve and write; what the file holds.

    Raises `NotFound` where there is no shop, `Conflict` where the file is there already or the shop's schema is not known here,
    `OSError` where the file cannot be written.
    """
    with reaching(place):
        if place.is_empty():
            raise NotFound("data", NO_DATABASE)
    if path.exists():
        raise Conflict([Fault("file", f"{path} is there already.", "the name of a new file")])
    now = now_utc()
    with reading_all(place) as stored:
        if not stored.revision:
            raise NotFound("data", NO_DATABASE)
        if stored.revision not in revisions():
            raise Conflict([Fault("database", NEWER, f"revision {newest()} or older")])
        counting = Counting(say, "writing", stored.number())
        tables = (
            (name, columns, counting.over(stored.rows(name, columns))) for name, columns in stored.columns.items()
        )
        manifest = write_archive(path, stored.revision, now, tables)
    if manifest.revision == newest():
        _note(place, now, path)
    return manifest


def _note(place: Place, now: datetime, path: Path) -> None:
    """Write down that there is a backup; a database of an older revision has no room for it."""
    shop = open_shop(place, seeded=False)
    with shop.writing(COMMAND) as work:
        save_backup(work.session, now, path.name, path.stat().st_size, work.actor)
        work.commit()
    shop.close()


def restore_backup(place: Place, path: Path, say: Say, *, force: bool) -> Manifest:
    """Put a backup in place of all that a database holds, all of it or nothing, and bring it to the newest revision.

    The file is read through before anything is touched, and what was put in is read back and compared. Raises `InvalidInput` for
    a file that is no whole backup or newer than the program, `Conflict` where there is a shop already and `force` is not given,
    while it is in use, and where its tables are not alone.
    """
    with open_archive(path) as archive:
        if archive.manifest.revision not in revisions():
            accepted = f"a backup of revision {newest()} or older; this one is of {archive.manifest.revision}"
            raise InvalidInput([Fault("file", NEWER, accepted)])
        check_free(place, force=force)
        _read_through(archive, say)
        was_empty = check_free(place, force=force)  # Reading took a while.
        try:
            _replace(place, archive, say)
        except BaseException:
            if was_empty:
                take_away_unbegun(place)
            raise
    return archive.manifest


def check_free(place: Place, *, force: bool) -> bool:
    """Whether there is no shop at a place; raises `Conflict` where there is one and it is not to be overwritten."""
    with reaching(place):
        is_empty = place.is_empty()
    if not is_empty and not force:
        raise Conflict([Fault("database", NOT_EMPTY, "--force to overwrite it")])
    return is_empty


def _read_through(archive: Archive, say: Say) -> None:
    counting = Counting(say, "checking", archive.manifest.rows)
    for table in archive.manifest.tables:
        for _ in counting.over(archive.rows(table)):
            pass


def _replace(place: Place, archive: Archive, say: Say) -> None:
    manifest = archive.manifest
    with replacing_all(place, manifest.revision) as stored:
        _compare_columns(stored, manifest)
        putting = Counting(say, "putting back", manifest.rows)
        kept = {table.name: table for table in manifest.tables}
        for name in stored.columns:
            stored.put(name, kept[name].columns, putting.over(archive.rows(kept[name])))
        comparing = Counting(say, "comparing", manifest.rows)
        for name, table in kept.items():
            if _tally_of(comparing.over(stored.rows(name, table.columns))) != table.tally:
                raise Conflict([Fault("database", NOT_THE_SAME)])
        stored.bring_up(now_utc(), COMMAND, f"put back the backup of {manifest.made_at:%Y-%m-%d %H:%M} UTC")


def _compare_columns(stored: Stored, manifest: Manifest) -> None:
    """Raises `InvalidInput` unless the backup has exactly the tables and columns of its revision."""
    here = {name: _sorted(columns) for name, columns in stored.columns.items()}
    if here != {table.name: _sorted(table.columns) for table in manifest.tables}:
        words = f"Its tables are not those of revision {manifest.revision}."
        raise InvalidInput([Fault("file", words, ACCEPTED)])


def _sorted(columns: tuple[Column, ...]) -> list[tuple[str, str]]:
    return sorted((column.name, column.kind) for column in columns)


def _tally_of(rows: Iterator[Row]) -> Tally:
    tally = Tally()
    for row in rows:
        tally = tally.plus(line_of(row))
    return tally


def backed_up_at(work: Work) -> datetime | None:
    """When the last backup was made; None where there is none."""
    return last_backup(work.session)
