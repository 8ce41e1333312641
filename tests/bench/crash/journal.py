"""What the workers of a crash run sent and were answered: each thing is written down before it is sent."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

State = Literal["sent", "done", "refused"]
Act = Literal[
    "contract",
    "pay",
    "pay_out",
    "hand_over",
    "send",
    "arrive",
    "swap",
    "return",
    "sell",
    "take_back",
    "fee",
    "refund",
    "import",
    "undo",
]
DONE_WORDS: dict[Act, str] = {
    "contract": "contracts made",
    "pay": "paid",
    "pay_out": "paid out",
    "hand_over": "handed over",
    "send": "sent off",
    "arrive": "arrived",
    "swap": "swapped",
    "return": "returned",
    "sell": "sold over the counter",
    "take_back": "taken back at the counter",
    "fee": "lesson fees paid",
    "refund": "lesson fees handed back",
    "import": "imported",
    "undo": "undone",
}
OF_QUOTES = ("quotes kept", "agreed", "agreed on the page", "confirmed", "released", "revised")
OF_A_SALE: tuple[Act, ...] = ("pay", "pay_out", "hand_over", "send", "arrive", "swap", "return")


@dataclass
class Kept:
    """A quote that a worker was answered: the revision answered last, and whether its parts must be held (and confirmed), or may be."""

    token: str
    revision: int
    code: str = ""
    held: bool | None = False
    confirmed: bool | None = False
    expires_at: str = ""
    skus: tuple[str, ...] = ()


@dataclass
class Once:
    """A request to keep a quote under a key, and what it was answered (None while nothing was)."""

    key: str
    body: dict[str, Any]
    answered: tuple[str, int] | None = None
    is_looked_at: bool = False


@dataclass
class Form:
    """A form as it was sent, what it is about, and what became of it: `sent` while nothing was answered.

    `subject` is the number of a sale, the token of a quote, the number of a counter sale or step, or the code of a lesson. `result`
    is what the database has of it, once that was looked at.
    """

    act: Act
    path: str
    body: bytes
    subject: str
    key: str
    about: dict[str, Any] = field(default_factory=dict)
    state: State = "sent"
    result: int | None = None


@dataclass
class Sold:
    """A sale of a worker's own, and what it still wants to do with it."""

    number: int
    plan: list[str]


@dataclass
class Fee:
    """A lesson that was paid at the desk, and the entries of its ledger that were answered, each as kind and cents."""

    code: str
    entries: list[tuple[str, int]]
    is_named: bool = False
    """Whether a quote names it, so that its fee may be given back with a kit."""


@dataclass
class Brought:
    """A price list that was brought in and stands: its step and its prices in cents."""

    step: int
    prices: dict[str, int]


@dataclass
class Journal:
    """What one worker sent and was answered; nobody else touches its quotes, drafts, sales and lessons."""

    number: int
    draw: random.Random
    statuses: Counter[int] = field(default_factory=Counter)
    done: Counter[str] = field(default_factory=Counter)
    quotes: dict[str, Kept] = field(default_factory=dict)
    bought: dict[str, Kept] = field(default_factory=dict)
    """Quotes of which the contract was asked for."""
    onces: list[Once] = field(default_factory=list)
    drafts: dict[str, dict[str, Any]] = field(default_factory=dict)
    forms: list[Form] = field(default_factory=list)
    sales: list[Sold] = field(default_factory=list)
    fees: dict[str, Fee] = field(default_factory=dict)
    sold_at_counter: list[int] = field(default_factory=list)
    standing: list[Brought] = field(default_factory=list)
    touched_quotes: set[str] = field(default_factory=set)
    touched_drafts: set[str] = field(default_factory=set)
    looked_at: int = 0
    """How many of the forms were held against the database."""
    in_flight: int = 0
    made: int = 0

    def next_name(self) -> str:
        """A name that nothing had before."""
        self.made += 1
        return f"{self.number}-{self.made}"

    def new_forms(self) -> Iterator[Form]:
        """The forms that were not held against the database yet."""
        yield from self.forms[self.looked_at :]

    def settle(self, form: Form, result: int | None) -> None:
        """Write down what a form has done, by the number that the database has for it; None where it has done nothing."""
        is_new = form.result is None
        form.result, form.state = result, "done" if result is not None else "refused"
        if result is not None and is_new:
            self.done[DONE_WORDS[form.act]] += 1
            self._follow(form, result)
        elif form.act == "contract" and form.subject in self.bought and not self._was_bought(form.subject):
            self.quotes[form.subject] = self.bought.pop(form.subject)

    def _was_bought(self, token: str) -> bool:
        """Whether another form has made the contract of a quote, or may have."""
        return any(one.act == "contract" and one.subject == token and one.state != "refused" for one in self.forms)

    def _follow(self, form: Form, result: int) -> None:
        """What the worker knows by what was done."""
        match form.act:
            case "contract":
                if form.subject in self.quotes:
                    self.bought[form.subject] = self.quotes.pop(form.subject)
                self.sales.append(Sold(result, list(form.about["plan"])))
            case "fee":
                self.fees[form.subject] = Fee(form.subject, [("paid", form.about["amount"])])
            case "refund":
                self.fees[form.subject].entries.append(("refunded", form.about["amount"]))
            case "sell":
                self.sold_at_counter.append(result)
            case "import":
                self.standing.append(Brought(result, form.about["prices"]))
            case "undo":
                self.standing = [one for one in self.standing if one.step != int(form.subject)]
