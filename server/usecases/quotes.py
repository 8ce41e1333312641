"""Keeping a kit as a quote, and finding it again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from server.domain.agreed import NOTHING_AGREED, Agreed
from server.domain.changes import Revised, changes_between
from server.domain.codes import read_code
from server.domain.drafts import Draft
from server.domain.errors import Conflict, Fault, InvalidInput, NoSoundKit, NotFound, Unreadable
from server.domain.kits import TALK_TO_US, Fitter, Kit
from server.domain.quotes import Quote, freeze
from server.domain.stock import Hold
from server.persistence.courses import Course, load_course, load_quote_with_course
from server.persistence.quotes import (
    is_code_taken,
    is_done,
    load_done,
    load_quote,
    lock_key,
    lock_quote,
    makers_since,
    newest_revision,
    save_done,
    save_new_quote,
    save_next_revision,
    save_seen,
    save_unmet,
    token_of,
)
from server.persistence.worksheets import save_kept
from server.usecases.fit import fitter_for, with_what_was_seen
from server.usecases.work import Work, is_token, new_code, new_token

BOUGHT = "This quote was bought: it stays as it is. Anything else is a new quote."
NO_QUOTE = "There is no quote at this address."
KEY_DIGITS = 24
MOST_ALIKE = 20
"""Quotes that one draft has made of the same request, past which a page's key is random: each is a row to ask for."""


def issue_quote(
    work: Work,
    given: Mapping[str, Any],
    skus: Sequence[str] | None = None,
    *,
    key: str | None = None,
    revises: str | None = None,
    agreed: Agreed = NOTHING_AGREED,
    is_bound: bool = True,
    draft: str | None = None,
) -> Quote:
    """Keep a kit as a quote: the recommended one, or the one that SKUs name.

    With a `key`, the same request sent again gives the quote it made; another request under the same key raises
    `InvalidInput`. With `revises`, the token of a quote, it becomes that quote's next revision. `agreed` was agreed by hand, and
    is held to its bounds unless it `is_bound` to none. The worksheet beside `draft`, if there is one, is told. Raises
    `InvalidInput`, `NotFree`, `NoSoundKit` or (nothing to revise) `NotFound`, and keeps nothing.
    """
    quote = keep_quote(work, given, skus, key=key, revises=revises, agreed=agreed, is_bound=is_bound, draft=draft)
    work.commit()
    return quote


def keep_quote(
    work: Work,
    given: Mapping[str, Any],
    skus: Sequence[str] | None = None,
    *,
    key: str | None = None,
    revises: str | None = None,
    agreed: Agreed = NOTHING_AGREED,
    is_bound: bool = True,
    draft: str | None = None,
) -> Quote:
    """As `issue_quote`, as a part of something larger that is committed together."""
    digest = _digest(given, skus, revises, agreed)
    once = _once(key) if key else None
    if once:
        lock_key(work.session, once)
    done = load_done(work.session, once) if once else None
    if done is not None:
        if done[0] != digest:
            fault = Fault("Idempotency-Key", "Another request was made under this key.", "a new key for a new request")
            raise InvalidInput([fault])
        return done[1]
    before = locked_quote(work, revises) if revises else None
    if before is not None:
        refuse_settled(work, before.token)
    given = with_what_was_seen(work, given, revises)
    fitter = fitter_for(work, given, revises, agreed, is_bound=is_bound)
    kit = wanted_kit(fitter, skus)
    quote = freeze(
        fitter,
        kit,
        dict(given),
        code=before.code if before else new_code(lambda code: is_code_taken(work.session, code)),
        token=before.token if before else new_token(),
        revision=before.revision + 1 if before else 1,
        issued_at=work.now,
    )
    save = save_next_revision if before else save_new_quote
    quote_id = save(work.session, quote, work.actor)
    save_unmet(work.session, quote_id, {slot: quote.targets[slot].ideal for slot in quote.unmet}, fitter.today)
    if draft is not None:
        save_kept(work.session, draft, quote.token, new_token())
    if once:
        save_done(work.session, once, digest, quote_id, quote.revision, work.now)
    return quote


def locked_quote(work: Work, token: str) -> Quote:
    """The newest revision of a quote, which nobody else may change or agree to meanwhile; raises `NotFound`."""
    quote = lock_quote(work.session, token) if is_token(token) else None
    if quote is None:
        raise NotFound("token", NO_QUOTE)
    return quote


def refuse_settled(work: Work, token: str) -> None:
    """Refuse to change what was bought, or was withdrawn; raises `Conflict`."""
    course = load_course(work.session, token, work.now)
    if course is not None and course.sale is not None:
        raise Conflict([Fault("quote", BOUGHT, "a new quote")])
    if course is not None and course.withdrawn is not None:
        raise Conflict([Fault("quote", "The shop has withdrawn this quote: ask us for a new one.", "a new quote")])


def page_key(work: Work, draft: Draft, skus: Sequence[str]) -> str:
    """The key for a form that keeps these parts for a draft, as `kept_under` takes it: the same one until something is kept under it,
    so that a page is the same as long as nothing on it has changed, and whoever comes back after keeping it may keep it once more.
    """
    asked = _digest(draft.answers, skus, draft.revises, draft.agreed)[:KEY_DIGITS]
    keys = (f"{asked}-{number}" for number in range(1, MOST_ALIKE + 1))
    return next((key for key in keys if not is_done(work.session, _once(kept_under(draft.token, key)))), new_token())


def kept_under(token: str, key: str) -> str:
    """The key of a request by a form's key, which is only good for one draft."""
    return f"page:{token}:{key}"


def _once(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()


def _digest(given: Mapping[str, Any], skus: Sequence[str] | None, revises: str | None, agreed: Agreed) -> str:
    asked: list[Any] = [given, list(skus) if skus is not None else None, revises]
    if agreed != NOTHING_AGREED:
        asked.append(repr(agreed))
    request = json.dumps(asked, sort_keys=True)
    return hashlib.sha256(request.encode()).hexdigest()


def wanted_kit(fitter: Fitter, skus: Sequence[str] | None) -> Kit:
    """The kit that SKUs name, or the recommended one where they are None; raises `NoSoundKit` where there is none."""
    if skus is not None:
        return fitter.kit_of(skus)
    kit = fitter.recommended()
    if kit is None:
        words = TALK_TO_US if fitter.nearest() else fitter.why_no_kit()
        raise NoSoundKit([Fault("answers", words, "answers that a kit in stock suits, or the SKUs of a kit")])
    return kit


def find_quote(work: Work, code: str) -> str:
    """The token of the quote with a code, as it was said or typed; raises `InvalidInput` or `NotFound`."""
    token = token_of(work.session, read_code(code))
    if token is None:
        raise NotFound("code", f"There is no quote with the code {code}.")
    return token


def read_quote(work: Work, token: str) -> Quote:
    """The newest revision of a quote, lapsed or not; raises `NotFound` where there is none."""
    quote = load_quote(work.session, token) if is_token(token) else None
    if quote is None:
        raise NotFound("token", NO_QUOTE)
    return quote


def read_course(work: Work, token: str) -> Course:
    """How far a quote has come; raises `NotFound` where there is none."""
    course = load_course(work.session, token, work.now) if is_token(token) else None
    if course is None:
        raise NotFound("token", NO_QUOTE)
    return course


def read_quote_with_course(work: Work, token: str) -> tuple[Quote, Course]:
    """The newest revision of a quote and how far it has come; raises `NotFound` where there is none."""
    found = load_quote_with_course(work.session, token, work.now) if is_token(token) else None
    if found is None:
        raise NotFound("token", NO_QUOTE)
    return found


def version_of(revision: int, hold: Hold | None) -> str:
    """The version of a quote with this newest revision and this open hold: 3, or 3-2.1796210000 while revision 2 is held."""
    if hold is None:
        return str(revision)
    confirmed = "c" if hold.is_confirmed else ""
    return f"{revision}-{hold.revision}.{int(hold.expires_at.timestamp())}{confirmed}"


def revised_since(work: Work, quote: Quote, since: int | None = None) -> Revised | None:
    """What has changed in a quote's newest revision since an older one, or since the one before it.

    None where there is nothing to compare: a first revision, a number that is not an older one's, or an older record that another
    version of the program wrote.
    """
    older = quote.revision - 1 if since is None else since
    if not 1 <= older < quote.revision:
        return None
    try:
        before = load_quote(work.session, quote.token, older)
    except Unreadable:
        return None
    if before is None:
        return None
    makers = tuple(dict.fromkeys(makers_since(work.session, quote.token, older)))
    return Revised(quote.revision, older, quote.issued_at, makers, changes_between(before, quote))


def mark_seen(work: Work, token: str, revision: int) -> None:
    """Record that the customer has a revision before them: the newest one so seen, and when it first was; raises `NotFound`.

    A revision that there is not is not recorded.
    """
    if not is_token(token) or newest_revision(work.session, token) is None:
        raise NotFound("token", NO_QUOTE)
    if revision >= 1:
        save_seen(work.session, token, revision, work.now)
    work.commit()
