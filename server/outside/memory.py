"""The memory that a process holds although nothing uses it: the C library's allocator is told to give it back.

Left to itself, glibc's allocator takes the size of the largest buffer that was ever freed as the size from which it gives memory
back: after one photograph or workbook of 20 MB it keeps whatever is freed, and does so once for each of many threads (mallopt(3),
M_MMAP_THRESHOLD, M_TRIM_THRESHOLD, M_ARENA_MAX). A process that lives for months grows by that and by nothing else.
"""

from __future__ import annotations

import ctypes
import os
import platform

MIB = 1024 * 1024
KEPT = {
    "MALLOC_TRIM_THRESHOLD_": (-1, MIB),
    "MALLOC_ARENA_MAX": (-8, 2),
}
"""The variable by which whoever runs the program may say it otherwise, glibc's number for it (malloc.h), and what is said here."""


def give_back_what_is_free() -> None:
    """Tell the allocator, before any thread begins; where it is another one than glibc's, nothing is done."""
    if platform.system() != "Linux" or platform.libc_ver()[0] != "glibc":
        return
    tell = ctypes.CDLL(None).mallopt
    for variable, (number, value) in KEPT.items():
        if variable not in os.environ:
            tell(number, value)
