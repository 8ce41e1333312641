"""What has changed on a quote while its page was open, and that a page of it was looked at.

An open page asks every three seconds. What it sends is the version that it shows, so that any server process can answer.
"""

from __future__ import annotations

from dataclasses import replace

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput, NotFound
from server.usecases.accounts import session_of
from server.usecases.quotes import mark_seen
from server.usecases.standing import standing_version
from server.web.pages.forms import Form, text_in
from server.web.pages.quotes import QuotePage, quote_page, revision_in
from server.web.render import PAGES_VARY, is_fragment_asked
from server.web.signed import token_in
from server.web.state import PagesOf, SettingsOf, ShopOf
from server.web.units import units_of

router = APIRouter(include_in_schema=False)

STOP_ASKING = 286
"""The status at which htmx asks no more."""


@router.get("/quotes/{token}/news")
def tell_news(
    request: Request,
    token: str,
    shop: ShopOf,
    settings: SettingsOf,
    pages: PagesOf,
    shown: str = "",
    asks: str = "",
) -> Response:
    """The quote's block where it is another version than the one `shown`, saying what has changed; else an empty answer.

    `asks` is "yes" where the open page shows the form to agree with. Reading it records nothing.
    """
    with shop.reading() as work:
        try:
            version = standing_version(work, token)
        except NotFound:
            if not is_fragment_asked(request):
                raise
            return Response(status_code=STOP_ASKING, headers={"HX-Reswap": "none", "Vary": PAGES_VARY})
        if version == shown:
            return Response(status_code=204, headers={"Vary": PAGES_VARY})
        since = revision_in(_parts(shown)[0])
        page = quote_page(work, token, settings.address, units=units_of(request), since=since)
        page = replace(page, announced=_announced(page, shown), is_asking_new=not (page.asks and asks == "yes"))
        return pages.show(request, "quotes/quote.html", page, work.catalogue.policy.shop, block="kept")


def _announced(page: QuotePage, shown: str) -> str:
    """What differs from the version that was shown: the revision with its changes, and where the hold stands."""
    revision, held, became = _parts(shown)
    now = _parts(page.version)
    sentences = []
    if page.revised is not None and revision_in(revision) < page.quote.revision:
        sentences.append(page.revised.says)
    if page.standing.is_settled:
        sentences += [f"{page.standing.customer_words}."] if became != now[2] else []
    elif held != now[1]:
        sentences.append(_hold_words(page))
    return " ".join(sentences)


def _parts(version: str) -> tuple[str, str, str]:
    """The parts of a version: the revision, where its hold stands, and what became of the quote."""
    rest, _, became = version.partition("~")
    revision, _, held = rest.partition("-")
    return revision, held, became


def _hold_words(page: QuotePage) -> str:
    if page.hold is None:
        return "Nothing is set aside for this quote any more."
    if page.hold.is_confirmed:
        return f"We keep the parts of revision {page.hold.revision} for you until {page.held_until}."
    return f"The parts of revision {page.hold.revision} are asked for, and set aside until {page.held_until}."


@router.post("/quotes/{token}/seen")
def see(request: Request, token: str, form: Form, shop: ShopOf) -> Response:
    """Record that a revision is before the customer's eyes; who is signed in at the desk is not the customer."""
    revision = revision_in(text_in(form, "revision"))
    if not revision:
        raise InvalidInput([Fault("revision", "This is not a revision.", "a whole number, 1 or more")])
    session = token_in(request)
    if not session or session_of(shop, session) is None:
        with shop.writing() as work:
            mark_seen(work, token, revision)
    return Response(status_code=204)
