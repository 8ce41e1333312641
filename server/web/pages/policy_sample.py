"""The shop's colours as a draft of the policy has them, shown as a small page before they are saved."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from server.domain.colours import read_colour
from server.web.drawings.colours import Sample, sample_of
from server.web.pages.policy_form import USUAL, value_at

SHOWN = ("accent", "on_accent", "paper", "ink", "sand")


def samples_of(terms: Mapping[str, Any]) -> tuple[Sample, ...]:
    """A light and a dark page; what is no colour is shown as the ordinary one."""
    pages = (("Light pages", ""), ("Dark pages", "dark_"))
    return tuple(sample_of({name: _colour(terms, start + name) for name in SHOWN}, title) for title, start in pages)


def _colour(terms: Mapping[str, Any], name: str) -> str:
    try:
        return read_colour(value_at(terms, f"look.{name}"))
    except ValueError:
        return read_colour(value_at(USUAL, f"look.{name}"))
