"""What has changed in a quote, put into words for a page: sizes in the reader's units, money as the shop writes it."""

from __future__ import annotations

from dataclasses import dataclass

from server.domain.changes import Change, Revised, Said
from server.domain.learner import SEEN
from server.domain.policy import ShopTerms
from server.web.pages.words import field_words
from server.web.render import moment_words, money_words
from server.web.units import SHOP_UNITS, Units, measures_said_in

CUSTOMER = "customer"
AT_ONCE = 3
"""So many changes are said in the line that announces them; the others stand in the list."""


@dataclass(frozen=True, slots=True)
class ChangeShown:
    """A change in words; empty where one side has nothing. What is told, such as what was seen, is new whatever was told before."""

    what: str
    before: str
    after: str
    is_told: bool = False

    @property
    def says(self) -> str:
        """It in a few words: hand wing 5.5 m², was 4.5 m²."""
        if self.is_told:
            return f"{self.what}, {self.after.rstrip('.')}"
        if not self.before:
            return f"{self.what} {self.after}, new"
        if not self.after:
            return f"{self.what} taken out, was {self.before}"
        return f"{self.what} {self.after}, was {self.before}"


@dataclass(frozen=True, slots=True)
class RevisedShown:
    """A revision in words: which and when, by whom, since which one where that is not the one before, and what has changed."""

    revision: int
    since: int
    when: str
    by: str
    changes: tuple[ChangeShown, ...]

    @property
    def skips(self) -> bool:
        """Whether other revisions lie between the two that are compared."""
        return self.since < self.revision - 1

    @property
    def says(self) -> str:
        """The first changes in one sentence, to be announced."""
        if not self.changes:
            return f"Revision {self.revision}, by {self.by}: no size, answer or price has changed."
        more = len(self.changes) - AT_ONCE
        told = "; ".join(change.says for change in self._weightiest[:AT_ONCE])
        return f"Revision {self.revision}, by {self.by}: {told}{f'; and {more} more' if more > 0 else ''}."

    @property
    def _weightiest(self) -> tuple[ChangeShown, ...]:
        """The changes with the last one, what is to pay, early enough to be said."""
        if len(self.changes) <= AT_ONCE:
            return self.changes
        return (*self.changes[: AT_ONCE - 1], self.changes[-1])


def revised_shown(
    revised: Revised, terms: ShopTerms, units: Units = SHOP_UNITS, *, at_the_desk: bool = False
) -> RevisedShown:
    """A revision as the customer's page says it, or as the desk's does: there the customer is not you."""
    return RevisedShown(
        revision=revised.revision,
        since=revised.since,
        when=moment_words(revised.at, terms),
        by=_makers(revised.makers, at_the_desk=at_the_desk),
        changes=tuple(_shown(change, terms, units) for change in revised.changes),
    )


def _makers(makers: tuple[str, ...], *, at_the_desk: bool) -> str:
    """Who made it, the customer first: you and Maeve at the shop."""
    names = ["the customer" if at_the_desk else "you"] if CUSTOMER in makers else []
    staff = [maker for maker in makers if maker != CUSTOMER]
    if staff and not at_the_desk:
        staff[-1] += " at the shop"
    names += staff
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _shown(change: Change, terms: ShopTerms, units: Units) -> ChangeShown:
    before, after = (_words(said, terms, units) for said in (change.before, change.after))
    return ChangeShown(_what(change), before, after, is_told=change.field == SEEN and bool(after))


def _what(change: Change) -> str:
    if not change.is_answer:
        return change.what
    if change.field.startswith("trades-") and change.field.endswith("-slot"):
        return "Traded in:"
    return field_words(change.field) or change.field.replace("_", " ")


def _words(said: Said, terms: ShopTerms, units: Units) -> str:
    return measures_said_in(said, units) if isinstance(said, str) else money_words(said, terms)
