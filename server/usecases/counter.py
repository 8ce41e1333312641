"""Selling over the counter: stock follows in the same transaction, and one form sells once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from server.domain.catalogue import Part, PartSet
from server.domain.counter import (
    Sale,
    Sold,
    Stand,
    acts_of,
    check_sale,
    check_set_sale,
    find_item,
    movement_back,
    movement_of,
    stand_of_set,
)
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.money import Cents
from server.domain.sets import SetLine, lines_of
from server.persistence.counter import load_sale, load_sales_between, sales_under, save_sale, save_taken_back
from server.persistence.quotes import lock_key
from server.persistence.stock import load_held, load_on_hand, load_open_holds, lock_parts, save_movements
from server.usecases.work import Work, is_token


@dataclass(frozen=True, slots=True)
class Item:
    """A part or set at the counter: what a piece costs today, in cents, how it stands, and how each part of a set does."""

    item: Part | PartSet
    price: Cents
    stand: Stand
    parts: tuple[tuple[Part, Stand], ...] = ()


def item_at_counter(work: Work, text: str) -> Item:
    """The part or set that was scanned or typed; raises `InvalidInput` where the catalogue has none of this GTIN or SKU."""
    found = find_item(work.catalogue, text)
    if isinstance(found, Part):
        return Item(found, found.price_on(work.today), stand_of(work, found.sku))
    stands = stands_of(work, found.parts)
    parts = tuple((work.catalogue.parts[sku], stands[sku]) for sku in found.parts)
    return Item(found, found.price, stand_of_set(found, stands), parts)


def stands_of(work: Work, skus: Iterable[str]) -> dict[str, Stand]:
    """How parts stand now."""
    on_hand, held = load_on_hand(work.session), load_held(work.session, work.now)
    holds = load_open_holds(work.session, work.now)
    return {
        sku: Stand(on_hand.get(sku, 0), held.get(sku, 0), tuple(one.code for one in holds if sku in one.hold.skus))
        for sku in dict.fromkeys(skus)
    }


def stand_of(work: Work, sku: str) -> Stand:
    """How a part or a set stands now."""
    one = work.catalogue.sets.get(sku)
    if one is None or sku in work.catalogue.parts:
        return stands_of(work, [sku])[sku]
    return stand_of_set(one, stands_of(work, one.parts))


def sell_at_counter(work: Work, sku: str, pieces: int, key: str) -> Sold:
    """Sell pieces at today's price and take them off the stock; the same sale under the same key again is the one that was made.

    A set is sold as its parts, in one act, its price split over them. Raises `InvalidInput` for a SKU or key that is none, `Conflict`
    where more is asked for than is on hand or free, or where the key was used for another sale.
    """
    one = work.catalogue.parts.get(sku) or work.catalogue.sets.get(sku)
    if one is None or not is_token(key):
        raise InvalidInput([Fault("item", "Scan it again: this form was not complete.")])
    lock_key(work.session, f"sale:{key}")
    done = acts_of(sales_under(work.session, key))
    if done:
        if (done[0].sku, done[0].pieces) != (sku, pieces):
            words = f"This form has sold {done[0].pieces} × {done[0].sku} already. Scan again to sell more."
            raise Conflict([Fault("item", words)])
        return done[0]
    lines = _lines_to_sell(work, one, pieces)
    sold = save_act(work, one, lines, pieces, work.now, key, "counter sale")
    work.note_deed(f"sold {pieces} × {sku} over the counter, number {sold.sales[0].id}")
    work.commit()
    return sold


def _lines_to_sell(work: Work, one: Part | PartSet, pieces: int) -> tuple[SetLine, ...]:
    """What is sold of an item, once its parts are locked and there."""
    parts = work.catalogue.parts
    if isinstance(one, Part):
        lock_parts(work.session, [one.sku])
        check_sale(one, pieces, stand_of(work, one.sku))
        return (SetLine(one.sku, one.price_on(work.today)),)
    lock_parts(work.session, one.parts)
    check_set_sale(one, pieces, parts, stands_of(work, one.parts))
    return lines_of(one, one.price, parts)


def save_act(
    work: Work, one: Part | PartSet, lines: Iterable[SetLine], pieces: int, at: datetime, form: str, why: str
) -> Sold:
    """Keep what one act sells, a sale for each part, and book it; it does not commit."""
    of_set = one.sku if isinstance(one, PartSet) else ""
    sales = []
    for place, line in enumerate(lines):
        sale = Sale(0, line.sku, pieces, line.price, at, work.actor, form=form, of_set=of_set)
        sales.append(save_sale(work.session, sale, place))
    movements = [movement_of(sale, f"{why} {sale.id}" + (f", in {of_set}" if of_set else "")) for sale in sales]
    save_movements(work.session, movements, work.now, work.actor)
    return Sold(one.sku, tuple(sales))


def take_sale_back(work: Work, sale_id: int) -> Sold:
    """Take a sale back and put its pieces on hand again, once, all parts of a set together.

    Raises `NotFound` where there was no such sale, `Conflict` where what had come back at the till is gone from the shelf again.
    """
    sale = load_sale(work.session, sale_id)
    if sale is None:
        raise NotFound("sale", "There was no such sale.")
    [act] = acts_of(sales_under(work.session, sale.form, to_change=True))
    if not act.is_back:
        _refuse_gone(work, act)
        back = [save_taken_back(work.session, one.id, work.now, work.actor) for one in act.sales]
        movements = [movement_back(one, f"counter sale {one.id} taken back") for one in back]
        save_movements(work.session, movements, work.now, work.actor)
        act = Sold(act.sku, tuple(back))
        work.note_deed(f"took counter sale {sale_id} back")
    work.commit()
    return act


def _refuse_gone(work: Work, act: Sold) -> None:
    """Where taking back takes pieces off the shelf, they must be there."""
    if act.pieces > 0:
        return
    lock_parts(work.session, [sale.sku for sale in act.sales])
    on_hand = load_on_hand(work.session)
    gone = [sale.sku for sale in act.sales if on_hand.get(sale.sku, 0) < -sale.pieces]
    if gone:
        raise Conflict([Fault("sale", f"What came back is not on hand any more: {', '.join(gone)}. Count it first.")])


def sale_at_counter(work: Work, sale_id: int) -> Sold | None:
    """What was sold under a sale's number, or None."""
    sale = load_sale(work.session, sale_id)
    return None if sale is None else acts_of(sales_under(work.session, sale.form))[0]


def sales_on(work: Work, day: date) -> tuple[Sold, ...]:
    """What was sold on a day by the shop's clock, newest first, what was taken back too."""
    zone = work.zone
    start, end = (datetime.combine(one, time(), zone) for one in (day, day + timedelta(days=1)))
    return acts_of(load_sales_between(work.session, start, end))
