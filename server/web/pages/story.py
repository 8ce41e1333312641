"""The story of a quote or sale in words, newest first, as every page of the desk tells it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.domain.changes import Revised
from server.domain.policy import ShopTerms
from server.domain.story import BY_THE_CLOCK, Told
from server.web.pages.revised import CUSTOMER, ChangeShown, revised_shown
from server.web.render import moment_words, money_words


@dataclass(frozen=True, slots=True)
class ToldShown:
    """An entry in words; `revision` is 0 for what is no revision, `changes` None for what changed nothing before it."""

    what: str
    when: str
    by: str
    why: str
    revision: int
    changes: tuple[ChangeShown, ...] | None


def story_shown(story: Iterable[Told], terms: ShopTerms) -> tuple[ToldShown, ...]:
    """The entries in words."""
    return tuple(_told(told, terms) for told in story)


def _told(told: Told, terms: ShopTerms) -> ToldShown:
    by = {CUSTOMER: "the customer", BY_THE_CLOCK: ""}.get(told.by, told.by)
    when = moment_words(told.at, terms)
    what = told.what if told.amount is None else f"{told.what}: {money_words(told.amount, terms)}"
    if told.changes is None:
        return ToldShown(what, when, by, told.why, told.revision, None)
    revised = Revised(told.revision, told.revision - 1, told.at, (told.by,), told.changes)
    shown = revised_shown(revised, terms, at_the_desk=True)
    return ToldShown(what, shown.when, shown.by, told.why, told.revision, shown.changes)
