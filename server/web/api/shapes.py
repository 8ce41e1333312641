"""Domain values as plain JSON values: numbers unrounded, money in whole cents, no cost and no stock figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from server.domain.fit import Target
from server.domain.kits import Choice, Kit
from server.domain.pricing import Breakdown
from server.domain.quotes import Quote, QuotedKit, QuotedPart, quoted_kit
from server.domain.slots import CORE_SLOTS
from server.domain.standing import Standing
from server.domain.stock import Hold
from server.domain.wind import HANDS, Winds, WingWinds


def _number(value: Decimal) -> int | float:
    return int(value) if value == int(value) else float(value)


def part_shape(part: QuotedPart) -> dict[str, Any]:
    """A part: what it is, its list price and its measures under the names of the catalogue's files."""
    return {"sku": part.sku, "name": part.name, "maker": part.maker, "price": part.price, **part.measures}


def breakdown_shape(price: Breakdown) -> dict[str, Any]:
    """A whole price."""
    tier = price.tier
    return {
        "currency": price.currency,
        "lines": [
            {
                "sku": line.sku,
                "label": line.label,
                "slot": line.slot,
                "list": line.list,
                "charged": line.charged,
                "discount": line.discount,
                "worth": line.worth,
                "alone": line.alone,
                "prior": line.prior,
            }
            for line in price.lines
        ],
        "tier": {"name": tier.name, "percent": tier.percent, "discount": tier.discount} if tier else None,
        "discount": price.discount,
        "trade_in": price.trade_in,
        "deposit_back": price.deposit_back,
        "voucher": price.voucher,
        "delivery": price.delivery,
        "balance": price.balance,
        "owed_to_customer": price.owed_to_customer,
        "vat": [{"rate": _number(share.rate), "gross": share.gross, "vat": share.vat} for share in price.vat],
        "trades": [
            {"slot": trade.slot, "base": trade.base, "value": trade.value, "because": trade.because}
            for trade in price.trades
        ],
        "notes": list(price.notes),
    }


def winds_shape(winds: Winds) -> dict[str, Any]:
    """The ends of the wind windows in knots, by hands; where low is not below high no wind suits."""
    return {hands: [winds.of(hands).low, winds.of(hands).high] for hands in HANDS}


def wings_shape(wings: Sequence[WingWinds], spot: str, hands: str) -> dict[str, Any]:
    """The hand wings of a kit with the winds they cover and the flyable days' worth of each month."""
    return {
        "spot": spot or None,
        "hands": hands,
        "wings": [
            {
                "role": wing.role,
                "area_m2": wing.area_m2,
                "name": wing.name,
                "sku": wing.sku or None,
                "wind": winds_shape(wing.winds),
                "months": {name: list(days) for name, days in wing.months.items()} or None,
            }
            for wing in wings
        ],
    }


def kit_shape(kit: QuotedKit) -> dict[str, Any]:
    """A kit: bought core parts, kept gear, figures and price."""
    return {
        "parts": {slot: part_shape(part) for slot, part in kit.parts.items()},
        "kept": kit.kept,
        "misfit": kit.misfit,
        "misfits": kit.misfits,
        "float_margin_l": kit.float_margin_l,
        "takeoff_kn": kit.takeoff_kn,
        "tail_volume": kit.tail_volume,
        "wind": winds_shape(kit.winds),
        "price": breakdown_shape(kit.price),
        "notes": list(kit.notes),
    }


def _kit_or_null(kit: Kit | None) -> dict[str, Any] | None:
    return None if kit is None else kit_shape(quoted_kit(kit))


def targets_shape(targets: Mapping[str, Target]) -> dict[str, Any]:
    """What each core slot should be, with the reasons."""
    return {
        slot: {
            "low": targets[slot].low,
            "ideal": targets[slot].ideal,
            "high": targets[slot].high,
            "unit": targets[slot].unit,
            "because": list(targets[slot].because),
        }
        for slot in CORE_SLOTS
    }


def choice_shape(choice: Choice) -> dict[str, Any]:
    """Everything that is chosen for a learner."""
    return {
        "setup": choice.fitting.sizing.setup,
        "targets": targets_shape(choice.targets),
        "recommended": _kit_or_null(choice.recommended),
        "nearest": _kit_or_null(choice.nearest),
        "within_budget": _kit_or_null(choice.within_budget),
        "least_money": _kit_or_null(choice.least_money),
        "next_step": _kit_or_null(choice.next_step),
        "frontier": [_kit_or_null(kit) for kit in choice.frontier],
        "unmet": list(choice.unmet),
        "notes": list(choice.notes),
    }


def hold_shape(hold: Hold | None) -> dict[str, Any] | None:
    """A hold without the person in it; null where none is open."""
    if hold is None:
        return None
    return {
        "revision": hold.revision,
        "skus": list(hold.skus),
        "expires_at": hold.expires_at.isoformat(),
        "is_confirmed": hold.is_confirmed,
        "deposit_back": hold.deposit_back,
    }


def quote_shape(
    quote: Quote, hold: Hold | None, address: str, today: date, where: Standing | None = None
) -> dict[str, Any]:
    """A frozen quote, without what only the owner may see; `where` it stands tells whether it was bought or withdrawn."""
    became = "" if where is None else "bought" if where.sale else "withdrawn" if where.withdrawn else ""
    hold = None if became else hold
    return {
        "code": quote.code,
        "url": f"{address}/quotes/{quote.token}",
        "revision": quote.revision,
        "state": became or quote.state_on(today, hold),
        "hold": hold_shape(hold),
        "valid_until": quote.valid_until.isoformat(),
        "issued_at": quote.issued_at.isoformat(),
        "answers": quote.answers,
        "setup": quote.setup,
        "targets": targets_shape(quote.targets),
        "kit": kit_shape(quote.kit),
        "wind": wings_shape(quote.wings, quote.spot, quote.hands),
        "notes": list(quote.notes),
        "unmet": list(quote.unmet),
        "policy_version": quote.policy_version,
    }
