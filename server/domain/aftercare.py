"""After the handover: how long the warranty runs, how gear is cared for, which spare parts fit, and the next step on the water."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from server.domain.catalogue import Catalogue, Part
from server.domain.errors import Fault
from server.domain.fit import do_not_join, is_less
from server.domain.kit_left import tier_left
from server.domain.kits import Fitter, Kit, Neighbour
from server.domain.learner import Trade
from server.domain.money import Cents
from server.domain.periods import months_after
from server.domain.policy import Policy
from server.domain.sale_terms import SaleTerms
from server.domain.sales import Item, Sale
from server.domain.slots import CORE_SLOTS, SPARE
from server.domain.trade_in import value_trade

MOST_OPEN_QUESTIONS = 5
LONGEST_TEXT = 2000
TEXT_ACCEPTED = f"3 to {LONGEST_TEXT} characters"
STEP_SLOTS = ("fuselage", "tail", "front_foil", "board")
STEP_TITLES: Mapping[str, str] = {
    "fuselage": "A shorter fuselage",
    "tail": "A smaller tail",
    "front_foil": "A smaller front foil",
    "board": "A smaller board",
}
STEP_WORDS: Mapping[str, str] = {
    "fuselage": "It turns more willingly and rocks sooner: for when you fly long runs without thinking about your feet.",
    "tail": "It glides faster and turns looser, and holds you level less.",
    "front_foil": "It flies faster and turns tighter, and wants more wind and more speed before it lifts.",
    "board": "It swings less and starts to fly sooner once up, and floats you less while you wait.",
}

CARE: Mapping[str, tuple[str, ...]] = {
    "board": (
        "Rinse it with fresh water after salt, the track and the plug of the vent too.",
        "Dry it and keep it out of the sun: heat in a bag or a car lifts its skin. Open the vent, if it has one, when it travels.",
        "Look it over for dings before you go: a soft or wet spot stays ashore until it is mended.",
    ),
    "mast": (
        "Undo the bolts after every day in salt water, rinse, dry and grease them.",
        "Tighten them to the torque on the maker's own paper, and once more after the first minutes on the water.",
    ),
    "fuselage": (
        "Take it apart after salt water; a joint that is left together seizes.",
        "Wipe its seats clean of sand before it goes together again.",
    ),
    "front_foil": (
        "Covers on before you carry it: its edges cut.",
        "Feel along the edge for nicks and smooth them; look for cracks about the bolts and stay ashore with one.",
    ),
    "tail": ("Mind the shims and which way round it goes: mark it once, and it goes back the same.",),
    "hand_wing": (
        "Inflate it to the pressure marked on it, not to a feeling; let some out when it lies in the sun.",
        "Rinse, dry it in the shade, and fold it dry: a wet wing goes mouldy.",
        "Look at the leash line, the handles and the seams each time.",
    ),
    "board_leash": ("Rinse it, hang it loose, and change it at the first nick in the cord.",),
    "wing_leash": ("Rinse it, and change it when the cuff or the line is worn.",),
    "wetsuit": ("Rinse it inside out in cold water and dry it in the shade, over a wide hanger.",),
    "buoyancy_vest": ("Rinse it, dry it open, and check buckles and label: an old or squashed vest floats less.",),
    "helmet": ("Rinse it, keep it out of the sun, and replace it after a hard knock.",),
    "pump": ("Keep sand out of its hose, and a drop of silicone grease on its seal.",),
}
"""Common practice of the trade, in our own words; the maker's paper decides."""


@dataclass(frozen=True, slots=True)
class Owned:
    """An item that the customer has: its number in the sale, and until when its warranty runs."""

    item: Item
    maker: str
    warranty_until: date | None


@dataclass(frozen=True, slots=True)
class NextStep:
    """A smaller part in place of one that is owned: what changes, what it costs, and what the old one is worth today, in cents."""

    slot: str
    beside: Neighbour
    owned_label: str
    price: Cents
    trade_in: Cents

    @property
    def difference(self) -> Cents:
        """What is left to pay once the old part was taken in."""
        return self.price - self.trade_in


@dataclass(frozen=True, slots=True)
class Sessions:
    """Sessions or lessons that came with a kit: how many were promised, given another way, and taken."""

    promised: int
    otherwise: int
    taken: int

    @property
    def left(self) -> int:
        """Those still to come, never below zero."""
        return max(0, self.promised - self.otherwise - self.taken)


@dataclass(frozen=True, slots=True)
class Question:
    """A customer's question about a sale (or about one item of it), and its answer; `answered_at` is None while it waits."""

    id: int
    sale_id: int
    item: int | None
    text: str
    asked_at: datetime
    answer: str = ""
    answered_at: datetime | None = None
    answered_by: str = ""


@dataclass(frozen=True, slots=True)
class Waiting:
    """A question that waits for an answer, with who asks."""

    question: Question
    name: str
    code: str


SessionKind = Literal["support", "lesson"]


def warranty_until(item: Item, terms: SaleTerms) -> date | None:
    """The last day of an item's warranty, so many months after it was received; None before that, and for what is no thing."""
    if item.received_on is None or not item.is_goods:
        return None
    return months_after(item.received_on, terms.warranty_of(item.slot))


def care_for(slots: Iterable[str]) -> tuple[tuple[str, tuple[str, ...]], ...]:
    """What to do for gear of some slots, in the order of the table."""
    given = set(slots)
    return tuple((slot, lines) for slot, lines in CARE.items() if slot in given)


def fits_to(spare: Part, sku: str, maker: str) -> bool:
    """Whether a spare part fits a part: what it `fits` names its SKU, or its maker whole, with semicolons between names.

    SKUs hold no spaces, so that several may also stand with spaces between them.
    """
    names = [" ".join(name.split()) for name in spare.gear.text("fits").casefold().split(";")]
    return any(bool(maker) and name == maker.casefold() for name in names) or any(
        bool(sku) and sku.casefold() in name.split() for name in names
    )


def spares_for(catalogue: Catalogue, owned: Sequence[tuple[str, str]]) -> tuple[Part, ...]:
    """The spare parts on sale that fit any of the parts owned, each named by its SKU and its maker."""
    return tuple(spare for spare in catalogue.sold_in(SPARE) if any(fits_to(spare, sku, maker) for sku, maker in owned))


def kit_owned(fitter: Fitter, items: Sequence[Item]) -> Kit | None:
    """The kit that the customer flies, of what they have now and the gear they kept; None where a part is not known any more."""
    parts = fitter.shelf.catalogue.parts
    bought = {
        item.slot: parts[item.sku] for item in items if item.is_core and item.is_with_customer and item.sku in parts
    }
    there = {slot for slot in CORE_SLOTS if slot in bought or slot in fitter.fitting.kept}
    return fitter.kit(bought) if there == set(CORE_SLOTS) else None


def next_steps(fitter: Fitter, items: Sequence[Item], today: date) -> tuple[NextStep, ...]:
    """For each part that is changed first as one gets better, the nearest smaller one on sale that joins the rest of the kit.

    `fitter` is for the learner a step further. A part that the model would refuse them is passed over, and so is a board that would not
    float them with the reserve. In stock or not; the value of the old part is an estimate until it was seen.
    """
    kit = kit_owned(fitter, items)
    if kit is None:
        return ()
    by_slot = {item.slot: item for item in items if item.is_with_customer and item.slot in kit.bought}
    found = []
    for slot in STEP_SLOTS:
        item = by_slot.get(slot)
        beside = smaller(fitter, kit, slot) if item is not None else None
        if item is not None and beside is not None:
            found.append(
                NextStep(
                    slot,
                    beside,
                    item.label,
                    beside.part.price_on(today),
                    worth_today(item, fitter.shelf.catalogue, today),
                )
            )
    return tuple(found)


def smaller(fitter: Fitter, kit: Kit, slot: str) -> Neighbour | None:
    """The nearest smaller part of a slot on sale that joins the rest and that the model does not refuse this learner; None if none."""
    part = kit.bought[slot]
    rest = [kit.gear_in(other) for other in CORE_SLOTS if other != slot]
    joining = [
        other
        for other in fitter.shelf.catalogue.sold_in(slot)
        if is_less(other.gear.size, part.gear.size) and not any(do_not_join(other.gear, gear) for gear in rest)
    ]
    nearest_first = sorted(
        joining, key=lambda other: (part.gear.size - other.gear.size, other.maker != part.maker, other.sku)
    )
    for other in nearest_first:
        beside = Neighbour(part=other, kit=fitter.kit({**kit.bought, slot: other}), instead_of=kit)
        floats = slot != "board" or not is_less(beside.kit.float_margin_l, fitter.fitting.sizing.reserve_l)
        if floats and beside.refusal is None:
            return beside
    return None


def worth_today(item: Item, catalogue: Catalogue, today: date) -> Cents:
    """What a part that was bought here is worth against another today, in good condition: from what was charged, by its months."""
    since = item.received_on or today
    months = max(0, (today.year - since.year) * 12 + today.month - since.month - (today.day < since.day))
    return value_trade(Trade(item.slot, item.charged, months, "good"), catalogue).value


# Sessions, questions, follow-ups.


def support_sessions(sale: Sale, policy: Policy) -> Sessions:
    """The sessions on the water that come with a kit as long as it is whole, and those taken."""
    full = policy.full_tier
    promised = policy.sales.support_sessions if full is not None and tier_left(sale, policy) == full else 0
    return Sessions(promised, 0, _taken(sale, "support"))


def included_lessons(sale: Sale, policy: Policy, fees_back: int) -> Sessions:
    """The lessons that come with what is left of a kit: those whose fees were given back with it were taken or booked on their own."""
    tier = tier_left(sale, policy)
    promised = tier.lessons.number if tier is not None and tier.lessons is not None else 0
    return Sessions(promised, min(promised, fees_back), _taken(sale, "lesson"))


def _taken(sale: Sale, what: SessionKind) -> int:
    return len(sale.sessions(what))


def fault_of_question(text: str, open_already: int) -> Fault | None:
    """Why a question cannot be kept; None where it can."""
    if not 3 <= len(text) <= LONGEST_TEXT or not text.replace("\n", "").replace("\r", "").isprintable():
        return Fault("text", "What would you like to ask?", TEXT_ACCEPTED)
    if open_already >= MOST_OPEN_QUESTIONS:
        words = f"{open_already} questions of yours are waiting for an answer already: ring us, or wait for those."
        return Fault("text", words, f"at most {MOST_OPEN_QUESTIONS} open questions")
    return None


def follow_up_days(received_on: date, weeks: Iterable[int]) -> tuple[tuple[int, date], ...]:
    """The weeks after which the shop asks how it goes, each with its day."""
    return tuple((week, received_on + timedelta(weeks=week)) for week in weeks)
