"""A quote as the desk calls it up while the caller is on the telephone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

from server.domain.changes import Change, changes_between
from server.domain.quotes import Quote
from server.domain.stock import Contact, Hold
from server.domain.worksheets import Worksheet
from server.persistence.quotes import load_revisions, load_seen
from server.persistence.stock import contact_of, open_hold_of
from server.persistence.worksheets import load_worksheets_of
from server.usecases.quotes import find_quote, quote_version
from server.usecases.work import Work

MOST_TOLD = 12


@dataclass(frozen=True, slots=True)
class Told:
    """A revision in a quote's story: who made it and when, and what it changed; `changes` is None for the first one."""

    revision: int
    at: datetime
    by: str
    changes: tuple[Change, ...] | None


@dataclass(frozen=True)
class CalledUp:
    """A quote as the desk calls it up: with its hold, who it is for, whether they have seen it, and its story, newest first."""

    quote: Quote
    hold: Hold | None
    contact: Contact | None
    seen: tuple[int, datetime] | None
    story: tuple[Told, ...]
    worksheets: tuple[Worksheet, ...]


def call_up(work: Work, code: str) -> CalledUp:
    """A quote by its code with all that the desk wants to know of it; raises `InvalidInput` or `NotFound`."""
    token = find_quote(work, code)
    revisions = load_revisions(work.session, token, MOST_TOLD + 1)
    quote = revisions[0][0]
    story = [
        Told(now.revision, now.issued_at, by, changes_between(before, now))
        for (now, by), (before, _) in pairwise(revisions)
    ]
    oldest, by = revisions[-1]
    if oldest.revision == 1:
        story.append(Told(1, oldest.issued_at, by, None))
    worksheets = load_worksheets_of(work.session, token)
    contact = contact_of(work.session, token)
    if contact is None and worksheets and worksheets[-1].name:
        contact = Contact(worksheets[-1].name, worksheets[-1].email, worksheets[-1].phone)
    hold = open_hold_of(work.session, token, work.now)
    return CalledUp(quote, hold, contact, load_seen(work.session, token), tuple(story), tuple(worksheets))


def desk_version(work: Work, code: str) -> str:
    """A short text that is another one as soon as the desk's page of a quote would show something else; raises as `call_up`."""
    token = find_quote(work, code)
    return version_at_desk(quote_version(work, token), load_seen(work.session, token))


def version_at_desk(version: str, seen: tuple[int, datetime] | None) -> str:
    """The version of a quote as the desk's page has it: what the customer has seen counts too."""
    return f"{version}.s{seen[0]}" if seen else version
