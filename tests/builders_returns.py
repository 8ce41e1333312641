"""Sales as they stand on paper, for what is worked out by hand: a kit with round list prices, and what stands around it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from server.domain.contracts import invoice_lines
from server.domain.policy import Policy
from server.domain.returns import Around, Asked, Coming, ReturnKind
from server.domain.sales import Concluded, Item, Means, Sale, Settlement, write_paper
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.domain.stock import Contact

MADE, RECEIVED, TODAY = date(2026, 6, 1), date(2026, 6, 8), date(2026, 6, 15)
AT = datetime(2026, 6, 1, 12, tzinfo=UTC)
VAT = Decimal(23)
LISTS = {
    "board": 2000_00,
    "mast": 600_00,
    "fuselage": 200_00,
    "front_foil": 900_00,
    "tail": 300_00,
    "hand_wing": 1000_00,
}
"""List prices that add up to 5,000.00; less 22 % that is 3,900.00."""
NUMBER = {slot: number for number, slot in enumerate(CORE_SLOTS, start=1)}
PUMP, LEASH, COVERS, LESSONS = 7, 8, 9, 10


def items_at(percent: int, received: date | None = RECEIVED, slots: Sequence[str] = CORE_SLOTS) -> list[Item]:
    """The core parts at list less a percentage, each by its number."""
    return [
        Item(
            number=NUMBER[slot],
            sku=slot.upper(),
            label=SLOT_WORDS[slot].capitalize(),
            slot=slot,
            list=LISTS[slot],
            charged=LISTS[slot] * (100 - percent) // 100,
            alone=LISTS[slot],
            percent=VAT,
            is_tiered=percent > 0,
            received_on=received,
        )
        for slot in slots
    ]


def free_items(received: date | None = RECEIVED) -> list[Item]:
    """What comes free with a whole kit: a pump of 50.00, a leash of 40.00, covers of 60.00 and three lessons of 115.00 each."""

    def extra(number: int, slot: str, worth: int) -> Item:
        label = SLOT_WORDS[slot].capitalize()
        return Item(number, slot.upper(), label, slot, 0, 0, worth=worth, percent=VAT, received_on=received)

    return [
        extra(PUMP, "pump", 50_00),
        extra(LEASH, "board_leash", 40_00),
        extra(COVERS, "covers", 60_00),
        Item(LESSONS, "private", "3 private lessons", "lesson", 0, 0, worth=345_00, quantity=3, percent=VAT),
    ]


def sold(
    items: Sequence[Item],
    concluded: Concluded = "distance",
    *,
    delivery: int = 0,
    settled: Sequence[tuple[Means, int]] = (),
    **given: Any,
) -> Sale:
    """A sale of items with its first invoice, what was settled beside money, and the rest paid by card."""
    invoice = write_paper("invoice", 1, MADE, invoice_lines(tuple(items), delivery, VAT), ())
    rest = invoice.gross - sum(amount for _, amount in settled)
    paid = [*settled, *([("terminal", rest)] if rest else [])]
    sale = Sale(
        id=1,
        token="abcdefgh",
        code="7K3M9XTR",
        quote_token="",
        revision=1,
        concluded=concluded,
        made_at=AT,
        made_on=MADE,
        contact=Contact("Some One", "some@example.org"),
        delivery="collect",
        zone="Ireland",
        address="",
        tier_name="Whole kit",
        tier_percent=22,
        agreed_share=(1, 1),
        policy_version=1,
        items=tuple(items),
        papers=(invoice,),
        settlements=tuple(
            Settlement(number, means, amount, MADE, AT, "Maeve")  # type: ignore[arg-type]
            for number, (means, amount) in enumerate(paid, start=1)
        ),
    )
    return replace(sale, **given)


def kit_sold(concluded: Concluded = "distance", *, received: date | None = RECEIVED, **given: Any) -> Sale:
    """A whole kit at 3,900.00 with its extras and lessons."""
    return sold([*items_at(22, received), *free_items(received)], concluded, **given)


def around(**given: Any) -> Around:
    """The usual policy a week after the kit was received, without lessons, gear or holidays."""
    return replace(Around(Policy(), TODAY), **given)


def asked(
    *numbers: int,
    kind: ReturnKind = "cancel",
    wear: dict[int, int] | None = None,
    fetched: Sequence[int] = (),
    on: date = TODAY,
    why: str = "",
) -> Asked:
    """What comes back by its numbers, with per cent of wear and what the shop fetches."""
    coming = tuple(Coming(number, Decimal((wear or {}).get(number, 0)), number in fetched) for number in numbers)
    return Asked(kind, on, coming, why)
