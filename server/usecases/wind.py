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
    """The fitter, and the winds of the recommended kit or of the one that SKUs name, at the spot of the answers.

    Raises as keeping that kit would.
    """
    fitter = fitter_for(work, given)
    return fitter, fitter.wings(wanted_kit(fitter, skus), fitter.answers.spot)
