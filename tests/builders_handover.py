"""Kits handed over and sent off as the desk does it, and a signature as a finger draws it."""

from __future__ import annotations

from typing import Any

from server.domain.handover import Check, Handover, Taken, needs_serial, points_for
from server.domain.sales import Sale
from server.usecases.handover import Sending, hand_over, note_arrival, send_off, to_come
from server.usecases.work import Shop
from tests.builders_sales import bought, new_key

DRAWN = "40,120 80,60 120,130 170,70 220,120;260,100 330,95"


def taken_of(sale: Sale, *, held_only: bool = False, serial: str = "") -> tuple[Taken, ...]:
    """All that is still here, each part of the kit with a serial number of its own (its SKU and the number of the sale)."""
    return tuple(
        Taken(item.number, serial or f"{item.sku}-{1000 + sale.id}" if needs_serial(item) else "")
        for item in to_come(sale)
        if item.is_held or not held_only
    )


def handover_of(sale: Sale, taken: tuple[Taken, ...] | None = None, **given: Any) -> Handover:
    """A handover with nothing wrong with it."""
    usual: dict[str, Any] = {
        "taken": taken_of(sale, held_only=True) if taken is None else taken,
        "checks": {point.name: Check("done") for point in points_for(item.slot for item in to_come(sale))},
        "is_set_up": True,
        "explained_by": "Maeve",
        "signed_by": "Some One",
        "drawn": DRAWN,
        "may_write": True,
    }
    return Handover(**{**usual, **given})


def handed(shop: Shop, sale: Sale, key: str = "", **given: Any) -> Sale:
    """A sale whose held things were handed over."""
    with shop.writing("Maeve") as work:
        return hand_over(work, sale.id, handover_of(sale, **given), key or new_key())


def owned(shop: Shop, **given: Any) -> Sale:
    """A kit that was bought, paid and handed over today."""
    return handed(shop, bought(shop, **given))


def sent(shop: Shop, sale: Sale, **given: Any) -> Sale:
    """A sale whose held things were sent off."""
    with shop.writing("Maeve") as work:
        usual: dict[str, Any] = {"carrier": "Strand Parcels", "tracking": "SP 1234", "parcels": 2}
        sending = Sending(taken_of(sale, held_only=True), **{**usual, **given})
        return send_off(work, sale.id, sending, new_key())


def arrived(shop: Shop, sale: Sale) -> Sale:
    """A parcel that came today."""
    with shop.writing("Maeve") as work:
        return note_arrival(work, sale.id, work.today, new_key())
