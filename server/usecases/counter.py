"""Selling over the counter: stock follows in the same transaction, and one form sells once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, time
from zoneinfo import ZoneInfo

from server.domain.catalogue import Part
from server.domain.counter import Sale, Stand, check_sale, find_part
from server.domain.errors import Conflict, Fault, InvalidInput, NotFound
from server.domain.money import Cents
from server.domain.stock import Movement
from server.persistence.counter import load_sale, load_sales_since, sale_under, save_sale, save_taken_back
from server.persistence.quotes import lock_key
from server.persistence.stock import load_held, load_on_hand, load_open_holds, lock_parts, save_movements
from server.usecases.work import Work, is_token


@dataclass(frozen=True, slots=True)
class Item:
    """A part at the counter: what a piece costs today, in cents, and how it stands."""

    part: Part
    price: Cents
    stand: Stand


def item_at_counter(work: Work, text: str) -> Item:
    """The part that was scanned or typed; raises `InvalidInput` where the catalogue has none of this GTIN or SKU."""
    part = find_part(work.catalogue, text)
    return Item(part, part.price_on(work.today), stand_of(work, part.sku))


def stand_of(work: Work, sku: str) -> Stand:
    """How a part stands now."""
    codes = tuple(one.code for one in load_open_holds(work.session, work.now) if sku in one.hold.skus)
    on_hand = load_on_hand(work.session).get(sku, 0)
    return Stand(on_hand, load_held(work.session, work.now).get(sku, 0), codes)


def sell_at_counter(work: Work, sku: str, pieces: int, key: str) -> Sale:
    """Sell pieces at today's price and take them off the stock; the same sale under the same key again is the one that was made.

    Raises `InvalidInput` for a SKU or key that is none, `Conflict` where more is asked for than is on hand or free, or where the
    key was used for another sale.
    """
    if sku not in work.catalogue.parts or not is_token(key):
        raise InvalidInput([Fault("item", "Scan it again: this form was not complete.")])
    lock_key(work.session, f"sale:{key}")
    done = sale_under(work.session, key)
    if done is not None:
        if (done.sku, done.pieces) != (sku, pieces):
            words = f"This form has sold {done.pieces} × {done.sku} already. Scan again to sell more."
            raise Conflict([Fault("item", words)])
        return done
    lock_parts(work.session, [sku])
    part = work.catalogue.parts[sku]
    check_sale(part, pieces, stand_of(work, sku))
    sale = Sale(0, sku, pieces, part.price_on(work.today), work.now, work.actor)
    sale = save_sale(work.session, sale, key)
    sold = Movement(sku, "counter_sale", pieces, f"counter sale {sale.id}")
    save_movements(work.session, [sold], work.now, work.actor)
    work.note_deed(f"sold {pieces} × {sku} over the counter, number {sale.id}")
    work.commit()
    return sale


def take_sale_back(work: Work, sale_id: int) -> Sale:
    """Take a sale back and put its pieces on hand again, once; raises `NotFound` where there was no such sale."""
    sale = load_sale(work.session, sale_id, to_change=True)
    if sale is None:
        raise NotFound("sale", "There was no such sale.")
    if sale.taken_back_at is None:
        sale = save_taken_back(work.session, sale_id, work.now, work.actor)
        back = Movement(sale.sku, "returned", sale.pieces, f"counter sale {sale.id} taken back")
        save_movements(work.session, [back], work.now, work.actor)
        work.note_deed(f"took counter sale {sale.id} back")
    work.commit()
    return sale


def sale_at_counter(work: Work, sale_id: int) -> Sale | None:
    """A sale by its number, or None."""
    return load_sale(work.session, sale_id)


def sales_today(work: Work) -> tuple[Sale, ...]:
    """The sales of the day by the shop's clock, newest first, those taken back too."""
    zone = ZoneInfo(work.catalogue.policy.shop.time_zone)
    return tuple(load_sales_since(work.session, datetime.combine(work.today, time(), zone)))
