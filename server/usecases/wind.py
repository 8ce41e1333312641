"""Which winds a kit suits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from server.domain.kits import Fitter
from server.domain.wind import WingWinds
from server.usecases.fit import fitter_for
from server.usecases.quotes import wanted_kit
from server.usecases.work import Work


def winds_of_kit(
    work: Work, given: Mapping[str, Any], skus: Sequence[str] | None
) -> tuple[Fitter, tuple[WingWinds, ...]]:
    """The fitter, and the winds of the recommended kit or of the one that SKUs name (in stock or not), at the answers' spot.

    Raises `InvalidInput` where the SKUs make no kit for this learner, `NoSoundKit` where none can be recommended.
    """
    fitter = fitter_for(work, given)
    kit = wanted_kit(fitter, None) if skus is None else fitter.kit_named(skus)
    return fitter, fitter.wings(kit, fitter.answers.spot)
