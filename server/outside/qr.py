"""QR codes (ISO/IEC 18004) as one path, by segno.

The package is imported by the first code: it takes 10 ms, and no page that is asked first wants one.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby

QUIET = 4  # Modules of light around a code that a reader needs; ISO/IEC 18004.


@dataclass(frozen=True, slots=True)
class Squares:
    """A square sheet of so many modules a side, its quiet zone included, and the dark ones as a path to fill."""

    side: int
    path: str


def qr_of(text: str) -> Squares:
    """The QR code of a text, of which 15 % may be lost or dirty (level M), and more where there is room for it."""
    import segno

    rows = segno.make_qr(text, error="m").matrix
    path = "".join(
        f"M{x + QUIET} {y + QUIET}h{length}v1h-{length}z" for y, row in enumerate(rows) for x, length in _dark(row)
    )
    return Squares(len(rows) + 2 * QUIET, path)


def _dark(row: bytearray) -> list[tuple[int, int]]:
    """Where the dark runs of a row begin, and how long they are."""
    runs, x = [], 0
    for is_dark, modules in groupby(row):
        length = len(list(modules))
        if is_dark:
            runs.append((x, length))
        x += length
    return runs
