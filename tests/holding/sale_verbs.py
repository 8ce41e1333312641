"""What can be done with a sale after the contract, each as the desk does it, for the machine of a quote's whole life."""

from __future__ import annotations

from decimal import Decimal

from server.domain.returns import Asked, Coming, ReturnKind
from server.domain.sales import Sale
from server.domain.swaps import may_be_swapped
from server.usecases.handover import Sending, hand_over, note_arrival, send_off
from server.usecases.returns import digest_of, preview_return, take_back
from server.usecases.sales import read_sale
from server.usecases.swaps import digest_of as digest_of_swap
from server.usecases.swaps import preview_swap, sizes_for, swap_part
from server.usecases.work import Work
from tests.builders_handover import handover_of, taken_of

GROUNDS: tuple[ReturnKind, ...] = ("counter", "goodwill")


def hand_it_over(work: Work, sale: Sale, key: str, _choice: int) -> None:
    """All that is set aside, signed for."""
    hand_over(work, sale.id, handover_of(sale), key)


def send_it(work: Work, sale: Sale, key: str, _choice: int) -> None:
    """All that is set aside, in two parcels."""
    send_off(work, sale.id, Sending(taken_of(sale, held_only=True), "Strand Parcels", "SP 1234", 2), key)


def it_arrives(work: Work, sale: Sale, key: str, _choice: int) -> None:
    """What was sent arrives today."""
    note_arrival(work, sale.id, work.today, key)


def give_some_back(work: Work, sale: Sale, key: str, choice: int) -> None:
    """So many of the things, from one to all of them, every other time worn by a tenth."""
    there = [item.number for item in sale.goods if not item.gone]
    wear = Decimal(10 * (choice % 2))
    coming = tuple(Coming(number, wear) for number in there[: 1 + choice % max(1, len(there))])
    asked = Asked(GROUNDS[choice % len(GROUNDS)], work.today, coming, "It is too small.")
    digest = digest_of(preview_return(work, read_sale(work, sale.id), asked))
    take_back(work, sale.id, asked, (), digest, key)


def swap_one(work: Work, sale: Sale, key: str, choice: int) -> None:
    """One thing that they have, for another size of it."""
    theirs = [item for item in sale.items if may_be_swapped(item)]
    if not theirs:
        return
    item = theirs[choice % len(theirs)]
    sizes = sizes_for(work, sale, item)
    if sizes:
        sku = sizes[choice % len(sizes)].part.sku
        digest = digest_of_swap(preview_swap(work, sale, item.number, sku))
        swap_part(work, sale.id, item.number, sku, "S-1", digest, key, "terminal")
