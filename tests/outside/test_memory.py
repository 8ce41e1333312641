"""Memory that nothing uses any more goes back to the machine."""

from __future__ import annotations

import platform
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
TOLD = "from server.outside.memory import give_back_what_is_free; give_back_what_is_free()"
KEEPS = """
import sys
exec(sys.argv[1])

def resident_kib():
    with open("/proc/self/status") as lines:
        return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:"))

before = resident_kib()
large = b"x" * 30_000_000
del large  # From here on glibc, left to itself, takes buffers of up to this size from what it keeps.
many = [b"x" * 300_000 for _ in range(100)]
del many
print(resident_kib() - before)
"""
MANY_KIB = 100 * 300_000 // 1024


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another allocator than glibc's")
@pytest.mark.parametrize(("first", "is_kept"), [("", True), (TOLD, False)])
def test_what_was_freed_is_given_back_by_whoever_is_told_to(first: str, is_kept: bool) -> None:
    ran = subprocess.run(
        [sys.executable, "-c", KEEPS, first], capture_output=True, text=True, check=True, env={"PYTHONPATH": str(ROOT)}
    )
    assert (int(ran.stdout) > MANY_KIB // 2) == is_kept
