"""Every term of the policy in the owner's words: on which page it stands, what it does, its unit and what is accepted.

One table for the forms, for the lists of what changed and for the comparison of versions; a test holds it against the keys that the
policy knows. It knows no values.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from server.domain.slots import CORE_SLOTS, SLOT_WORDS

Sort = Literal[
    "whole", "decimal", "money", "share", "yes_no", "text", "lines", "weeks", "colour", "slots", "kinds", "zone",
    "tiers", "knots", "rates",
]  # fmt: skip
Effect = Literal["money", "sizes", "none"]


@dataclass(frozen=True, slots=True)
class Term:
    """A term: its dotted key, what it is called, what it does, its unit, what is accepted, and how it is typed."""

    key: str
    words: str
    says: str = ""
    unit: str = ""
    accepted: str = ""
    sort: Sort = "decimal"


@dataclass(frozen=True, slots=True)
class Group:
    """Terms that stand together under a heading; in a grid where each is only a number for one slot."""

    title: str
    says: str
    terms: tuple[Term, ...]
    is_grid: bool = False


@dataclass(frozen=True, slots=True)
class PolicyPage:
    """A page of the policy, what it is about, and what its changes would do."""

    name: str
    title: str
    about: str
    groups: tuple[Group, ...]
    effect: Effect = "none"

    @property
    def terms(self) -> Iterator[Term]:
        """All its terms in order."""
        return (term for group in self.groups for term in group.terms)


PERCENT = "per cent from 0 to 100"
COLOUR = "a colour"
SEASONAL_WORDS = {**{slot: SLOT_WORDS[slot].capitalize() for slot in CORE_SLOTS}, "extras": "Extras"}


def _by_slot(key: str, unit: str, accepted: str, sort: Sort, *, extras: bool = True) -> tuple[Term, ...]:
    names = (*CORE_SLOTS, "extras") if extras else CORE_SLOTS
    return tuple(Term(f"{key}.{slot}", SEASONAL_WORDS[slot], unit=unit, accepted=accepted, sort=sort) for slot in names)


KIT = PolicyPage(
    "kit",
    "Kit discount",
    "What somebody gets who buys several parts together, and what comes with it.",
    (
        Group(
            "The discounts",
            "Of those that a purchase reaches, the one with the highest per cent applies, to all parts of the kit that are bought.",
            (Term("tiers", "Kit discounts", sort="tiers"),),
        ),
        Group(
            "Beside a reduced price",
            "",
            (
                Term(
                    "pricing.markdown_wins_ties",
                    "Equal reductions are shown as the part's own",
                    "A part never gets both its own reduction and the kit discount, but the better of the two. Where both are worth "
                    "the same, yes shows the part's own reduction, no the kit discount.",
                    accepted="yes or no",
                    sort="yes_no",
                ),
            ),
        ),
        Group(
            "Delivery",
            "",
            (
                Term(
                    "shop.home_zone",
                    "Home zone",
                    "A whole kit is delivered free inside this zone; everything else goes by the table of deliveries.",
                    accepted="a zone of the table of deliveries",
                    sort="zone",
                ),
            ),
        ),
    ),
    "money",
)
OLD_GEAR = PolicyPage(
    "old-gear",
    "Old gear",
    "What a learner's old gear is worth against a new kit.",
    (
        Group(
            "The curve",
            "A part loses a share of what it is still worth each year, and some more in its first.",
            (
                *(
                    Term(f"trade_in.yearly_loss.{slot}", SLOT_WORDS[slot].capitalize(), unit="% a year",
                         accepted="per cent, together with the first year's extra at most 100", sort="share")
                    for slot in CORE_SLOTS
                ),
                Term("trade_in.first_year_extra_loss", "More in the first year", unit="%", accepted=PERCENT, sort="share"),
            ),
            is_grid=True,
        ),
        Group(
            "Its condition",
            "The share of that value which is left, by the state that it is in.",
            (
                Term("trade_in.condition.like_new", "Like new", unit="%", accepted=PERCENT, sort="share"),
                Term("trade_in.condition.good", "Good", unit="%", accepted=PERCENT, sort="share"),
                Term("trade_in.condition.worn", "Worn", unit="%", accepted=PERCENT, sort="share"),
                Term("trade_in.condition.poor", "Poor", unit="%", accepted=PERCENT, sort="share"),
            ),
            is_grid=True,
        ),
        Group(
            "What the shop keeps",
            "",
            (
                Term("trade_in.handling", "For looking it over and selling it on",
                     "The share that stays with the shop for inspecting, cleaning and selling.", "%", PERCENT, "share"),
                Term("trade_in.share", "Most of the new parts that old gear pays",
                     "All pieces together pay at most this share of the new parts bought.", "%", PERCENT, "share"),
                Term("trade_in.step", "Rounded down to whole steps of",
                     "So that nobody haggles over cents.", "money", "an amount from 0.01 to 1000.00", "money"),
                Term("trade_in.expected_loss", "Lost when it is sold on",
                     "The share of a value that is lost on average; it lowers your margin and nobody's price.", "%", PERCENT,
                     "share"),
            ),
        ),
    ),
    "money",
)  # fmt: skip
LESSONS = PolicyPage(
    "lessons",
    "Lessons and fees back",
    "When lesson fees come back with a kit, when lessons are called off, and what calling off late costs.",
    (
        Group(
            "Fees given back",
            "",
            (
                Term("deposit.refund_window_days", "Days to decide",
                     "A kit bought within so many days of the last lesson brings the lesson fees back.", "days",
                     "whole days from 0 to 3650", "whole"),
            ),
        ),
        Group(
            "Wind",
            "",
            (
                Term("lessons.without_wind", "Kinds that need no wind",
                     "Too little wind calls off none of these.", accepted="kinds of lesson that you give", sort="kinds"),
                Term("lessons.least_mean_kn", "Least mean wind",
                     "With less, a lesson with the hand wing is called off.", "kn", "knots from 0 to 60"),
                Term("lessons.most_gust_kn", "Strongest gusts",
                     "Stronger ones call off every lesson.", "kn", "knots from 0 to 60"),
            ),
        ),
        Group(
            "Calling off",
            "",
            (
                Term("lessons.provisional_call_hour", "Told the evening before at",
                     "The hour of the day at which learners hear how it looks.", "o'clock", "a whole hour from 0 to 23", "whole"),
                Term("lessons.final_call_hours", "Told for good before the start",
                     "So long before a lesson learners hear whether it is on.", "hours", "whole hours from 0 to 168", "whole"),
                Term("lessons.call_off_hours", "Free to call off until",
                     "A learner who calls off earlier than this before the start pays nothing.", "hours",
                     "whole hours from 0 to 168", "whole"),
                Term("lessons.kept_if_late", "Kept when called off later",
                     "The share of the fee that stays with the shop.", "%", PERCENT, "share"),
                Term("lessons.kept_if_missed", "Kept when nobody comes",
                     "The share of the fee that stays with the shop.", "%", PERCENT, "share"),
            ),
        ),
    ),
    "money",
)  # fmt: skip
HOLDS = PolicyPage(
    "holds",
    "Quotes and holds",
    "How long prices stand and parts are set aside.",
    (
        Group(
            "Quotes",
            "",
            (
                Term("quotes.price_good_days", "A price is good for",
                     "So many days after it was kept, the last one included. Quotes made before keep their day.", "days",
                     "whole days from 0 to 730", "whole"),
                Term("quotes.draft_days", "Answers that nobody kept are there for",
                     "After so many days without a change they are cleared away.", "days", "whole days from 1 to 730", "whole"),
            ),
        ),
        Group(
            "Holds",
            "",
            (
                Term("quotes.hold_unconfirmed_hours", "Parts asked for are set aside for",
                     "Until you have said yes: long enough to answer, short enough not to empty the shelf.", "hours",
                     "whole hours from 1 to 168", "whole"),
                Term("quotes.hold_confirmed_days", "And once you have confirmed, for",
                     "So long a customer has to come by or pay.", "days", "whole days from 1 to 730", "whole"),
            ),
        ),
    ),
)  # fmt: skip
SIZING = PolicyPage(
    "sizing",
    "Sizing",
    "How a learner's sizes are found. Change one thing at a time, and look at who would get another part.",
    (
        Group(
            "Floating home",
            "",
            (
                Term("fit.worn_kg", "Wet suit, vest and helmet weigh",
                     "Counted with the learner on the water: more of it asks for larger boards and foils.", "kg", "kg from 0 to 30"),
                Term("fit.reserve_l", "Litres to spare",
                     "A board has to have so much more than it takes to carry the learner home on their knees.", "l",
                     "litres from 0 to 60"),
            ),
        ),
        Group(
            "What counts as fitting",
            "",
            (
                Term("fit.misfit_cap", "Worst misfit in a kit that is offered",
                     "0 is exactly the ideal size, 1 about a size off. A kit with a part over this is not offered as sound.", "",
                     "a number from 0.01 to 100"),
            ),
        ),
        Group(
            "How much each part counts",
            "Where no kit is ideal in all parts, those that count more are fitted first.",
            _by_slot("fit.weights", "", "a number from 0.01 to 100", "decimal", extras=False),
            is_grid=True,
        ),
        Group(
            "Hand wing by mass",
            "The ideal area in 15 knots for a learner's mass; in between it runs straight, and the ends are carried on. Leave a row "
            "empty to take it out; two are needed.",
            (Term("fit.hand_wing_knots", "Hand wing by mass", accepted="two rows or more, by rising mass", sort="knots"),),
        ),
    ),
    "sizes",
)  # fmt: skip
SALES = PolicyPage(
    "sales",
    "Sales and returns",
    "Rights to give back and swap, deductions, warranty, and what comes after a sale. Local law decides.",
    (
        Group(
            "Giving back",
            "",
            (
                Term("sales.cancel_days", "Right to cancel",
                     "After the last part came, what was bought at a distance or on the beach may be given back; 0: no such right.",
                     "days", "whole days from 0 to 365", "whole"),
                Term("sales.refund_days", "Money back within",
                     "Counted from the notice.", "days", "whole days from 1 to 365", "whole"),
                Term("sales.counter_days", "Bought at the counter",
                     "Unused, the shop takes it back of its own accord for so long.", "days", "whole days from 0 to 365", "whole"),
                Term("sales.bulky_slots", "Parts that do not go by post",
                     "What their collection costs is told before they are bought.", accepted="parts of a kit or extras", sort="slots"),
                Term("sales.bulky_freight", "Collecting one of them",
                     "What the customer pays to send a bulky part back.", "money", "an amount from 0.00 to 1000.00", "money"),
            ),
        ),
        Group(
            "Kept for use",
            "The most that is kept of a part's price where it was used beyond trying it as in a shop.",
            _by_slot("sales.wear_percent", "%", PERCENT, "decimal"),
            is_grid=True,
        ),
        Group(
            "Swapping a size",
            "",
            (
                Term("sales.swap_days", "Swaps are open for",
                     "Counted from the handover.", "days", "whole days from 0 to 365", "whole"),
                Term("sales.swap_lessons", "Or until this lesson is taken",
                     "Whichever is later.", "lessons", "a whole number from 0 to 50", "whole"),
                Term("sales.swap_days_after_lesson", "And so long after it",
                     "So that what was seen in the lesson can be acted on.", "days", "whole days from 0 to 365", "whole"),
            ),
        ),
        Group(
            "What a swap costs",
            "For a size up or down of the same part.",
            _by_slot("sales.swap_fee", "money", "an amount from 0.00 to 1000.00", "money"),
            is_grid=True,
        ),
        Group(
            "Warranty",
            "Months from the day a part was handed over.",
            _by_slot("sales.warranty_months", "months", "whole months from 0 to 240", "whole"),
            is_grid=True,
        ),
        Group(
            "Afterwards",
            "",
            (
                Term("sales.support_sessions", "Sessions that come with a whole kit",
                     "Help on the water, at no charge.", "sessions", "a whole number from 0 to 99", "whole"),
                Term("sales.follow_up_weeks", "Weeks after which we ask how it goes",
                     "With commas between them; only those who allow it are asked. Empty: nobody is.", "weeks",
                     "rising whole weeks from 1 to 104, such as 1, 4, 12", "weeks"),
            ),
        ),
        Group(
            "Payment",
            "",
            (
                Term("sales.rounds_cash", "Cash is rounded to five cent",
                     "What is paid in cash in the end; cards and transfers are not.", accepted="yes or no", sort="yes_no"),
            ),
        ),
    ),
)  # fmt: skip
SHOP = PolicyPage(
    "shop",
    "The shop",
    "What stands at the head of pages and papers.",
    (
        Group(
            "Who and where",
            "",
            (
                Term("shop.name", "Name", "As customers read it everywhere.", accepted="text", sort="text"),
                Term("shop.place", "Place", "Beside the name.", accepted="text", sort="text"),
                Term("shop.telephone", "Telephone", "At the foot of every page.", accepted="text", sort="text"),
                Term("shop.email", "E-mail", "At the foot of every page.", accepted="text", sort="text"),
                Term("shop.opening_hours", "Opening hours", "In a sentence.", accepted="text", sort="text"),
            ),
        ),
        Group(
            "On papers",
            "",
            (
                Term("sales.invoice_prefix", "Before the number of an invoice",
                     "The series itself goes on unbroken.", accepted="at most 12 letters, digits and hyphens", sort="text"),
                Term("sales.seller_lines", "Postal address", "On invoices, a line each.", accepted="text", sort="lines"),
                Term("sales.vat_number", "VAT number", "On invoices.", accepted="text", sort="text"),
                Term("sales.bank_lines", "Account for transfers",
                     "On invoices that are not paid yet; empty: nothing is said of one.", accepted="text", sort="lines"),
            ),
        ),
        Group(
            "Money, language and clock",
            "Seldom changed once the shop runs.",
            (
                Term("shop.country", "Country", "For public holidays.", accepted="two letters, such as IE", sort="text"),
                Term("shop.locale", "Locale", "How numbers and days are written.", accepted="a locale such as en_IE", sort="text"),
                Term("shop.currency", "Currency", "Amounts are not converted.", accepted="three letters, such as EUR", sort="text"),
                Term("shop.time_zone", "Time zone", "When a day begins.", accepted="a zone such as Europe/Dublin", sort="text"),
            ),
        ),
    ),
)  # fmt: skip
VAT = PolicyPage(
    "vat",
    "VAT",
    "The tax inside every price. Prices stay; what is left of them changes.",
    (
        Group(
            "Rates",
            "",
            (
                Term("shop.vat_percent", "Rate", "Inside the prices of gear and lessons alike.", "%", PERCENT),
                Term("shop.vat_from", "Other rates by day",
                     "Each takes the place of the one before when its day begins. Leave a row empty to take it out.", "%",
                     "days in rising order, each with per cent from 0 to 100", "rates"),
            ),
        ),
    ),
    "money",
)  # fmt: skip
COLOURS = PolicyPage(
    "look",
    "Colours",
    "The shop's own colours. Text has to stand out from its ground by at least 4.5 to 1, or they are refused.",
    (
        Group(
            "On light pages",
            "",
            (
                Term("look.accent", "What can be done", "Links, buttons and the lines that measure.", accepted=COLOUR, sort="colour"),
                Term("look.on_accent", "Words on a button", "On the colour above.", accepted=COLOUR, sort="colour"),
                Term("look.paper", "Page", "The ground of everything.", accepted=COLOUR, sort="colour"),
                Term("look.ink", "Text", "What is read.", accepted=COLOUR, sort="colour"),
                Term("look.sand", "Behind the price", "The ground of money.", accepted=COLOUR, sort="colour"),
            ),
        ),
        Group(
            "On dark pages",
            "For those whose device asks for dark ones.",
            (
                Term("look.dark_accent", "What can be done", "As above, on dark pages.", accepted=COLOUR, sort="colour"),
                Term("look.dark_on_accent", "Words on a button", "As above, on dark pages.", accepted=COLOUR, sort="colour"),
                Term("look.dark_paper", "Page", "As above, on dark pages.", accepted=COLOUR, sort="colour"),
                Term("look.dark_ink", "Text", "As above, on dark pages.", accepted=COLOUR, sort="colour"),
                Term("look.dark_sand", "Behind the price", "As above, on dark pages.", accepted=COLOUR, sort="colour"),
            ),
        ),
    ),
)  # fmt: skip
DESK = PolicyPage(
    "desk",
    "Desk and margin",
    "How far staff may go, and from where on you want to be asked.",
    (
        Group(
            "Margin",
            "",
            (
                Term("pricing.margin_floor_percent", "Margin floor",
                     "Of the revenue less VAT. A quote under it is marked, and what was agreed by hand may not go under it without "
                     "your word; a customer's own quote is never stopped.", "%", PERCENT),
            ),
        ),
        Group(
            "Staff",
            "",
            (
                Term("desk.staff_discount_percent", "Staff may take off",
                     "Of the kit's parts, beyond the kit discount; more waits for your word.", "%", PERCENT),
                Term("desk.staff_see_margin", "Staff see cost and margin",
                     "At the desk; you always do.", accepted="yes or no", sort="yes_no"),
            ),
        ),
    ),
    "money",
)  # fmt: skip
ORDERING = PolicyPage(
    "ordering",
    "Ordering",
    "What a part left over is worth, when the shop works out how many to order.",
    (
        Group(
            "Value after the season",
            "The share of its price that a part still fetches: less of it makes the order smaller.",
            _by_slot("ordering.end_of_season_value", "%", PERCENT, "share"),
            is_grid=True,
        ),
    ),
)
KEEPING = PolicyPage(
    "keeping",
    "Keeping data",
    "How long people stay in the books. The page on privacy says these to customers.",
    (
        Group(
            "Forgotten after",
            "",
            (
                Term("retention.contact_days", "Who asked for a hold",
                     "Name and address, counted from the end of the hold.", "days", "whole days from 1 to 3650", "whole"),
                Term("retention.quote_days", "Quotes that came to nothing",
                     "Counted from the last day of their price, where the shop never confirmed them.", "days",
                     "whole days from 1 to 3650", "whole"),
                Term("sales.kept_years", "Names with sales",
                     "For warranty, recalls and the tax office.", "years", "whole years from 1 to 30", "whole"),
            ),
        ),
    ),
)  # fmt: skip

PAGES: tuple[PolicyPage, ...] = (
    KIT, OLD_GEAR, LESSONS, DESK, VAT, SIZING, HOLDS, SALES, ORDERING, SHOP, COLOURS, KEEPING,
)  # fmt: skip
BY_NAME = {page.name: page for page in PAGES}
TERMS = {term.key: (page, group, term) for page in PAGES for group in page.groups for term in group.terms}


def page_of(key: str) -> PolicyPage | None:
    """The page on which a key stands."""
    found = TERMS.get(re.sub(r"\[.*", "", key))
    return found[0] if found else None


def field_of(key: str) -> str:
    """The name of a key's field in a form: letters, digits, underscores and hyphens alone."""
    return re.sub(r"[^\w]+", "-", key, flags=re.ASCII).strip("-")
