"""What makes the tests quick: a third of a property's examples outside of CI, what starts several servers only under CI, and
databases in memory where the machine has room.

The quick loop is run after every change. Databases of tests that look at what outlasts a crash stay on the disk.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

IS_WHOLE = os.environ.get("CI") == "true"
USUAL = 60


def examples(number: int = USUAL) -> int:
    """So many under CI, a third of them else."""
    return number if IS_WHOLE else max(1, number // 3)


def only_in_ci(why: str) -> pytest.MarkDecorator:
    """A test that takes too long to be run after every change, and that nothing quicker can stand for; CI runs it."""
    return pytest.mark.skipif(not IS_WHOLE, reason=f"{why}: CI=true")


MEMORY = Path("/dev/shm")  # The folder in memory that Linux gives; what is made there has names of its own.
ENOUGH_BYTES = 2 * 1024**3


def memory() -> Path | None:
    """A folder in memory with room for databases; None where the machine has none, and then they lie on the disk."""
    if not os.access(MEMORY, os.W_OK | os.X_OK) or shutil.disk_usage(MEMORY).free < ENOUGH_BYTES:
        return None
    return MEMORY
