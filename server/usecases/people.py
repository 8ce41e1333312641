"""What is kept of a person: shown, exported and erased by the owner alone.

Regulation (EU) 2016/679: Article 15 (access), 17 (erasure), 20 (what they may take with them).
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from server.domain.errors import Conflict, Fault, NotFound
from server.domain.people import SORT_OF, Fields, Kept, Signs, words_of
from server.domain.stock import Contact
from server.outside.archives import zip_of
from server.persistence.accounts import newest_deeds
from server.persistence.erasing import blank_notes, erase_rows, notes_naming, tables_naming
from server.persistence.people import (
    Found,
    find_rows,
    open_things,
    photos_of,
    plain_rows,
    ways_of,
)
from server.usecases.privacy import stay_counted
from server.usecases.work import Work

ERASED = "erased a person’s data: "
OTHER_NOW = "Something was added meanwhile: look again at what there is."
NOTHING = "Nothing is kept under this address or number (any more)."
LEFT_BY_HAND = "words of the shop’s own that name them are left in: "
ABOUT = """What {shop} keeps about you

Made on {day}. The same is in data.json, for programs. Photographs lie beside it.
Moments are in UTC, amounts in whole cents.
"""


@dataclass(frozen=True, slots=True)
class Export:
    """Everything kept of a person as one ZIP, and the name of its file, which names nobody."""

    name: str
    content: bytes


def find_kept(work: Work, contact: Contact) -> Kept:
    """What is kept of whoever has an address or a number."""
    return _kept(work, contact, find_rows(work.session, contact))


def _kept(work: Work, contact: Contact, found: Found) -> Kept:
    kept = Kept(
        contact,
        plain_rows(found),
        open=tuple(open_things(work.session, found, work.now)),
        names=ways_of(found, "name"),
        emails=ways_of(found, "email"),
        phones=ways_of(found, "phone"),
        shared=tuple(quote.code for quote in found.shared),
    )
    if kept.is_nothing:
        return kept
    return replace(kept, notes=notes_naming(work.session, Signs.of(kept), found))


def export_person(work: Work, contact: Contact) -> Export:
    """Everything as JSON, as text to read, and the photographs; the record says that it was given out. `NotFound` for nothing."""
    found = find_rows(work.session, contact)
    kept = _kept(work, contact, found)
    if kept.is_nothing:
        raise NotFound("email", NOTHING)
    files = {
        "data.json": json.dumps(
            {"made_at": work.now, "kept": kept.rows}, default=_as_text, indent=1, ensure_ascii=False
        ).encode(),
        "about-you.txt": _readable(work, kept).encode(),
        **photos_of(found),
    }
    work.note_deed(f"exported a person’s data: {words_of(kept.counts)}")
    work.commit()
    return Export(f"kept-of-a-person-{work.today.isoformat()}.zip", zip_of(files))


def _as_text(value: Any) -> str:
    if isinstance(value, (date, datetime)):
        return value.isoformat()
    raise TypeError(f"{type(value).__name__} is in no row")


def _readable(work: Work, kept: Kept) -> str:
    parts = [ABOUT.format(shop=work.catalogue.policy.shop.name, day=work.today.isoformat())]
    for name in kept.counts:
        parts.append(SORT_OF[name].counted(len(kept.rows[name])).capitalize() + "\n")
        parts += ["\n".join(_lines(row)) + "\n" for row in kept.rows[name]]
    return "\n".join(parts)


def _lines(row: Fields, indent: str = "  ") -> list[str]:
    """A row as lines to read, what lies inside of it further in; what is empty is left out."""
    lines: list[str] = []
    for name, value in row.items():
        if isinstance(value, Mapping) and value:
            lines += [f"{indent}{_word(name)}:", *_lines(value, indent + "  ")]
        elif isinstance(value, list) and value and all(isinstance(one, Mapping) for one in value):
            lines += [f"{indent}{_word(name)}:", *(line for one in value for line in _lines(one, indent + "  "))]
        elif value not in (None, "", [], {}):
            lines.append(f"{indent}{_word(name)}: {value}")
    return lines


def _word(name: str) -> str:
    return name.replace("_", " ")


def erase_person(work: Work, contact: Contact, digest: str) -> str:
    """Take a person out of everything at once; what was done, in words.

    Raises `Conflict` while something of theirs is open, and where there is other than was shown with this `digest`; `NotFound` for
    nobody.
    """
    found = find_rows(work.session, contact, to_change=True)
    kept = _kept(work, contact, found)
    if kept.is_nothing:
        raise NotFound("email", NOTHING)
    if kept.open:
        raise Conflict([Fault("open", one.what) for one in kept.open])
    if kept.digest != digest:
        raise Conflict([Fault("digest", OTHER_NOW)])
    signs = Signs.of(kept)
    stay_counted(work, *erase_rows(work.session, found, work.now))
    blank_notes(work.session, signs)
    work.session.flush()
    left = tables_naming(work.session, signs)
    what = ERASED + words_of(kept.counts)
    if left:
        what += f"; {LEFT_BY_HAND}{', '.join(sorted(left)).replace('_', ' ')}"
    work.note_deed(what)
    work.commit()
    return what


def last_erased(work: Work) -> str:
    """What was done when somebody was last erased, as the record has it."""
    return next((row.what for row in newest_deeds(work.session, 50) if row.what.startswith(ERASED)), "")
