"""What each part should be, and which kits there are, for a learner's answers."""

from __future__ import annotations

from fastapi import APIRouter

from server.domain.learner import notes_on
from server.usecases.fit import choose_kits, fitter_for
from server.web.api.bodies import AnswersObject, Json
from server.web.api.openapi import described
from server.web.api.shapes import choice_shape, targets_shape
from server.web.state import ShopOf

router = APIRouter(tags=["fit"])


@router.post("/api/fit", openapi_extra=described("Fit", body="Answers"), summary="Targets for a learner's answers")
def fit(answers: AnswersObject, shop: ShopOf) -> Json:
    """The set-up and the target of each slot, with the reasons."""
    with shop.reading() as work:
        fitter = fitter_for(work, answers)
    sizing = fitter.fitting.sizing
    notes = [*notes_on(fitter.answers), *fitter.fitting.notes]
    return Json({"setup": sizing.setup, "targets": targets_shape(sizing.targets), "notes": notes})


@router.post("/api/kits", openapi_extra=described("Kits", body="Answers"), summary="Kits for a learner's answers")
def kits(answers: AnswersObject, shop: ShopOf) -> Json:
    """The recommended kit, the frontier of fit and price, and the kits that stand out."""
    with shop.reading() as work:
        _, choice = choose_kits(work, answers)
    return Json(choice_shape(choice))
