"""The 30 000 commonest passwords of published leaks, as the library zxcvbn ranks them."""

from __future__ import annotations

from functools import cache


@cache
def common_passwords() -> frozenset[str]:
    """The common passwords, in small letters.

    The library is read when a password is set for the first time: that takes 20 ms and 16 MB, which few starts have a use for.
    """
    from zxcvbn.frequency_lists import FREQUENCY_LISTS

    return frozenset(FREQUENCY_LISTS["passwords"])
