"""From a quote that was agreed to, to a contract: what is sold, the first invoice, and what meets it besides money."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from server.domain.catalogue import Catalogue, Part
from server.domain.money import Cents, round_half_up, spread
from server.domain.pricing import BY_HAND, Breakdown, Line, fee_to
from server.domain.quotes import Quote
from server.domain.sales import Item, PaperLine

DELIVERY = "Delivery"


@dataclass(frozen=True, slots=True)
class GearTaken:
    """A piece of old gear that is to come with the contract: its place among the trades, its slot, and the value agreed, in cents."""

    place: int
    slot: str
    value: Cents


def items_of(quote: Quote, parts: Mapping[str, Part], percent: Decimal, today: date) -> tuple[Item, ...]:
    """What a quote sells, one item a line; `parts` are the catalogue's, `percent` is the VAT rate of the day."""
    price = quote.kit.price
    kinds = iter([line.kind for line in quote.agreed.charged_lines])
    items = []
    for number, line in enumerate(price.lines, start=1):
        before = _before_agreed(line, price)
        is_tiered = line.is_core and price.tier is not None and _is_at(before, line.list, price.tier.percent)
        part = parts.get(line.sku)
        alone = part.price_on(today) if part is not None and (is_tiered or not line.charged) else before
        items.append(
            Item(
                number=number,
                sku=next(kinds, "other") if line.slot == BY_HAND else line.sku,
                label=line.label,
                slot=line.slot,
                list=line.list,
                charged=line.charged,
                alone=alone or line.list,
                worth=line.worth,
                quantity=line.quantity,
                percent=percent,
                is_tiered=is_tiered,
            )
        )
    return tuple(items)


def _before_agreed(line: Line, price: Breakdown) -> Cents:
    """What a core line cost before a discount agreed by hand was spread over it, to a cent or two."""
    if not price.agreed_off or not line.is_core or not price.core_charged:
        return line.charged
    return round_half_up(Decimal(line.charged) * (price.core_charged + price.agreed_off) / price.core_charged)


def _is_at(charged: Cents, list_price: Cents, percent: int) -> bool:
    """Whether a price is the list price less a percentage, but for the cents of spreading."""
    return abs(charged * 100 - list_price * (100 - percent)) <= 300


def invoice_lines(items: tuple[Item, ...], delivery: Cents, percent: Decimal) -> tuple[PaperLine, ...]:
    """The lines of the first invoice: every item, those included at 0.00, and delivery where it costs anything."""
    lines = [
        PaperLine(item.label, item.charged, item.percent, item.scheme, item.bought, item.number, item.quantity)
        for item in items
    ]
    return (*lines, *((PaperLine(DELIVERY, delivery, percent),) if delivery else ()))


def plain_delivery(quote: Quote, catalogue: Catalogue) -> Cents:
    """What the plainest delivery of a quote costs: what is charged, unless another fee was agreed by hand; then the table's."""
    price = quote.kit.price
    zone = quote.answers.get("zone") or catalogue.policy.shop.home_zone
    if not any(line.kind == "delivery" and line.goes_to in ("", zone) for line in quote.agreed.lines):
        return price.delivery
    return fee_to(zone, [line.slot for line in price.lines if line.is_core], catalogue)


def gear_of(quote: Quote) -> tuple[GearTaken, ...]:
    """The old gear that comes with a quote; where its share of the purchase is bounded, the sum is spread by the values."""
    price = quote.kit.price
    values = [valuation.value for valuation in price.trades]
    shares = spread(price.trade_in, values) if sum(values) else [0] * len(values)
    return tuple(
        GearTaken(place, valuation.slot, share)
        for place, (valuation, share) in enumerate(zip(price.trades, shares, strict=True))
    )


def agreed_share(price: Breakdown) -> tuple[Cents, Cents]:
    """What is charged for the kit's parts, and what was before a discount agreed by hand."""
    return price.core_charged, price.core_charged + price.agreed_off
