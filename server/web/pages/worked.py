"""What a worksheet comes to: its kit, its price, and what the shop earns, for those who may see it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from server.domain.drafts import Draft
from server.domain.errors import Fault, InvalidInput
from server.domain.kits import size_words
from server.domain.learner import REQUIRED
from server.domain.policy import Policy
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.usecases.accounts import Account
from server.usecases.work import Work
from server.usecases.worksheets import (
    Worked,
    worked_out,
)
from server.web.pages.docket import Docket, docket_of
from server.web.pages.words import field_words
from server.web.units import SHOP_UNITS, ends_in


@dataclass(frozen=True, slots=True)
class WorkedRow:
    """A slot of the kit that a worksheet comes to."""

    word: str
    size: str
    name: str
    asked_for: str
    misfit: str
    is_fixed: bool
    charged: int | None


@dataclass(frozen=True)
class MarginShown:
    """What the shop earns: revenue, costs by kind, expected loss on old gear, what is left, in cents and per cent."""

    revenue: int
    costs: tuple[tuple[str, int], ...]
    trade_in_loss: int
    amount: int
    percent: str
    floor: str
    is_under: bool


@dataclass(frozen=True)
class WorkedShown:
    """What a worksheet comes to, beside the form."""

    missing: tuple[str, ...] = ()
    words: str = ""
    rows: tuple[WorkedRow, ...] = ()
    docket: Docket | None = None
    notes: tuple[str, ...] = ()
    refusals: tuple[str, ...] = ()
    barred: tuple[Fault, ...] = ()
    needs: tuple[str, ...] = ()
    margin: MarginShown | None = None


def sees_margin(account: Account, policy: Policy) -> bool:
    """Whether somebody at the desk may see cost and margin."""
    return account.role == "owner" or policy.staff_see_margin


def margin_shown(margin: Any, policy: Policy) -> MarginShown:
    """A margin as the desk reads it."""
    floor = policy.margin_floor_percent
    return MarginShown(
        margin.revenue,
        margin.costs or (("all of it", margin.cost),),
        margin.trade_in_loss,
        margin.amount,
        f"{margin.percent:.1f} %",
        f"{floor.normalize():f} %",
        margin.is_under(floor),
    )


def worked_shown(work: Work, draft: Draft, account: Account) -> WorkedShown:
    missing = tuple(field_words(name) for name in REQUIRED if name not in draft.answers)
    if missing:
        return WorkedShown(missing=missing)
    try:
        worked = worked_out(work, draft)
    except InvalidInput as error:
        return WorkedShown(words=error.faults[0].message)
    if worked.kit is None:
        return WorkedShown(words=worked.barred[0].message)
    return _kit_shown(work, draft, worked, account)


def _kit_shown(work: Work, draft: Draft, worked: Worked, account: Account) -> WorkedShown:
    kit, policy = worked.kit, work.catalogue.policy
    assert kit is not None
    assert worked.margin is not None
    targets = worked.fitter.fitting.sizing.targets
    charged = {line.sku: line.charged for line in kit.price.lines if line.is_core}
    rows = []
    for slot in CORE_SLOTS:
        part = None if slot in kit.kept else kit.bought[slot]
        target = targets[slot]
        rows.append(
            WorkedRow(
                word=SLOT_WORDS[slot],
                size=size_words(kit.gear_in(slot)),
                name=f"{part.name}, {part.maker}" if part else "their own",
                asked_for="{0} to {2}".format(*ends_in(target, SHOP_UNITS)),
                misfit="refused" if kit.misfits[slot] == float("inf") else f"{kit.misfits[slot]:.2f}",
                is_fixed=part is not None and part.sku in draft.agreed.fixed,
                charged=charged.get(part.sku) if part else None,
            )
        )
        beside = kit.bought.get(slot) if slot in kit.kept else None
        if beside is not None:
            rows.append(
                WorkedRow(
                    word=f"{SLOT_WORDS[slot]} beside it",
                    size=size_words(beside.gear),
                    name=f"{beside.name}, {beside.maker}",
                    asked_for="",
                    misfit="",
                    is_fixed=beside.sku in draft.agreed.fixed,
                    charged=charged.get(beside.sku),
                )
            )
    return WorkedShown(
        rows=tuple(rows),
        docket=docket_of(kit, worked.fitter),
        notes=kit.notes,
        refusals=tuple(refusal.reason for refusal in kit.refusals),
        barred=worked.barred,
        needs=worked.needs,
        margin=margin_shown(worked.margin, policy) if sees_margin(account, policy) else None,
    )
