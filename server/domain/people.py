"""What is kept of a person: where it lies, what has to be ended before it can be erased, and what becomes of each."""

from __future__ import annotations

import hashlib
import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, get_args

from server.domain.errors import Fault, InvalidInput
from server.domain.stock import EMAIL, EMAIL_ACCEPTED, PHONE, PHONE_ACCEPTED, Contact, MovementKind

Fields = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Sort:
    """A sort of thing that is kept of people: its table, what it is called, and what erasing does to it."""

    table: str
    one: str
    many: str
    becomes: str

    def counted(self, number: int) -> str:
        """So many of them."""
        return f"{number} {self.one if number == 1 else self.many}"


GONE = "deleted"
SORTS = (
    Sort("sale", "sale", "sales", "kept for the books, without name, e-mail, telephone and address"),
    Sort("sale_item", "thing sold", "things sold", "kept with serial number and price, without a person"),
    Sort("sale_paper", "invoice or credit note", "invoices and credit notes", "kept with every sum, without the buyer"),
    Sort("sale_settlement", "payment", "payments", "kept, without notes"),
    Sort("sale_mark", "entry of a sale", "entries of sales", "kept as what was done when, without words or signature"),
    Sort("sale_case", "return or fault", "returns and faults", "kept, without what was said"),
    Sort("question", "question", "questions", GONE),
    Sort("photo", "photo", "photos", GONE),
    Sort("follow_up", "letter of the first weeks", "letters of the first weeks", "not written any more"),
    Sort("hold", "request to hold parts", "requests to hold parts", "kept for the stock, without a person"),
    Sort("reservation", "request to hold a piece", "requests to hold a piece", "kept, without a person"),
    Sort("booking", "lesson booked", "lessons booked", "kept for the fees, without name, weight and note"),
    Sort("assessment", "lesson looked at", "lessons looked at", "kept, without the instructor’s words"),
    Sort("paid_lesson", "lesson fee", "lesson fees", "kept for the books; no person is in it"),
    Sort(
        "deposit_entry",
        "entry of lesson fees",
        "entries of lesson fees",
        "kept for the books, without notes naming them",
    ),
    Sort("promised_call", "call promised", "calls promised", "kept as a call, without name, number and words"),
    Sort("worksheet", "worksheet", "worksheets", GONE),
    Sort("draft", "set of answers", "sets of answers", GONE),
    Sort("quote", "quote", "quotes", "deleted; one that was bought is kept, without weight, fitness and words"),
    Sort("quote_revision", "revision of a quote", "revisions of quotes", "as the quote"),
    Sort("message", "message", "messages", "deleted; what waits is not sent"),
)
SORT_OF = {sort.table: sort for sort in SORTS}
NUMBER = re.compile(r"[0-9][0-9 ()/.\-]{5,}[0-9]", re.ASCII)
FEWEST_LETTERS = 5
FEWEST_DIGITS = 7
_OWN_REASONS = (
    r"counted \d+",
    r"agreed",
    r"expired",
    r"replaced by a newer revision",
    r"taken back by the customer",
    r"given back",
    r"handed over",
    r"(sale|piece|reservation|expected delivery) \d+",
    r"sale \d+( given back|, as new|, in place of a faulty one|, swapped for another size)",
    r"(till receipt .+, )?counter sale \d+(, in \S+| taken back)?",
    r"till: \d+ more sold than the ledger had",
    r"more was paid than the lesson costs\.",
    r"the wind was over your own window: it costs you nothing\.",
    r"the delivery that it was to come with was called off\.",
)
OWN_REASONS = tuple(map(re.compile, _OWN_REASONS))
"""What the program itself writes as the reason of an entry, in small letters."""
OWN_WORDS = frozenset(
    re.findall(r"[a-z]{3,}", " ".join((*_OWN_REASONS, *get_args(MovementKind))).replace("_", " "))
) | {"counted", "delivered", "damaged", "lesson", "quote", "board", "shelf", "shop"}
"""Words that stand in reasons and on the shelf without naming anybody."""


@dataclass(frozen=True, slots=True)
class Open:
    """Something that has to be ended first: what it is, why, and the page where it is done."""

    what: str
    address: str


@dataclass(frozen=True, slots=True)
class Note:
    """Words of the desk that name a person in a row that is not about them: in what, which row of it, and the words."""

    where: str
    row: str
    text: str


@dataclass(frozen=True)
class Kept:
    """All that is kept of a person, by table, as plain values; what of it is still open, and other ways to reach them.

    `shared` are the codes of quotes that somebody else has asked for as well: they stay with that other person.
    """

    contact: Contact
    rows: Mapping[str, Sequence[Fields]]
    open: tuple[Open, ...] = ()
    names: tuple[str, ...] = ()
    emails: tuple[str, ...] = ()
    phones: tuple[str, ...] = ()
    shared: tuple[str, ...] = ()
    notes: tuple[Note, ...] = ()
    """Notes of the desk that would be emptied, since they name them."""

    @property
    def counts(self) -> dict[str, int]:
        """How much there is of each sort, in their order; what there is nothing of is left out."""
        return {sort.table: len(self.rows[sort.table]) for sort in SORTS if self.rows.get(sort.table)}

    @property
    def is_nothing(self) -> bool:
        """Whether nothing is kept of them."""
        return not self.counts

    @property
    def digest(self) -> str:
        """A sign of what there is, which changes as soon as something is added."""
        rows = [[name, [row.get("id") for row in self.rows[name]]] for name in self.counts]
        told = json.dumps([rows, [[note.where, note.row, note.text] for note in self.notes]], default=str)
        return hashlib.sha256(told.encode()).hexdigest()[:16]

    def has_sale(self) -> bool:
        """Whether they bought something."""
        return bool(self.rows.get("sale"))


def words_of(counts: Mapping[str, int]) -> str:
    """Counts as words: 2 sales, 1 message."""
    return ", ".join(SORT_OF[name].counted(number) for name, number in counts.items())


def read_sought(email: str, phone: str) -> Contact:
    """By what somebody is sought, at least one of the two; raises `InvalidInput` with every fault."""
    faults = []
    if email and (len(email) > 200 or not email.isprintable() or not EMAIL.fullmatch(email)):
        faults.append(Fault("email", "This is not an e-mail address.", EMAIL_ACCEPTED))
    if phone and (not PHONE.fullmatch(phone) or len(Contact("", "", phone).phone_key) < FEWEST_DIGITS - 1):
        faults.append(Fault("phone", "This is not a telephone number.", PHONE_ACCEPTED))
    if not email and not phone:
        faults.append(Fault("email", "An e-mail address or a telephone number is needed.", EMAIL_ACCEPTED))
    if faults:
        raise InvalidInput(faults)
    return Contact("", email, phone)


@dataclass(frozen=True, slots=True)
class Signs:
    """By what a text is seen to name a person: whole addresses, whole numbers, and whole names, all their words side by side.

    A name of a single word that the program writes itself, such as Count or Sale, is no sign: it would be found everywhere.
    """

    names: tuple[re.Pattern[str], ...]
    emails: tuple[re.Pattern[str], ...]
    phone_keys: tuple[str, ...]

    @classmethod
    def of(cls, kept: Kept) -> Signs:
        """The signs of a person."""
        named = [_words(name) for name in kept.names if len(name) >= FEWEST_LETTERS]
        names = [words for words in named if words and not (len(words) == 1 and words[0] in OWN_WORDS)]
        keys = {Contact("", "", phone).phone_key for phone in (*kept.phones, kept.contact.phone)}
        emails = {_folded(email) for email in (*kept.emails, kept.contact.email) if email}
        return cls(
            tuple(re.compile(r"(?<!\w)" + r"[\W_]+".join(map(re.escape, words)) + r"(?!\w)") for words in names),
            tuple(re.compile(rf"(?<![\w.+-]){re.escape(email)}(?![\w-]|\.\w)") for email in emails),
            tuple(key for key in keys if len(key) >= FEWEST_DIGITS),
        )

    def are_in(self, text: str) -> bool:
        """Whether a text names the person; what the program says by itself names nobody."""
        folded = _folded(text)
        if any(said.fullmatch(folded) for said in OWN_REASONS):
            return False
        if any(sign.search(folded) for sign in (*self.names, *self.emails)):
            return True
        numbers = ("".join(filter(str.isdigit, said)) for said in NUMBER.findall(text)) if self.phone_keys else ()
        return any(number.endswith(key) for number in numbers for key in self.phone_keys)


def _folded(text: str) -> str:
    """A text in which letters are the same however they are spelt: capitals, accents put on afterwards."""
    return unicodedata.normalize("NFC", text).casefold()


def _words(name: str) -> list[str]:
    return re.findall(r"[^\W_]+", _folded(name))
