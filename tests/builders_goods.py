"""Goods of a sale in the customer's hands, and what is given back at the desk."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal

from server.domain.returns import Asked, Coming, ReturnKind
from server.domain.sales import Sale
from server.persistence.sales import hold_of_sale, save_item
from server.persistence.stock import take_from_hold
from server.usecases.returns import digest_of, preview_return, take_back
from server.usecases.sales import locked_sale, read_sale
from server.usecases.work import Shop
from tests.builders_sales import bought, new_key


def received(shop: Shop, sale: Sale) -> Sale:
    """A sale whose goods were all handed over today, out of what was set aside for it."""
    with shop.writing("Maeve") as work:
        now = locked_sale(work, sale.id)
        hold = hold_of_sale(work.session, sale.id)
        for item in now.goods:
            if item.is_held and hold is not None:
                take_from_hold(work.session, hold, item.sku, "handed_over", work.now, work.actor, "handed over")
            there = replace(item, is_held=False, received_on=work.today, serial=f"S-{item.number}")
            save_item(work.session, sale.id, there)
        work.commit()
        return read_sale(work, sale.id)


def kit_received(shop: Shop, **given: object) -> Sale:
    """A whole kit that was bought at a distance, paid and handed over today."""
    return received(shop, bought(shop, **given))  # type: ignore[arg-type]


def given_back(
    shop: Shop,
    sale: Sale,
    numbers: Sequence[int] = (),
    *,
    kind: ReturnKind = "cancel",
    wear: Sequence[int] = (),
    as_new: Sequence[int] = (),
    why: str = "",
    key: str = "",
) -> Sale:
    """What is given back today, everything unless numbers are given; those in `wear` were used, by 10 per cent."""
    wanted = numbers or [item.number for item in sale.goods if not item.gone]
    coming = tuple(Coming(number, Decimal(10 if number in wear else 0)) for number in wanted)
    with shop.writing("Maeve") as work:
        asked = Asked(kind, work.today, coming, why)
        digest = digest_of(preview_return(work, read_sale(work, sale.id), asked))
        return take_back(work, sale.id, asked, as_new, digest, key or new_key())
