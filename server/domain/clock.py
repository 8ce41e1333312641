"""Whether the machine's clock can be right, by what was written before: what follows from it is worse than an hour without it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

ClockStands = Literal["right", "behind", "leapt"]
APART = timedelta(minutes=5)
"""By how much the clocks of two servers may differ."""
SILENCE = timedelta(days=30)
"""A shop in which nothing at all is written for so long was shut, or has never been where its clock says that it is."""
SETTLES = timedelta(days=7)
"""How long a clock that went on after a silence has to go on before anything is deleted by it."""


@dataclass(frozen=True, slots=True)
class Around:
    """What was written around a moment: anything before it at all, in the days after it, or later; how far back, and lately.

    `long_ago` is before `SILENCE` and `SETTLES` together, `lately` between that and `SETTLES`.
    """

    before: bool
    soon_after: bool
    after: bool
    long_ago: bool
    lately: bool


def clock_stands(written: Around) -> ClockStands:
    """Whether a clock is behind what was written, or went on over a silence of weeks.

    It is behind where the next `SILENCE` has been written in, or all that was written lies ahead. A few entries far ahead are
    what a clock that was once wrong has left behind, and say nothing of the clock that is.
    """
    if written.soon_after or (written.after and not written.before):
        return "behind"
    return "leapt" if written.long_ago and not written.lately else "right"


def is_ahead(moment: datetime, now: datetime) -> bool:
    """Whether a moment that was noted as past has not come: the clock by which it was noted was wrong."""
    return moment > now + APART
