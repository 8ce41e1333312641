"""How long it takes to price kits: one after the other, and every kept quote again under a draft of the policy."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import timedelta
from typing import Any

from sqlmodel import Session, col, select

from server.domain.catalogue import LessonKind, Shelf, Zone
from server.domain.kits import Fitter
from server.domain.learner import read_answers
from server.domain.policy import DEFAULT_TIERS, Policy
from server.domain.pricing import price_kit
from server.persistence.tables import QuoteRow, RevisionRow
from server.usecases.quotes import issue_quote
from server.usecases.repricing import money_effect
from server.usecases.work import Shop
from tests.bench.choosing import TODAY
from tests.bench.harness import count_stock, new_ground, shop_at
from tests.bench.shelves import extras, learners, shelf
from tests.bench.timing import RUNS, each, tell_whole

KITS = 10_000
QUOTES = 10_000
WRITTEN = 100
"""Quotes that are really issued; the others are their records under other codes."""
TRADED: list[dict[str, Any]] = [
    {"slot": "board", "price_new": 900_00, "months": 14, "condition": "good"},
    {"slot": "hand_wing", "price_new": 700_00, "months": 30, "condition": "worn"},
]
DRAFT = Policy(tiers=(replace(DEFAULT_TIERS[0], percent=20), *DEFAULT_TIERS[1:]))


def _asked(number: int) -> list[dict[str, Any]]:
    """Learners of whom one in three wants extras besides and one in four trades gear in."""
    draw = random.Random(5)
    return [
        {
            **raw,
            "extras": draw.choice(([], [], ["helmet"])),
            "trades": draw.choice(([], [], [], TRADED[: draw.randint(1, 2)])),
            "delivery": draw.choice(("collect", "deliver")),
        }
        for raw in learners(number)
    ]


def pricing() -> None:
    """10,000 kits priced whole, with what the tier includes, extras, trade-ins and delivery."""
    stocked = shelf(2_000)
    listed = {**stocked.catalogue.parts, **extras()}
    catalogue = replace(
        stocked.catalogue,
        parts=listed,
        zones={"Ireland": Zone("Ireland", 35_00, 24_00, "3")},
        lessons={"private": LessonKind("private", "Private lesson", 115_00, 46_00, 90, 1)},
    )
    stocked = Shelf(catalogue, dict.fromkeys(listed, 3))
    draw = random.Random(3)
    answers = [read_answers(raw, stocked.catalogue) for raw in _asked(200)]
    kits = [
        ([draw.choice(parts) for parts in stocked.core.values()], answers[place % len(answers)])
        for place in range(KITS)
    ]

    def price_all() -> None:
        for bought, said in kits:
            price_kit(bought, said, (), stocked, TODAY)

    tell_whole(f"{KITS:,} kits priced", each([price_all] * RUNS), KITS)
    fitters = [Fitter.of(said, stocked, TODAY) for said in answers]
    whole = [
        (fitters[place % len(fitters)], dict(zip(stocked.core, bought, strict=True)))
        for place, (bought, _) in enumerate(kits[:2_000])
    ]

    def work_out_all() -> None:
        _ = [fitter.kit(bought).price for fitter, bought in whole]

    tell_whole("2,000 kits worked out whole, winds and price included", each([work_out_all] * RUNS), len(whole))


def _issue_many(shop: Shop, number: int) -> None:
    """Issue some quotes, and put their records under so many codes and tokens in all."""
    for raw in _asked(WRITTEN):
        with shop.writing() as work:
            issue_quote(work, raw)
    with shop.writing("bench") as work:
        _copy_until(work.session, number)
        work.commit()


def _copy_until(session: Session, number: int) -> None:
    pairs = session.exec(
        select(QuoteRow, RevisionRow).join(RevisionRow, col(RevisionRow.quote_id) == col(QuoteRow.id))
    ).all()
    for place in range(number - len(pairs)):
        quote, revision = pairs[place % len(pairs)]
        code = f"B{place:07}"
        copy = QuoteRow(token=f"bench-{place}", code=code, revision=1, started_at=quote.started_at)
        session.add(copy)
        session.flush()
        told = json.loads(revision.record) | {"code": code, "token": copy.token}
        session.add(
            RevisionRow(
                quote_id=copy.id or 0,
                revision=1,
                issued_at=revision.issued_at - timedelta(seconds=place),
                valid_until=revision.valid_until,
                made_by=revision.made_by,
                record=json.dumps(told),
            )
        )


def repricing() -> None:
    """10,000 kept quotes priced again under a draft of the policy, from the database on."""
    with new_ground("sqlite") as ground, shop_at(ground.place) as shop:
        count_stock(shop, 1_000)
        _issue_many(shop, QUOTES)

        def effect() -> None:
            with shop.reading("Orla") as work:
                found = money_effect(work, DRAFT, 30).repricing
                if len(found.quotes) != QUOTES or not found.changed:
                    raise RuntimeError(f"only {len(found.quotes)} quotes were priced again")
                found.by_tier()

        tell_whole(f"{QUOTES:,} quotes priced again", each([effect] * RUNS), QUOTES)
