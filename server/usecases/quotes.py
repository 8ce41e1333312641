"""Keeping a kit as a quote, and finding it again."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

from server.domain.codes import read_code
from server.domain.errors import Fault, InvalidInput, NoSoundKit, NotFound
from server.domain.kits import TALK_TO_US, Fitter, Kit
from server.domain.quotes import Quote, freeze
from server.persistence.quotes import (
    is_code_taken,
    load_done,
    load_quote,
    lock_key,
    lock_quote,
    save_done,
    save_new_quote,
    save_next_revision,
    save_unmet,
    token_of,
)
from server.usecases.fit import fitter_for
from server.usecases.work import Work, is_token, new_code, new_token

NO_QUOTE = "There is no quote at this address."


def issue_quote(
    work: Work,
    given: Mapping[str, Any],
    skus: Sequence[str] | None = None,
    *,
    key: str | None = None,
    revises: str | None = None,
) -> Quote:
    """Keep a kit as a quote: the recommended one, or the one that SKUs name.

    With a `key`, the same request sent again gives the quote it made; another request under the same key raises
    `InvalidInput`. With `revises`, the token of a quote, it becomes that quote's next revision. Raises `InvalidInput`, `NotFree`,
    `NoSoundKit` or (nothing to revise) `NotFound`, and keeps nothing.
    """
    digest = _digest(given, skus, revises)
    once = hashlib.sha256(key.encode()).hexdigest() if key else None
    if once:
        lock_key(work.session, once)
    done = load_done(work.session, once) if once else None
    if done is not None:
        if done[0] != digest:
            fault = Fault("Idempotency-Key", "Another request was made under this key.", "a new key for a new request")
            raise InvalidInput([fault])
        return done[1]
    fitter = fitter_for(work, given, revises)
    kit = wanted_kit(fitter, skus)
    before = locked_quote(work, revises) if revises else None
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
    if once:
        save_done(work.session, once, digest, quote_id, quote.revision, work.now)
    work.commit()
    return quote


def locked_quote(work: Work, token: str) -> Quote:
    """The newest revision of a quote, which nobody else may change or agree to meanwhile; raises `NotFound`."""
    quote = lock_quote(work.session, token) if is_token(token) else None
    if quote is None:
        raise NotFound("token", NO_QUOTE)
    return quote


def _digest(given: Mapping[str, Any], skus: Sequence[str] | None, revises: str | None) -> str:
    request = json.dumps([given, list(skus) if skus is not None else None, revises], sort_keys=True)
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
