"""The winds that a kit suits, and how many days' worth of them a spot has."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter

from server.usecases.wind import winds_of_kit
from server.web.api.bodies import Json, JsonObject, answers_and_skus
from server.web.api.openapi import described
from server.web.api.shapes import wings_shape
from server.web.state import ShopOf

router = APIRouter(tags=["wind"])


@router.post("/api/wind", openapi_extra=described("Wings", body="WindRequest", errors=(409,)), summary="Winds of a kit")
def wind(body: JsonObject, shop: ShopOf) -> Json:
    """The windows of a kit's hand wing and its neighbours, and each month's flyable days' worth at the spot."""
    answers, skus = _request(body)
    with shop.reading() as work:
        fitter, wings = winds_of_kit(work, answers, skus)
    spot = fitter.answers.spot
    return Json(wings_shape(wings, spot.name if spot else "", fitter.hands))


def _request(body: dict[str, Any]) -> tuple[dict[str, Any], list[str] | None]:
    """Answers beside `skus` and `spot`, or bare answers with `skus` among them; a spot named beside wins."""
    if "answers" not in body:
        bare = {name: value for name, value in body.items() if name != "skus"}
        body = {"answers": bare, "skus": body.get("skus")}
    answers, skus = answers_and_skus(body, "spot")
    return (answers if body.get("spot") is None else {**answers, "spot": body["spot"]}), skus
