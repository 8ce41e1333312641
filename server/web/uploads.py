"""Where files may come with a form, and how large it may be altogether; what a file itself may be is decided by who reads it."""

from __future__ import annotations

import re

MOST_WITH_PHOTOS = 64 * 1024 * 1024
TAKES_PHOTOS = re.compile(
    r"/owned/[A-Za-z0-9_-]{8,64}/ask|/desk/pieces(/\d{1,9})?|/console/part/photos|/console/till(/book)?", re.ASCII
)
"""Where photographs, or a till's file, may come with a form: it is handed on as it comes, told its length, and
lies on the disk rather than in memory."""
MOST_WITH_CATALOGUE = 32 * 1024 * 1024
TAKES_CATALOGUE = re.compile(r"/console/files/(preview|apply)", re.ASCII)
"""Where a catalogue may come with a form, or what was looked at of one is carried on; each file has a smaller limit of its own."""


def most_with_files(path: str) -> int:
    """How many bytes a form with files in it may have at an address; 0 where none may come with one."""
    if TAKES_PHOTOS.fullmatch(path):
        return MOST_WITH_PHOTOS
    return MOST_WITH_CATALOGUE if TAKES_CATALOGUE.fullmatch(path) else 0
