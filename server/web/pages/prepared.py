"""A prepared link: the way into a kit that the desk has put together for somebody."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.usecases.worksheets import open_link, remember_opened
from server.web.render import see_other
from server.web.signed import is_somebody
from server.web.state import ShopOf

router = APIRouter(include_in_schema=False)


@router.get("/prepared/{token}")
def follow(token: str, shop: ShopOf) -> Response:
    """The kit that was prepared, with the answers filled in; a link that lapsed or was taken back says so."""
    with shop.reading() as work:
        draft = open_link(work, token)
    return see_other(f"/drafts/{draft.token}/kit")


@router.post("/prepared/{token}/opened")
def opened(request: Request, token: str, shop: ShopOf) -> Response:
    """Said by the open page itself: somebody looks at what was prepared, and it is not one of us."""
    if not is_somebody(request, shop):
        with shop.writing() as work:
            remember_opened(work, token)
    return Response(status_code=204)
