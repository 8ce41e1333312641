"""Swapping a part for another size: what may be chosen, what it comes to, and doing it once."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date

from server.domain.catalogue import Part
from server.domain.days import day_in_words
from server.domain.deposits import decimal_of
from server.domain.digests import shown_digest
from server.domain.errors import Conflict, Fault, InvalidInput, NotFree
from server.domain.money import Cents
from server.domain.sales import MONEY, Item, Means, Sale, cash_rounded
from server.domain.serials import faults_of_typed
from server.domain.slots import SLOT_WORDS
from server.domain.stock import Movement
from server.domain.swaps import Swap, is_new_part, last_day_to_swap, may_be_swapped, nearest_sizes, work_out_swap
from server.persistence.cases import settle_paid_returns
from server.persistence.quotes import load_quote
from server.persistence.sales import add_items, save_item
from server.persistence.stock import load_free, lock_parts, save_movements
from server.usecases.deposits import lessons_given_back_with
from server.usecases.fit import fitter_for
from server.usecases.returns import OTHER_SUM, first_invoice, to_pieces
from server.usecases.sales import Payment, check_key, issue, locked_sale, mark, pay, policy_of
from server.usecases.work import Work


@dataclass(frozen=True)
class Size:
    """Another size of a part in stock, and why it may not be chosen; empty where it may."""

    part: Part
    refusal: str = ""


def lesson_days(work: Work, sale: Sale) -> list[date]:
    """The days of the lessons taken with a sale: those whose fees were given back with it, and those that came free."""
    zone = work.zone
    paid = [lesson.day for lesson in lessons_given_back_with(work, sale.code) if lesson.state == "taken"]
    free = [
        date.fromisoformat(one.about["day"]) if one.about.get("day") else one.at.astimezone(zone).date()
        for one in sale.sessions("lesson")
    ]
    return sorted([*paid, *free])


def last_day_of_swap(work: Work, sale: Sale, item: Item) -> date | None:
    """The last day on which a part of a sale may be swapped, by the sale's own policy; None where it is not with the customer."""
    return last_day_to_swap(item, policy_of(work, sale).sales, lesson_days(work, sale))


def sizes_for(work: Work, sale: Sale, item: Item) -> tuple[Size, ...]:
    """A size down and a size up of a part among what is free today: such as suit the learner and join the rest of the kit.

    Where the kit is not whole any more, or its learner's answers hold no longer, the nearest that join what is left.
    """
    listed = work.catalogue.parts
    part = listed.get(item.sku)
    if part is None or not may_be_swapped(item):
        return ()
    mine = {one.slot: listed[one.sku] for one in sale.goods if is_new_part(one) and one.sku in listed}
    quote = load_quote(work.session, sale.quote_token, sale.revision) if sale.quote_token else None
    if quote is not None:
        answers = {name: value for name, value in quote.answers.items() if name not in ("deposit_codes", "trades")}
        with suppress(InvalidInput):  # An answer may hold no longer, a spot may be gone.
            fitter = fitter_for(work, answers)
            if set(fitter.fitting.to_buy) <= set(mine):
                beside = fitter.neighbours(fitter.kit(mine), item.slot)
                found = [one for one in (beside.smaller, beside.larger) if one is not None]
                return tuple(Size(one.part, one.refusal or "") for one in found)
    others = [one.gear for slot, one in mine.items() if slot != item.slot]
    return tuple(Size(one) for one in nearest_sizes(part.gear, work.shelf.core[item.slot], others))


def preview_swap(work: Work, sale: Sale, item_number: int, sku: str) -> Swap:
    """What a swap would come to today; raises `InvalidInput` with every reason against it. Writes nothing."""
    item = sale.item(item_number)
    if item is None or not is_new_part(item):
        raise InvalidInput([Fault("item", "This cannot be swapped: the customer does not have it (any more).")])
    if not may_be_swapped(item):
        words = f"A {SLOT_WORDS[item.slot]} is swapped once, and this one came in a swap."
        raise InvalidInput([Fault("item", words, "give it back, or sell it on")])
    faults = []
    last = last_day_of_swap(work, sale, item)
    if last is not None and work.today > last:
        faults.append(
            Fault("item", f"The last day to swap it was {day_in_words(last)}.", "give it back, or sell it on")
        )
    sizes = {one.part.sku: one for one in sizes_for(work, sale, item)}
    size = sizes.get(sku)
    if size is None:
        words = (
            f"This is not a size up or down that is in stock and joins the rest of the {SLOT_WORDS[item.slot]}’s kit."
        )
        faults.append(Fault("sku", words, "one of: " + ", ".join(sizes) if sizes else "a size in stock"))
    elif size.refusal:
        faults.append(Fault("sku", size.refusal, "a size that suits"))
    if size is None or faults:
        raise InvalidInput(faults)
    vat = work.catalogue.policy.shop.vat_percent
    return work_out_swap(sale, item, size.part, policy_of(work, sale), vat, work.today)


def digest_of(swap: Swap) -> str:
    """A short text that is another one as soon as a swap comes to something else."""
    return shown_digest((swap.rows, swap.new, swap.left))


def to_pay_now(work: Work, swap: Swap, means: Means) -> Cents:
    """What is paid with a swap by some means, as cash is rounded where the shop rounds it; 0 where nothing is left to pay."""
    rounds = means == "cash" and work.catalogue.policy.sales.rounds_cash
    return max(0, (cash_rounded(swap.left) if rounds else 0) or swap.left)


def swap_part(
    work: Work,
    number: int,
    item_number: int,
    sku: str,
    serial: str,
    digest: str,
    key: str,
    means: Means | None = None,
    *,
    has_none: bool = False,
) -> Sale:
    """Swap a part for another size, as it was shown (`digest`), in one transaction and once for each form.

    The old part is credited and goes to the used pieces to be looked at; the new one is charged with the fee and handed over at once.
    Its `serial` is written down, or that it `has_none`. What is then left to pay is paid by `means`, since nothing leaves while money
    is owed. Raises `NotFound`, `InvalidInput` with every reason, `NotFree` where somebody else took it, or `Conflict` where it comes
    to something else by now.
    """
    check_key(key)
    sale = locked_sale(work, number)
    if sale.done_under(key) is not None:
        return sale
    faults = []
    if sku not in work.catalogue.parts:
        faults.append(Fault("sku", "The catalogue has no such part.", "a size in stock"))
    faults += faults_of_typed(serial.strip(), has_none)
    if faults:
        raise InvalidInput(faults)
    lock_parts(work.session, [sku])
    if load_free(work.session, work.now).get(sku, 0) < 1:
        raise NotFree([Fault("sku", "The last one was taken meanwhile.", "a size in stock")])
    swap = preview_swap(work, sale, item_number, sku)
    if digest != digest_of(swap):
        raise Conflict([Fault("digest", OTHER_SUM)])
    if swap.left > 0 and means not in MONEY:
        words = f"{decimal_of(swap.left)} is to be paid first: nothing leaves while money is owed."
        raise InvalidInput([Fault("means", words, "how it is paid")])
    old = sale.item(item_number)
    assert old is not None
    to_pieces(work, sale, old, condition="good", source="swap")
    save_item(work.session, sale.id, replace(old, gone="swapped", gone_on=work.today))
    add_items(work.session, sale.id, [replace(swap.new, serial=serial.strip())])
    movement = Movement(sku, "handed_over", 1, f"sale {sale.id}, swapped for another size")
    save_movements(work.session, [movement], work.now, work.actor)
    about = {"item": old.number, "new": swap.new.number, "sku": sku, "total": swap.total, "has_none": has_none}
    mark(work, sale.id, "swapped", key, about=about)
    words = f"swapped {old.sku} for {sku} in sale {sale.id}, {decimal_of(swap.total)} to the customer"
    work.note_deed(words)
    first = first_invoice(sale)
    why = f"{old.label} swapped for {swap.new.label}"
    if swap.credit:
        sale = issue(work, sale, "credit_note", swap.credit, why=why, corrects=first.number if first else None)
    sale = issue(work, sale, "invoice", swap.invoice, why=why)
    if means is not None and (amount := to_pay_now(work, swap, means)):
        sale = pay(work, sale, Payment(amount, means), f"{key[:90]}:payment")
    if sale.owed >= 0:
        settle_paid_returns(work.session, sale.id, work.now)
    work.commit()
    return sale
