"""Drafts: answers given step by step, kept on the server under an address of their own."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from server.domain.agreed import NOTHING_AGREED, Agreed
from server.domain.drafts import Draft, oldest_kept
from server.domain.errors import Lapsed, NotFound
from server.persistence.learner import load_draft, save_draft
from server.usecases.quotes import read_quote
from server.usecases.work import Work, is_token, new_token

GONE = "There is no draft at this address, or it was too old and has been deleted. Start again: it takes a minute."


def start_draft(
    work: Work,
    answers: Mapping[str, Any] | None = None,
    revises: str | None = None,
    agreed: Agreed = NOTHING_AGREED,
) -> Draft:
    """A new draft, empty or with answers and what was agreed, under a new address."""
    draft = Draft(new_token(), work.now, work.now, dict(answers or {}), revises=revises, agreed=agreed)
    save_draft(work.session, draft)
    work.commit()
    return draft


def read_draft(work: Work, token: str, *, to_change: bool = False) -> Draft:
    """The draft at an address, for whoever has the address; a worksheet that was not sent is for the desk alone.

    Raises `NotFound` where there is none, or where it is older than the policy keeps, and `Lapsed` where the desk gave it to
    somebody and that link has lapsed or was withdrawn.

    With `to_change` nobody else may change it until this unit of work ends.
    """
    oldest = oldest_kept(work.now, work.catalogue.policy)
    draft = load_draft(work.session, token, oldest, to_change=to_change) if is_token(token) else None
    if draft is None or draft.is_at_desk:
        raise NotFound("draft", GONE)
    closed = draft.link.why_closed(work.now) if draft.link else ""
    if closed:
        raise Lapsed(closed)
    return draft


def save_answers(
    work: Work,
    token: str,
    answers: Mapping[str, Any],
    mass_unit: str | None = None,
    picks: Iterable[str] | None = None,
) -> Draft:
    """Put some answers into a draft; None takes an answer back. Others, from another tab too, stay as they are.

    With `picks` the parts put in by hand are replaced at the same time.
    """
    draft = read_draft(work, token, to_change=True)
    merged = {**draft.answers, **answers}
    kept = {name: value for name, value in merged.items() if value is not None}
    changed = replace(draft, answers=kept, mass_unit=mass_unit or draft.mass_unit, changed_at=work.now)
    if picks is not None:
        changed = replace(changed, picks=tuple(picks))
    save_draft(work.session, changed)
    work.commit()
    return changed


def put_parts(work: Work, token: str, skus: Iterable[str]) -> Draft:
    """Fix the parts of a draft's kit by hand; none puts the recommended kit back."""
    draft = replace(read_draft(work, token, to_change=True), picks=tuple(skus), changed_at=work.now)
    save_draft(work.session, draft)
    work.commit()
    return draft


def draft_from_quote(work: Work, token: str) -> Draft:
    """A new draft with a quote's answers, to be kept as its next revision; raises `NotFound` where there is no quote."""
    quote = read_quote(work, token)
    return start_draft(work, quote.answers, revises=token, agreed=quote.agreed)
