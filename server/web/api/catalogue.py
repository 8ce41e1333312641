"""The parts on sale."""

from __future__ import annotations

from fastapi import APIRouter

from server.domain.errors import Fault, InvalidInput
from server.domain.quotes import quoted_part
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from server.web.api.bodies import Json
from server.web.api.openapi import described
from server.web.api.shapes import part_shape
from server.web.state import ShopOf

router = APIRouter(tags=["catalogue"])
SLOTS = CORE_SLOTS + EXTRA_SLOTS


@router.get("/api/parts", openapi_extra=described("Parts", errors=(422,)), summary="Parts on sale")
def parts(shop: ShopOf, slot: str | None = None) -> Json:
    """The parts on sale, of one slot or of all, each with whether one is in stock."""
    if slot is not None and slot not in SLOTS:
        raise InvalidInput([Fault("slot", "There is no such slot.", "one of: " + ", ".join(SLOTS))])
    with shop.reading() as work:
        shelf = work.shelf
    wanted = SLOTS if slot is None else (slot,)
    rows = [
        {"slot": part.slot, **part_shape(quoted_part(part)), "in_stock": shelf.is_free(part)}
        for name in wanted
        for part in shelf.catalogue.sold_in(name)
    ]
    return Json({"parts": rows})
