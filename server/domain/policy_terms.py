"""A policy as the tables that it was read from: the inverse of `policy_from`, with every key, left out or not."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from server.domain.money import Cents
from server.domain.policy import Policy, Tier


def terms_from(policy: Policy) -> dict[str, Any]:
    """The tables of a policy; money as its owner writes it, decimals as text, days as year-month-day."""
    return {
        "shop": _shop(policy),
        "look": _plain_fields(policy.shop.look),
        "fit": _fit(policy),
        "tiers": [_tier(tier) for tier in policy.tiers],
        "pricing": {
            "markdown_wins_ties": policy.markdown_wins_ties,
            "margin_floor_percent": str(policy.margin_floor_percent),
        },
        "trade_in": {**_plain_fields(policy.trade_in), "step": _written(policy.trade_in.step)},
        "deposit": {"refund_window_days": policy.refund_window_days},
        "quotes": {
            "price_good_days": policy.price_good_days,
            "draft_days": policy.draft_days,
            "hold_unconfirmed_hours": policy.hold_unconfirmed_hours,
            "hold_confirmed_days": policy.hold_confirmed_days,
        },
        "retention": {"contact_days": policy.contact_days, "quote_days": policy.quote_days},
        "lessons": _plain_fields(policy.lessons),
        "sales": _sales(policy),
        "desk": {
            "staff_discount_percent": str(policy.staff_discount_percent),
            "staff_see_margin": policy.staff_see_margin,
        },
        "ordering": {"end_of_season_value": _plain(policy.end_of_season_value)},
    }


def _shop(policy: Policy) -> dict[str, Any]:
    rates = [[day.isoformat(), str(rate)] for day, rate in policy.shop.vat_from]
    plain = _plain_fields(policy.shop)
    del plain["look"]
    return {**plain, "vat_from": rates}


def _fit(policy: Policy) -> dict[str, Any]:
    return {**_plain_fields(policy.fit), "hand_wing_knots": [list(knot) for knot in policy.fit.hand_wing_knots]}


def _tier(tier: Tier) -> dict[str, Any]:
    plain = _plain_fields(tier)
    del plain["lessons"]
    return plain if tier.lessons is None else {**plain, "lessons": _plain_fields(tier.lessons)}


def _sales(policy: Policy) -> dict[str, Any]:
    fees = {slot: _written(fee) for slot, fee in policy.sales.swap_fee.items()}
    return {
        **_plain_fields(policy.sales),
        "bulky_freight": _written(policy.sales.bulky_freight),
        "swap_fee": fees,
    }


def _plain_fields(terms: Any) -> dict[str, Any]:
    return {one.name: _plain(getattr(terms, one.name)) for one in fields(terms)}


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _plain(item) for key, item in value.items()}
    if isinstance(value, tuple):
        return list(value)
    return value if isinstance(value, (bool, int, float, str)) else str(value)


def _written(amount: Cents) -> str:
    return f"{amount // 100}.{amount % 100:02d}"
