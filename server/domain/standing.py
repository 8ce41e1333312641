"""Where a quote stands in the trade's words, from the day it was sent to what became of it; one place for every page and list."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Literal

from server.domain.quotes import Quote, state_on
from server.domain.sales import STATE_WORDS, Sale, SaleState
from server.domain.stock import Hold

StandingState = Literal["sent", "seen", "agreed", "lapsed", "withdrawn"] | SaleState
CUSTOMER_WORDS: Mapping[str, str] = {
    "confirmed": "Bought: the contract is made, and something is left to pay",
    "paid": "Bought and paid",
    "on_its_way": "Sent off to you",
    "handed_over": "Yours: it was handed over",
    "returned": "Given back",
    "withdrawn": "Withdrawn",
}
"""The states of what was bought as its customer reads them."""


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """That a quote was withdrawn: when, by whom and why."""

    at: datetime
    by: str
    because: str


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a quote stands: its state, what was sold of it if anything was, and how it was withdrawn if it was."""

    state: StandingState
    sale: Sale | None = None
    withdrawn: Withdrawn | None = None

    @property
    def words(self) -> str:
        """It in the trade's words."""
        return STATE_WORDS[self.state]

    @property
    def customer_words(self) -> str:
        """It as the customer reads it."""
        return CUSTOMER_WORDS.get(self.state, self.words)

    @property
    def is_settled(self) -> bool:
        """Whether nothing can be asked for, changed or taken back on the quote any more."""
        return self.sale is not None or self.withdrawn is not None


def standing_of(
    quote: Quote,
    today: date,
    hold: Hold | None,
    seen: int | None,
    sale: Sale | None = None,
    withdrawn: Withdrawn | None = None,
) -> Standing:
    """Where a quote stands on a day: what was sold of it comes first, then whether it was withdrawn, held, lapsed or seen.

    `hold` is its open hold, `seen` the newest revision that its customer had before them.
    """
    if sale is not None:
        return Standing(sale.state, sale)
    held = None if hold is None else hold.revision
    state = state_before_sale(quote.revision, quote.valid_until, today, held, seen, is_withdrawn=withdrawn is not None)
    return Standing(state, None, withdrawn)


def state_before_sale(
    revision: int, valid_until: date, today: date, held: int | None, seen: int | None, *, is_withdrawn: bool
) -> StandingState:
    """Where a quote stands of which nothing was sold, told from its newest revision and until when its price is good.

    `held` is the revision of its open hold, `seen` the newest that its customer had before them.
    """
    if is_withdrawn:
        return "withdrawn"
    state = state_on(revision, valid_until, today, held)
    return "seen" if state == "sent" and seen is not None and seen >= revision else state
