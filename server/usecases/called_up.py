"""A quote as the desk calls it up while the caller is on the telephone, and the story of a quote or sale."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time, timedelta

from server.domain.quotes import Quote
from server.domain.sales import Sale
from server.domain.standing import Standing, standing_of
from server.domain.stock import Contact, Hold
from server.domain.story import Told, told_of_holds, told_of_revisions, told_of_sale, whole_story
from server.domain.worksheets import Worksheet
from server.persistence.quotes import load_revisions
from server.persistence.stock import contact_of, load_past_holds
from server.persistence.worksheets import load_worksheets_of
from server.usecases.quotes import find_quote, read_course
from server.usecases.standing import version_by, what_became_of
from server.usecases.work import Work

MOST_TOLD = 12


@dataclass(frozen=True)
class CalledUp:
    """A quote as the desk calls it up: with its hold, who it is for, whether they have seen it, where it stands, and its story."""

    quote: Quote
    hold: Hold | None
    contact: Contact | None
    seen: tuple[int, datetime] | None
    standing: Standing
    story: tuple[Told, ...]
    """Newest first."""
    worksheets: tuple[Worksheet, ...]


def call_up(work: Work, code: str) -> CalledUp:
    """A quote by its code with all that the desk wants to know of it; raises `InvalidInput` or `NotFound`."""
    token = find_quote(work, code)
    revisions = load_revisions(work.session, token, MOST_TOLD + 1)
    quote = revisions[0][0]
    course = read_course(work, token)
    sale, withdrawn = what_became_of(work, course)
    hold, seen = course.hold, course.seen
    worksheets = load_worksheets_of(work.session, token)
    contact = sale.contact if sale else contact_of(work.session, token)
    if contact is None and worksheets and worksheets[-1].name:
        contact = Contact(worksheets[-1].name, worksheets[-1].email, worksheets[-1].phone)
    where = standing_of(quote, work.today, hold, seen[0] if seen else None, sale, withdrawn)
    story = _story(work, revisions, seen, where)
    return CalledUp(quote, hold, contact, seen, where, story, tuple(worksheets))


def _story(
    work: Work, revisions: list[tuple[Quote, str]], seen: tuple[int, datetime] | None, where: Standing
) -> tuple[Told, ...]:
    quote, sale = revisions[0][0], where.sale
    lapsed_at = None
    if where.state == "lapsed":
        zone = work.zone
        lapsed_at = datetime.combine(quote.valid_until + timedelta(days=1), time(), zone)
    holds = load_past_holds(work.session, quote.token)
    return whole_story(
        told_of_revisions(revisions, MOST_TOLD),
        told_of_holds(holds, work.now, sale.made_at if sale else None),
        seen,
        lapsed_at,
        where.withdrawn,
        sale,
    )


def story_of_sale(work: Work, sale: Sale) -> tuple[Told, ...]:
    """The story of a sale with that of its quote, newest first; of its own alone where it was made without one."""
    revisions = load_revisions(work.session, sale.quote_token, MOST_TOLD + 1) if sale.quote_token else []
    if not revisions:
        return tuple(reversed(told_of_sale(sale)))
    course = read_course(work, sale.quote_token)
    return _story(work, revisions, course.seen, Standing(sale.state, sale))


def desk_version(work: Work, code: str) -> str:
    """A short text that is another one as soon as the desk's page of a quote would show something else; raises as `call_up`."""
    token = find_quote(work, code)
    course = read_course(work, token)
    return version_at_desk(version_by(work, course), course.seen)


def version_at_desk(version: str, seen: tuple[int, datetime] | None) -> str:
    """The version of a quote as the desk's page has it: what the customer has seen counts too."""
    return f"{version}.s{seen[0]}" if seen else version
