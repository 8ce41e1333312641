"""Keeping a kit as a quote, and reading it again."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

from fastapi import APIRouter, Header

from server.domain.changes import Revised, Said
from server.domain.errors import Fault, InvalidInput, Outdated
from server.domain.stock import Contact, read_contact
from server.usecases.quotes import issue_quote, read_quote, read_quote_with_course, revised_since
from server.usecases.standing import standing
from server.usecases.stock import agree_to_quote, open_hold
from server.web.api.bodies import Json, JsonObject, answers_and_skus
from server.web.api.openapi import described
from server.web.api.shapes import quote_shape
from server.web.state import SettingsOf, ShopOf

router = APIRouter(tags=["quotes"])
MOST_KEY = 200
MOST_REVISION = 1_000_000


@router.post(
    "/api/quotes",
    status_code=201,
    openapi_extra=described("Quote", status=201, body="QuoteRequest", errors=(409,)),
    summary="Keep a kit as a quote",
)
def keep(
    body: JsonObject, shop: ShopOf, settings: SettingsOf, idempotency_key: Annotated[str | None, Header()] = None
) -> Json:
    """The recommended kit, or the one that `skus` name; a repeated Idempotency-Key gives the same quote again."""
    answers, skus = answers_and_skus(body)
    if idempotency_key is not None and not 1 <= len(idempotency_key) <= MOST_KEY:
        raise InvalidInput([Fault("Idempotency-Key", "This key is not accepted.", f"1 to {MOST_KEY} characters")])
    key = f"api:{idempotency_key}" if idempotency_key is not None else None
    with shop.writing() as work:
        quote = issue_quote(work, answers, skus, key=key)
        hold, today = open_hold(work, quote.token), work.today
    return Json(quote_shape(quote, hold, settings.address, today), status_code=201)


@router.get("/api/quotes/{token}", openapi_extra=described("Quote", errors=(404,)), summary="A quote, lapsed or not")
def read(token: str, shop: ShopOf, settings: SettingsOf) -> Json:
    """The newest revision of a quote with its state."""
    with shop.reading() as work:
        quote, course = read_quote_with_course(work, token)
        where, today = standing(work, quote, course), work.today
    return Json(quote_shape(quote, course.hold, settings.address, today, where))


@router.post(
    "/api/quotes/{token}/agree",
    openapi_extra=described("Quote", body="AgreeRequest", errors=(404, 409, 410)),
    summary="Ask to hold the parts of a quote",
)
def agree(token: str, body: JsonObject, shop: ShopOf, settings: SettingsOf) -> Json:
    """A request to hold, not yet a contract; all parts or none. Agreeing again changes nothing.

    To agree to an older revision than the newest is refused with what differs between the two.
    """
    contact, revision = _agreement(body)
    with shop.writing() as work:
        try:
            quote, hold = agree_to_quote(work, token, contact, revision)
        except Outdated as error:
            revised = revised_since(work, read_quote(work, token), revision)
            raise Outdated([*error.faults, *(_differences(revised) if revised else ())]) from None
        today = work.today
    return Json(quote_shape(quote, hold, settings.address, today))


def _differences(revised: Revised) -> Iterator[Fault]:
    """What differs from the revision that was agreed to too late, each as a fault of its own field; amounts are in cents."""

    def words(said: Said) -> str:
        return (said or "nothing") if isinstance(said, str) else f"{said} cents"

    for change in revised.changes:
        what = change.what or re.sub("[_-]", " ", change.field)
        then, now = words(change.before), words(change.after)
        said = f"{then} in revision {revised.since}, {now} in revision {revised.revision}."
        yield Fault(change.field, f"{what[:1].upper()}{what[1:]}: {said}")


AGREE_FIELDS = ("name", "email", "phone", "revision")


def _agreement(body: dict[str, Any]) -> tuple[Contact, int]:
    faults = [
        Fault(name[:60], "There is no such field.", ", ".join(AGREE_FIELDS))
        for name in body
        if name not in AGREE_FIELDS
    ]
    revision = body.get("revision")
    if isinstance(revision, bool) or not isinstance(revision, int) or not 1 <= revision <= MOST_REVISION:
        faults.append(Fault("revision", "The revision agreed to is needed.", "a whole number, 1 or more"))
        revision = 0
    try:
        contact = read_contact(body.get("name"), body.get("email"), body.get("phone"))
    except InvalidInput as error:
        raise InvalidInput([*faults, *error.faults]) from None
    if faults:
        raise InvalidInput(faults)
    return contact, revision
