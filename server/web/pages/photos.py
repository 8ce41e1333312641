"""Photographs at their unguessable addresses."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from server.usecases.photos import read_photo
from server.web.state import ShopOf

router = APIRouter(include_in_schema=False)

KEEPING = "private, max-age=86400"


@router.get("/photos/{token}")
def show(token: str, shop: ShopOf) -> Response:
    """A photograph; what is at an address never changes, but may be deleted."""
    with shop.reading() as work:
        photo = read_photo(work, token)
    keeping = "no-store" if photo.is_somebodys else KEEPING
    return Response(photo.content, media_type="image/jpeg", headers={"Cache-Control": keeping})
