"""A quote: a frozen record of what was offered to a learner, under a code, with its revision and the day it is good until."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, Literal

from server.domain.agreed import KIND_WORDS, NOTHING_AGREED, Agreed, FreeLine
from server.domain.catalogue import Gear, MeasureValue, Part
from server.domain.errors import Fault
from server.domain.fit import Target
from server.domain.kits import TALK_TO_US, Fitter, Kit
from server.domain.learner import SEEN, Setup, notes_on
from server.domain.policy import Policy
from server.domain.pricing import Breakdown, Margin, margin_of
from server.domain.slots import CORE_SLOTS, SIZES
from server.domain.stock import Hold
from server.domain.wind import Winds, WingWinds

SWIM_FIRST = "If you do not swim 100 m yet, the lesson comes first: talk to us, and we agree it together."

NOBODY: Mapping[str, Any] = {"mass_kg": 80.0, "to_feet": "average", "fitness": "fair"}
"""What stands in place of a learner's mass and fitness once they are forgotten; it says nothing of anybody."""
OF_THE_PERSON = (*NOBODY, "under_18", "swims_100m", SEEN, "keeps", "trades", "deposit_codes")

QuoteState = Literal["sent", "agreed", "lapsed"]


@dataclass(frozen=True, slots=True)
class QuotedPart:
    """A part as it was on the day: name, maker, list price in cents and measures, whatever becomes of the catalogue."""

    sku: str
    slot: str
    name: str
    maker: str
    price: int
    measures: dict[str, MeasureValue]

    @property
    def gear(self) -> Gear:
        """Its measures as a piece of gear."""
        return Gear(self.slot, self.measures)


@dataclass(frozen=True, slots=True)
class QuotedKit:
    """A kit as it was on the day, with its figures and its whole price; a refused part has no misfit, nor has its kit."""

    parts: dict[str, QuotedPart]
    kept: dict[str, dict[str, MeasureValue]]
    misfit: float | None
    misfits: dict[str, float | None]
    is_sound: bool
    float_margin_l: float
    takeoff_kn: float
    tail_volume: float
    winds: Winds
    price: Breakdown
    notes: tuple[str, ...] = ()

    def gear_in(self, slot: str) -> Gear:
        """What flies in a slot."""
        return Gear(slot, self.kept[slot]) if slot in self.kept else self.parts[slot].gear


@dataclass(frozen=True, slots=True)
class Quote:
    """One revision of a quote; it never changes, whatever becomes of catalogue and policy.

    `answers` are what the learner gave, in the words of the questions; `margin` is for the owner only. The price is good
    until `valid_until`, that day included; nothing is set aside until the quote is agreed.
    """

    code: str
    token: str
    revision: int
    issued_at: datetime
    valid_until: date
    answers: dict[str, Any]
    mass_kg: float
    water: str
    usual_wind_kn: float
    setup: Setup
    targets: dict[str, Target]
    kit: QuotedKit
    hands: str
    spot: str
    wings: tuple[WingWinds, ...]
    notes: tuple[str, ...]
    unmet: tuple[str, ...]
    policy_version: int
    catalogue_version: int
    margin: Margin
    agreed: Agreed = NOTHING_AGREED

    @property
    def is_vouched(self) -> bool:
        """Whether the shop has given its reason for this very kit and these answers."""
        return self.agreed.vouches(self.answers, (part.sku for part in self.kit.parts.values()))

    @property
    def talk_first(self) -> Fault | None:
        """Why it cannot be agreed to without the shop: the kit is not sound, or the learner does not swim yet; None else.

        None, too, where the shop was talked to and has said why.
        """
        if not self.kit.is_sound and not self.is_vouched:
            return Fault("skus", f"{TALK_TO_US} So talk to us.", "a kit that suits, or a call")
        if self.answers.get("swims_100m") in (False, "no") and not self.agreed.has_talked_with(self.answers):
            return Fault("swims_100m", SWIM_FIRST, "a call")
        return None

    def state_on(self, today: date, hold: Hold | None = None) -> QuoteState:
        """Where it stands on a day of the shop's calendar; `hold` is its open hold, if any: agreed is agreed, whatever the day."""
        return state_on(self.revision, self.valid_until, today, None if hold is None else hold.revision)


def state_on(revision: int, valid_until: date, today: date, held: int | None) -> QuoteState:
    """Where a revision stands on a day; `held` is the revision of the quote's open hold, if there is one."""
    if held == revision:
        return "agreed"
    return "lapsed" if today > valid_until else "sent"


def quoted_part(part: Part) -> QuotedPart:
    """A part as it is today."""
    return QuotedPart(part.sku, part.slot, part.name, part.maker, part.price, dict(part.gear.measures))


def _finite(misfit: float) -> float | None:
    return misfit if math.isfinite(misfit) else None


def quoted_kit(kit: Kit) -> QuotedKit:
    """A kit as it is today."""
    return QuotedKit(
        parts={slot: quoted_part(kit.bought[slot]) for slot in CORE_SLOTS if slot in kit.bought},
        kept={slot: dict(kit.kept[slot].measures) for slot in CORE_SLOTS if slot in kit.kept},
        misfit=_finite(kit.misfit),
        misfits={slot: _finite(misfit) for slot, misfit in kit.misfits.items()},
        is_sound=kit.is_sound,
        float_margin_l=kit.float_margin_l,
        takeoff_kn=kit.takeoff_kn,
        tail_volume=kit.tail_volume,
        winds=kit.winds,
        price=kit.price,
        notes=kit.notes,
    )


def good_until(issued_on: date, policy: Policy) -> date:
    """The last day of a price."""
    return issued_on + timedelta(days=policy.price_good_days)


def freeze(
    fitter: Fitter, kit: Kit, given: dict[str, Any], *, code: str, token: str, revision: int, issued_at: datetime
) -> Quote:
    """The record of a kit offered now; `fitter.today` is the day in the shop's time zone."""
    catalogue, answers = fitter.shelf.catalogue, fitter.answers
    return Quote(
        code=code,
        token=token,
        revision=revision,
        issued_at=issued_at,
        valid_until=good_until(fitter.today, catalogue.policy),
        answers=given,
        mass_kg=answers.mass_kg,
        water=answers.water,
        usual_wind_kn=answers.usual_wind_kn,
        setup=answers.setup,
        targets=dict(fitter.fitting.sizing.targets),
        kit=quoted_kit(kit),
        hands=fitter.hands,
        spot=answers.spot.name if answers.spot else "",
        wings=fitter.wings(kit, answers.spot),
        notes=(*notes_on(answers), *fitter.fitting.notes),
        unmet=fitter.unmet(),
        policy_version=catalogue.policy.version,
        catalogue_version=catalogue.version,
        margin=margin_of(kit.price, answers, catalogue, fitter.agreed),
        agreed=fitter.agreed,
    )


def without_person(quote: Quote) -> Quote:
    """The record of what was sold without the learner it was sized for: no mass, no fitness, no words about them.

    Every slot's target becomes the size that was sold, since the one that was worked out gives the mass away. Parts, prices and
    winds stay, as the sale stands on them.
    """
    answers = {name: value for name, value in quote.answers.items() if name not in OF_THE_PERSON}
    return replace(
        quote,
        answers={**answers, **NOBODY},
        mass_kg=NOBODY["mass_kg"],
        targets={slot: _as_sold(quote.kit, slot, target) for slot, target in quote.targets.items()},
        kit=replace(quote.kit, float_margin_l=0.0, notes=()),
        notes=(),
        agreed=replace(quote.agreed, why="", vouched_for="", swim_talked_for="", lines=_without_labels(quote.agreed)),
    )


def _as_sold(kit: QuotedKit, slot: str, target: Target) -> Target:
    size = kit.gear_in(slot).measures.get(SIZES[slot])
    size = float(size) if isinstance(size, (int, float)) else 0.0
    return Target(size, size, size, target.unit)


def _without_labels(agreed: Agreed) -> tuple[FreeLine, ...]:
    return tuple(replace(line, label=KIND_WORDS[line.kind]) for line in agreed.lines)
