"""The style sheet of the shop's own colours."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from server.web.look import look_css, look_digest
from server.web.state import ShopOf
from server.web.static import FOR_EVER, TYPES

router = APIRouter(include_in_schema=False)


@router.get("/look-{digest}.css")
def look(digest: str, shop: ShopOf) -> Response:
    """The colours in force. Under an earlier digest, which a page from before a change still names, they are not to be kept."""
    with shop.reading() as work:
        terms = work.catalogue.policy.shop.look
    keeping = FOR_EVER if digest == look_digest(terms) else "no-cache"
    return Response(look_css(terms), media_type=TYPES[".css"], headers={"Cache-Control": keeping})
