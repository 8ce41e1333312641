"""How many examples a property is tried with: all of them under CI, a third in the quick loop, which is run after every change."""

from __future__ import annotations

import os

IS_WHOLE = os.environ.get("CI") == "true"
USUAL = 60


def examples(number: int = USUAL) -> int:
    """So many under CI, a third of them else."""
    return number if IS_WHOLE else max(1, number // 3)
