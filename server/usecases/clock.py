"""The machine's clock held against what was written: no money is dated, and nothing is deleted, by one that cannot be right."""

from __future__ import annotations

from server.domain.clock import APART, SILENCE, ClockStands, clock_stands
from server.domain.errors import ClockIsWrong
from server.persistence.clock import was_confirmed, written_around
from server.usecases.work import Work

CONFIRMED = "said that the clock of the server is right"
WORDS: dict[ClockStands, str] = {
    "right": "",
    "behind": "it is behind what was written here",
    "leapt": "it went on by weeks in which nothing was written, so nothing is deleted by it yet",
}


def look_at_clock(work: Work) -> ClockStands:
    """How the clock stands; right where somebody has said so since."""
    stands = clock_stands(written_around(work.session, work.now))
    if stands != "right" and was_confirmed(work.session, CONFIRMED, work.now - SILENCE, work.now + APART):
        return "right"
    return stands


def check_clock(work: Work) -> None:
    """Raises `ClockIsWrong` where the clock is behind."""
    if look_at_clock(work) == "behind":
        raise ClockIsWrong(
            f"The clock of the shop's server says {work.now:%Y-%m-%d %H:%M} UTC, and things were written here after that: no money "
            "is booked, and no paper is written, by a clock that is behind. Put it right, and try again."
        )


def confirm_clock(work: Work) -> None:
    """Somebody has looked at the clock and found it right: it is believed again for a while."""
    work.note_deed(CONFIRMED)
    work.commit()
