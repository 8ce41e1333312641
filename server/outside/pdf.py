"""Typst, which sets a template and plain data as a PDF; it reaches for no network, no package and no font of the system.

At most two papers are set at once, since each takes a core for a while; whoever waits longer than ten seconds is told to come again.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from threading import BoundedSemaphore
from typing import Any

import typst

from server.domain.errors import TooMany

AT_ONCE, WAIT_S = 2, 10
_GATE = BoundedSemaphore(AT_ONCE)

ACCESSIBLE: typst.PDFStandard = (
    "ua-1"  # PDF/UA-1, ISO 14289-1: tagged, titled, its pictures described, every letter in its font.
)


def pdf_of(template: Path, said: Mapping[str, Any]) -> bytes:
    """The PDF of a template, which finds what is said as JSON in its input `said`; tagged, and PDF/UA-1 where that can be.

    A letter that no embedded font has is against PDF/UA-1. Such a text is still set, tagged, with a box in the letter's
    place: better that than no paper. Raises `typst.TypstError` where the template itself is wrong, and `TooMany` where too many wait.
    """
    if not _GATE.acquire(timeout=WAIT_S):
        raise TooMany("paper", "Many papers are being made just now: try again in a minute.")
    try:
        return _made(template, said)
    finally:
        _GATE.release()


def _made(template: Path, said: Mapping[str, Any]) -> bytes:
    inputs = {"said": json.dumps(said)}
    try:
        return _set(template, inputs, [ACCESSIBLE])
    except typst.TypstError:
        return _set(template, inputs, [])


def _set(template: Path, inputs: dict[str, str], standards: list[typst.PDFStandard]) -> bytes:
    return typst.compile(
        template, root=template.parent, sys_inputs=inputs, pdf_standards=standards, ignore_system_fonts=True
    )
