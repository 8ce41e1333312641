"""Messages to customers: which there are, the shop's words for them, filled by name alone, and when to try again.

A text holds nothing but words and named placeholders in braces: no conditions, no formats, no attributes, so that whoever
edits one can neither break a page nor read what was not meant for it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from server.domain.errors import Fault, InvalidInput

State = Literal["waiting", "sent", "given_up"]
PLACEHOLDER = re.compile(r"\{([a-z_]+)\}", re.ASCII)
HOST = re.compile(r"[A-Za-z0-9-]+(\.[A-Za-z0-9-]+)+", re.ASCII)
NO_HOST = "slackwater.invalid"
"""The host of a Message-ID where the shop has no address of its own; nobody can ever have it (RFC 2606, 2)."""
MOST_SUBJECT, MOST_BODY = 150, 4000
SUBJECT_ACCEPTED = f"one line of 1 to {MOST_SUBJECT} characters"
BODY_ACCEPTED = f"1 to {MOST_BODY} characters of plain text"
FIRST_WAIT, LONGEST_WAIT = timedelta(minutes=1), timedelta(hours=2)
GIVE_UP_AFTER = timedelta(days=3)
"""How long sending is tried: RFC 5321, 4.5.4.1 asks for 4 to 5 days of a relay; a lesson would be over long before."""
TOO_OLD = "It waited for more than three days and was not sent, since it may be true no more."


@dataclass(frozen=True, slots=True)
class Wording:
    """The two texts of a message, with placeholders or filled."""

    subject: str
    body: str


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of message: what it is called, when it is sent, its placeholders with a sample each, and its usual words.

    `needed` names the placeholders without which it would be of no use to whom it reaches.
    """

    name: str
    title: str
    sent_when: str
    samples: Mapping[str, str]
    needed: tuple[str, ...]
    usual: Wording


@dataclass(frozen=True, slots=True)
class Message:
    """A message in the outbox: to whom, its filled texts, its one Message-ID, and how far it has got."""

    id: int
    message_id: str
    name: str
    about: str
    to_name: str
    to_email: str
    text: Wording
    calendar: str | None
    made_at: datetime
    made_by: str
    next_at: datetime
    tries: int = 0
    leased_until: datetime | None = None
    sent_at: datetime | None = None
    gave_up_at: datetime | None = None
    last_error: str = ""

    @property
    def state(self) -> State:
        """Whether it waits, was sent or was given up."""
        return "sent" if self.sent_at else "given_up" if self.gave_up_at else "waiting"


@dataclass(frozen=True, slots=True)
class HeldUp:
    """Messages that were tried and wait to be tried again: how many, since when the oldest, and what was said to it last."""

    number: int
    since: datetime
    because: str


SHOP_SAMPLES = {"name": "Nuala Example", "shop": "Two Herons Watersports", "telephone": "01 555 0100"}
LESSON_SAMPLES = {
    **SHOP_SAMPLES,
    "lesson": "First flights",
    "when": "Saturday 5 December 2026, 10:30",
    "where": "Tullaveen Strand",
    "instructor": "Maeve",
    "code": "7K3M 9XTR",
    "link": "https://shop.example/bookings/sample",
}
QUOTE_SAMPLES = {**SHOP_SAMPLES, "code": "7K3M 9XTR", "link": "https://shop.example/quotes/sample"}
OWNED_SAMPLES = {**SHOP_SAMPLES, "code": "7K3M 9XTR", "link": "https://shop.example/owned/sample"}
PIECE_SAMPLES = {
    **SHOP_SAMPLES,
    "what": "Shearwater 5.5, Saltmarsh Wings",
    "link": "https://shop.example/used/reservations/sample",
}
SIGNED = "\n\n{shop}\n{telephone}\n"
LESSON_LINES = "{lesson}\n{when}\n{where}, with {instructor}"


def _kind(
    name: str, title: str, sent_when: str, samples: Mapping[str, str], needed: tuple[str, ...], subject: str, body: str
) -> Kind:
    return Kind(name, title, sent_when, samples, needed, Wording(subject, body + SIGNED))


KINDS = (
    _kind(
        "booking_made",
        "A lesson is booked",
        "when somebody books a place, or the desk books it for them",
        LESSON_SAMPLES,
        ("when", "link"),
        "Your lesson: {when}",
        f"Dear {{name}},\n\nyou have a place in this lesson:\n\n{LESSON_LINES}\n\nYour code is {{code}}. You pay at the shop."
        "\n\nTo see your booking, move it or call it off:\n{link}\n\nWe look at the weather the evening before and once more"
        " before we begin, and write to you. The instructor on the beach has the last word.",
    ),
    _kind(
        "booking_moved",
        "A booking has another time",
        "when a booking is moved, or the shop changes the time, the place or who teaches",
        {**LESSON_SAMPLES, "fee": "What you have paid came along."},
        ("when", "link"),
        "Your lesson has changed: {when}",
        f"Dear {{name}},\n\nthis is how your lesson stands now:\n\n{LESSON_LINES}\n\nYour code is still {{code}}. {{fee}}"
        "\n\nYour booking:\n{link}",
    ),
    _kind(
        "lesson_called_off",
        "The shop calls a lesson off",
        "when the shop calls a lesson off for good, to everybody who has a place",
        {**LESSON_SAMPLES, "because": "Gusts of 28 kn are over 25 kn."},
        ("when", "link"),
        "Called off: your lesson, {when}",
        f"Dear {{name}},\n\nwe have called this lesson off:\n\n{LESSON_LINES}\n\n{{because}}\n\nYou owe nothing for it. Choose"
        " another time here, or have your fee back in full at the shop:\n{link}",
    ),
    _kind(
        "lesson_provisional",
        "How a lesson looks, the evening before",
        "when the desk says the evening before how it looks",
        {**LESSON_SAMPLES, "looks": "on", "because": "Wind of 14 kn from the south-west."},
        ("looks", "when"),
        "For now it looks {looks}: your lesson, {when}",
        f"Dear {{name}},\n\nfor now your lesson looks {{looks}}:\n\n{LESSON_LINES}\n\n{{because}}\n\nThis is how it looks this"
        " evening. We look once more before we begin and write to you then.\n\nYour booking:\n{link}",
    ),
    _kind(
        "lesson_final",
        "A lesson is on",
        "when the desk says shortly before that the lesson is held",
        {**LESSON_SAMPLES, "because": "Wind of 14 kn from the south-west."},
        ("when",),
        "It is on: your lesson, {when}",
        f"Dear {{name}},\n\nyour lesson is on:\n\n{LESSON_LINES}\n\n{{because}}\n\nThe instructor on the beach has the last"
        " word. Please be there a quarter of an hour before.\n\nYour booking:\n{link}",
    ),
    _kind(
        "booking_called_off",
        "A learner calls off",
        "when somebody calls off their own place, or declines a wind that is above their own window",
        {**LESSON_SAMPLES, "because": "It was called off in time: the fee is given back in full."},
        ("when",),
        "You have called off: {when}",
        f"Dear {{name}},\n\nyou have called this lesson off:\n\n{LESSON_LINES}\n\n{{because}}\n\nYour code is {{code}}. If it"
        " was a slip, ring us. Your booking:\n{link}",
    ),
    _kind(
        "quote_changed",
        "A quote changes after a lesson",
        "when what was seen on the water changes a quote",
        {
            **QUOTE_SAMPLES,
            "changes": "Hand wing: 5 m² instead of 4 m²",
            "because": "You were up and riding on most runs, and wanted more pull.",
        },
        ("changes", "link"),
        "Your quote {code} after your lesson",
        "Dear {name},\n\nafter your lesson we have looked at your quote {code} again.\n\n{because}\n\nWhat is different:\n"
        "{changes}\n\nThe new quote stands beside the old one, and you decide:\n{link}",
    ),
    _kind(
        "hold_confirmed",
        "Parts are held",
        "when the desk confirms that the parts of a quote are held",
        {**QUOTE_SAMPLES, "until": "Wednesday 9 December 2026, 18:00"},
        ("until", "link"),
        "Your parts are held until {until}",
        "Dear {name},\n\nthe parts of your quote {code} are put aside for you until {until}.\n\nYour quote:\n{link}",
    ),
    _kind(
        "quote_withdrawn",
        "A quote is withdrawn",
        "when the desk withdraws a quote whose parts somebody had asked to hold",
        {**QUOTE_SAMPLES, "because": "The mast of this kit was called back by its maker."},
        ("because",),
        "We have withdrawn your quote {code}",
        "Dear {name},\n\nwe have withdrawn your quote {code}, and nothing is set aside for it any more:\n\n{because}\n\nYou owe"
        " nothing for it. Ring us, and we make you a new one. What it said is still here:\n{link}",
    ),
    _kind(
        "contract_made",
        "A contract is made",
        "when the shop takes payment for a quote",
        {
            **SHOP_SAMPLES,
            "code": "7K3M 9XTR",
            "link": "https://shop.example/owned/sample",
            "paid": "€500.00",
            "left": "€3,250.00",
        },
        ("code", "link"),
        "Your kit {code} is yours",
        "Dear {name},\n\nthank you. Your kit {code} is bought, and its parts stay aside for you until they are handed over.\n\n"
        "Paid: {paid}\nLeft to pay: {left}\n\nYour papers, what you may give back and until when, and how to swap a size or ask us"
        " something stand on your own page:\n{link}\n\nKeep its address to yourself: whoever has it sees the page.",
    ),
    _kind(
        "notice_received",
        "Somebody gives something back",
        "when somebody tells us, on their own page or at the desk, that they give something back",
        {
            **SHOP_SAMPLES,
            "code": "7K3M 9XTR",
            "link": "https://shop.example/owned/sample",
            "day": "5 December 2026",
            "items": "Board 104\nHand wing 5.5",
            "due": "21 December 2026",
        },
        ("day", "items"),
        "We have your notice of {day}",
        "Dear {name},\n\non {day} you told us that you give this back, of your kit {code}:\n\n{items}\n\nKeep this message: it"
        " shows that you told us in time. Send or bring the things within 14 days. Your money is due by {due}; it may wait until the"
        " things are here, or until you show us that you sent them.\n\nYour page:\n{link}",
    ),
    _kind(
        "return_done",
        "What was given back is worked out",
        "when the desk has taken something back, with what that comes to",
        {
            **SHOP_SAMPLES,
            "code": "7K3M 9XTR",
            "link": "https://shop.example/owned/sample",
            "lines": "Board 104: 1899.00\nWear of the board: -379.80",
            "total": "1519.20",
        },
        ("lines", "total"),
        "Your return, kit {code}",
        "Dear {name},\n\nthis is what giving back comes to, line by line:\n\n{lines}\n\nIn all: {total}\n\nYour papers stand on"
        " your page:\n{link}",
    ),
    _kind(
        "sent_off",
        "A parcel is sent off",
        "when the desk sends what was bought on its way",
        {
            **OWNED_SAMPLES,
            "expected": "We expect it with you by Wednesday 2 December 2026.",
            "carrier": "Carrier: Strand Parcels",
            "tracking": "Tracking: SP 1234 5678",
        },
        ("link",),
        "On its way: your kit {code}",
        "Dear {name},\n\nyour kit {code} is on its way to you.\n\n{expected}\n{carrier}\n{tracking}\n\nLook it over when it comes, and"
        " before the first session check the bolts against the maker's paper. Serial numbers, papers and until when you may give"
        " it back stand on your own page:\n{link}",
    ),
    _kind(
        "question_answered",
        "A question is answered",
        "when the desk answers what a customer asked on their own page",
        {
            **OWNED_SAMPLES,
            "question": "The front foil hums above 12 knots. Is that a fault?",
            "answer": "It is not. Smooth the back edge with fine paper, or bring it in and we do it.",
        },
        ("answer", "link"),
        "Your question about your kit {code}",
        "Dear {name},\n\nyou asked: {question}\n\n{answer}\n\nIt stands on your own page too, where you can ask again:\n{link}",
    ),
    _kind(
        "follow_up",
        "How it goes with a kit",
        "some weeks after a kit was handed over, to those who allow it",
        {**OWNED_SAMPLES, "weeks": "4 weeks"},
        ("link",),
        "How does it go with your kit?",
        "Dear {name},\n\nyou have had your kit for {weeks} now. How does it go? Is anything loose, worn or not as it should be?"
        "\n\nAsk us anything, and see what comes next, on your own page:\n{link}\n\nThere you can also say that we should write"
        " no more.",
    ),
    _kind(
        "piece_held",
        "A used piece or a part to come is held",
        "when the desk confirms a request to hold one",
        {**PIECE_SAMPLES, "until": "Wednesday 9 December 2026, 18:00"},
        ("until", "link"),
        "Held for you until {until}: {what}",
        "Dear {name},\n\nthis is put aside for you until {until}:\n\n{what}\n\nHow it stands:\n{link}",
    ),
    _kind(
        "piece_let_go",
        "A used piece or a part to come is held no more",
        "when the desk lets go of one, or its delivery is called off",
        {**PIECE_SAMPLES, "because": "The delivery that it was to come with was called off."},
        ("what", "because"),
        "Not held any more: {what}",
        "Dear {name},\n\nwe cannot keep this for you any longer:\n\n{what}\n\n{because}\n\nYou owe nothing. Ring us if you"
        " would like to look for another.",
    ),
    _kind(
        "piece_arrived",
        "What somebody waits for has come",
        "when an expected part or used piece arrives that is held for somebody",
        {**PIECE_SAMPLES, "until": "Wednesday 9 December 2026, 18:00"},
        ("until", "link"),
        "It is here: {what}",
        "Dear {name},\n\nwhat you asked us to hold has come:\n\n{what}\n\nWe keep it for you until {until}. Come by, or ring"
        " us.\n\nHow it stands:\n{link}",
    ),
    _kind(
        "piece_due",
        "What somebody waits for is due about another day",
        "when the desk changes the day about which something held is due",
        {**PIECE_SAMPLES, "due": "12 December 2026"},
        ("due", "link"),
        "Due about {due}: {what}",
        "Dear {name},\n\nwhat you asked us to hold is now due about {due}:\n\n{what}\n\nWe write to you when it is here.\n\n"
        "How it stands, and how to take it back:\n{link}",
    ),
    _kind(
        "gear_valued",
        "Old gear counts for another value",
        "when old gear was looked at and counts for more or less than was agreed",
        {
            **PIECE_SAMPLES,
            "code": "7K3M 9XTR",
            "agreed": "€310.00",
            "value": "€250.00",
            "because": "The track box is worn.",
            "left": "Left to pay: €60.00",
        },
        ("value", "because"),
        "Your old gear: {what}",
        "Dear {name},\n\nwe have looked at your old gear for {code}:\n\n{what}\n\nAgreed: {agreed}\nIt counts for: {value}\n{left}"
        "\n\n{because}\n\nIf you see it otherwise, or would rather keep it, ring us. Your page:\n{link}",
    ),
    _kind(
        "piece_bought",
        "A used piece or a part that was held is sold",
        "when the shop sells a used piece, or a part that had been expected",
        {**PIECE_SAMPLES, "code": "7K3M 9XTR", "paid": "€450.00", "left": "Left to pay: €50.00"},
        ("code", "link"),
        "Yours: {what}",
        "Dear {name},\n\nthank you. This is yours:\n\n{what}\n\nIts code is {code}.\nPaid: {paid}\n{left}\n\nYour papers and all"
        " that comes after stand on your own page:\n{link}\n\nKeep its address to yourself: whoever has it sees the page.",
    ),
)
WORDINGS: Mapping[str, Kind] = {kind.name: kind for kind in KINDS}


def read_wording(name: str, subject: str, body: str) -> tuple[Wording, tuple[Fault, ...]]:
    """A message's texts as they were typed, tidied, and all that is wrong with them; nothing is wrong where there is no fault.

    A line break in a subject would begin a header of its own and is refused. Raises `KeyError` where no message has the name.
    """
    kind = WORDINGS[name]
    text = Wording(subject.strip(), _tidied(body))
    faults = []
    if not 1 <= len(text.subject) <= MOST_SUBJECT:
        faults.append(Fault("subject", "A subject is needed, and not too long.", SUBJECT_ACCEPTED))
    if not text.subject.isprintable():
        faults.append(Fault("subject", "A subject is one line of plain characters.", SUBJECT_ACCEPTED))
    if not text.body.strip() or len(text.body) > MOST_BODY:
        faults.append(Fault("body", "A text is needed, and not too long.", BODY_ACCEPTED))
    if not text.body.replace("\n", "").isprintable():
        faults.append(Fault("body", "There is a character in it that cannot be written.", BODY_ACCEPTED))
    for field, words in (("subject", text.subject), ("body", text.body)):
        faults += _faults_of_placeholders(kind, field, words)
    said = set(PLACEHOLDER.findall(text.subject + text.body))
    for needed in kind.needed:
        if needed not in said:
            message = f"Without {{{needed}}} this message is of no use."
            faults.append(Fault("body", message, f"{{{needed}}} somewhere in the text"))
    return text, tuple(faults)


def _tidied(body: str) -> str:
    """A text with plain line breaks, no blanks at the ends of lines, and one break at its own end."""
    lines = body.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ").split("\n")
    return "\n".join(line.rstrip(" ") for line in lines).strip("\n") + "\n"


def _faults_of_placeholders(kind: Kind, field: str, words: str) -> list[Fault]:
    """A fault for every unknown placeholder and one for braces that hold none."""
    accepted = ", ".join(f"{{{name}}}" for name in kind.samples)
    unknown = sorted({name for name in PLACEHOLDER.findall(words) if name not in kind.samples})
    faults = [Fault(field, f"There is no {{{name}}} in this message.", accepted) for name in unknown]
    if re.search("[{}]", PLACEHOLDER.sub("", words)):
        faults.append(Fault(field, "A brace stands alone; braces only go around a placeholder's name.", accepted))
    return faults


def fill(wording: Wording, values: Mapping[str, str]) -> Wording:
    """A wording with its placeholders replaced by name; what the values hold is never looked at for placeholders again.

    In the subject a value is flattened to one line. A line of the body whose placeholders all came out empty is left out where
    it holds nothing else, with the blank line that it would leave. Raises `ValueError` where a value is missing.
    """
    missing = sorted(set(PLACEHOLDER.findall(wording.subject + wording.body)) - values.keys())
    if missing:
        raise ValueError(f"a message wants these values too: {', '.join(missing)}")
    subject = PLACEHOLDER.sub(lambda found: one_line(values[found[1]]), wording.subject)
    lines: list[str] = []
    for line in wording.body.split("\n"):
        filled = PLACEHOLDER.sub(lambda found: _plain(values[found[1]]), line)
        is_left_out = not filled.strip() and (line.strip() or not lines or not lines[-1])
        if not is_left_out:
            lines.append(filled)
    return Wording(one_line(subject), "\n".join(lines).strip("\n") + "\n")


def one_line(text: str) -> str:
    """A text on one line without control characters, for a header."""
    return "".join(sign for sign in " ".join(text.split()) if sign.isprintable())


def _plain(value: str) -> str:
    """A value with plain line breaks and without control characters."""
    return "\n".join(one_line(line) for line in value.splitlines())


def sample_of(name: str, wording: Wording) -> Wording:
    """A message filled with its samples, as a preview and a test show it."""
    return fill(wording, WORDINGS[name].samples)


def check_wording(name: str, subject: str, body: str) -> Wording:
    """The texts, where nothing is wrong with them; raises `InvalidInput` with every fault."""
    text, faults = read_wording(name, subject, body)
    if faults:
        raise InvalidInput(faults)
    return text


def new_message_id(random_part: str, shop_email: str) -> str:
    """A Message-ID (RFC 5322, 3.6.4) of a part that was drawn at random and the host of the shop's own address."""
    host = shop_email.rpartition("@")[2]
    return f"<{random_part}@{host if HOST.fullmatch(host) else NO_HOST}>"


def wait_after(tries: int) -> timedelta:
    """How long to wait after the so-manieth failure: one minute, doubled every time, at most two hours."""
    return min(FIRST_WAIT * (1 << min(tries - 1, 10)), LONGEST_WAIT)


def is_too_old(message: Message, now: datetime) -> bool:
    """Whether sending is to be tried no more: never tried and due for three days, or tried and made three days ago."""
    since = message.made_at if message.tries else message.next_at
    return now - since > GIVE_UP_AFTER
