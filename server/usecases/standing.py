"""Where a quote stands, and that the shop withdraws one."""

from __future__ import annotations

from server.domain.codes import spaced_code
from server.domain.errors import Fault, InvalidInput
from server.domain.quotes import Quote
from server.domain.sales import STATE_WORDS, Sale
from server.domain.standing import Standing, Withdrawn, standing_of
from server.persistence.courses import Course
from server.persistence.quotes import save_withdrawn, token_of
from server.persistence.sales import load_sale, load_sales, sales_with_code
from server.persistence.stock import contact_of, end_hold, open_hold_of
from server.usecases.messages import tell
from server.usecases.quotes import (
    find_quote,
    locked_quote,
    read_course,
    read_quote_with_course,
    refuse_settled,
    version_of,
)
from server.usecases.work import Work

LONGEST_REASON = 300
REASON_ACCEPTED = f"1 to {LONGEST_REASON} characters in one line"


def standing(work: Work, quote: Quote, course: Course) -> Standing:
    """Where a quote's newest revision stands now."""
    seen = course.seen[0] if course.seen else None
    return standing_of(quote, work.today, course.hold, seen, *what_became_of(work, course))


def what_became_of(work: Work, course: Course) -> tuple[Sale | None, Withdrawn | None]:
    """What was sold of a quote, and how it was withdrawn; None for what was not done."""
    sale = None if course.sale is None else load_sale(work.session, course.sale)
    return sale, Withdrawn(*course.withdrawn) if course.withdrawn else None


def words_of_code(work: Work, code: str) -> str:
    """Where the quote or the sale with a code stands, in the trade's words; empty where there is none any more."""
    token = token_of(work.session, code)
    if token is not None:
        return standing(work, *read_quote_with_course(work, token)).words
    own = load_sales(work.session, sales_with_code(work.session, code))
    return STATE_WORDS[own[0].state] if own else ""


def standing_version(work: Work, token: str) -> str:
    """A short text that is another one as soon as a page of this quote would show something else; raises `NotFound`.

    It is told by one question that reads no record, so that an open page may ask often.
    """
    return version_by(work, read_course(work, token))


def version_by(work: Work, course: Course) -> str:
    """The version of a quote that has come so far."""
    return version_with(version_of(course.revision, course.hold), *what_became_of(work, course))


def version_with(version: str, sale: Sale | None, withdrawn: Withdrawn | None) -> str:
    """A version with what became of the quote behind a tilde: 3~withdrawn, 3-3.1796210000c~paid.4."""
    if sale is not None:
        return f"{version}~{sale.state}.{len(sale.marks)}"
    return f"{version}~withdrawn" if withdrawn is not None else version


def withdraw_quote(work: Work, code: str, because: str) -> Withdrawn:
    """Withdraw a quote with a reason; what it held is free at once, and who had asked to hold it is told. Once more changes nothing.

    Raises `InvalidInput` for a reason that cannot be kept, `NotFound`, and `Conflict` for a quote that was bought.
    """
    because = " ".join(because.split())
    if not 1 <= len(because) <= LONGEST_REASON or not because.isprintable():
        words = "A reason is needed: the customer reads it on the quote’s page."
        raise InvalidInput([Fault("because", words, REASON_ACCEPTED)])
    quote = locked_quote(work, find_quote(work, code))
    there = read_course(work, quote.token).withdrawn
    if there is not None:
        return Withdrawn(*there)
    refuse_settled(work, quote.token)
    hold = open_hold_of(work.session, quote.token, work.now, to_change=True)
    if hold is not None:
        end_hold(work.session, hold.id, work.now, because, work.actor)
    save_withdrawn(work.session, quote.token, work.now, work.actor, because)
    who = contact_of(work.session, quote.token)
    if who is not None:
        tell(
            work,
            "quote_withdrawn",
            to_name=who.name,
            to_email=who.email,
            about=f"quote:{quote.token}",
            values={"code": spaced_code(quote.code), "because": because, "link": f"/quotes/{quote.token}"},
        )
    work.note_deed(f"withdrew quote {quote.code}")
    work.commit()
    return Withdrawn(work.now, work.actor, because)
