"""A price as a docket: few lines that add up to the sum, what is included said as included, what is given back with its reason."""

from __future__ import annotations

from dataclasses import dataclass

from server.domain.deposits import last_day_to_buy
from server.domain.kits import Fitter, Kit
from server.domain.pricing import Breakdown, Line, bought_one_by_one
from server.domain.quotes import Quote
from server.domain.trade_in import VALUED_BY_US


@dataclass(frozen=True, slots=True)
class DocketLine:
    """A line of the docket: an amount in cents, or a word in its place."""

    label: str
    amount: int
    word: str = ""
    note: str = ""
    worth: int = 0


@dataclass(frozen=True)
class Docket:
    """The lines, the sum, the tax inside, and the notes under it."""

    lines: tuple[DocketLine, ...]
    balance: int
    owed: int
    vat: tuple[tuple[str, int], ...]
    notes: tuple[str, ...]
    parts: tuple[Line, ...]
    deposit: str

    @property
    def included(self) -> str:
        """What is included, in one sentence's words."""
        return ", ".join(line.label for line in self.lines if line.worth)


NUMBERS = ("No", "One", "Two", "Three", "Four", "Five", "Six", "Seven")


def docket_of(kit: Kit, fitter: Fitter) -> Docket:
    """The docket of a kit before it is kept, with what the learner may do about lesson deposits."""
    one_by_one = bought_one_by_one(kit.bought.values(), fitter.today)
    return _docket(kit.price, one_by_one, _deposit_words(kit.price, fitter))


def docket_of_quote(quote: Quote) -> Docket:
    """The docket of a kept quote: the same lines, from its record, which may be of a time when it did not say what a part costs
    by itself."""
    price = quote.kit.price
    core = [line for line in price.lines if line.is_core]
    if all(line.alone is not None for line in core):
        return _docket(price, sum(line.alone or 0 for line in core), "")
    by_markdown = sum(line.discount for line in core) - (price.tier.discount if price.tier else 0) - price.agreed_off
    return _docket(price, sum(line.list for line in core) - by_markdown, "")


def _docket(price: Breakdown, one_by_one: int, deposit: str) -> Docket:
    core = tuple(line for line in price.lines if line.is_core)
    saved = one_by_one - price.core_charged - price.agreed_off
    count = NUMBERS[len(core)] if len(core) < len(NUMBERS) else str(len(core))
    rows = []
    if core:
        rows.append(DocketLine(f"{count} part{'' if len(core) == 1 else 's'}, bought one by one today", one_by_one))
    if price.tier is not None:
        rows.append(DocketLine(f"Kit discount, {price.tier.percent} %", -saved, note=price.tier.name))
    if price.agreed_off:
        rows.append(DocketLine("Discount agreed with us", -price.agreed_off))
    rows += [DocketLine(line.label, line.charged) for line in price.lines if not line.is_core and not line.worth]
    rows += [DocketLine(line.label, 0, "included", worth=line.worth) for line in price.lines if line.worth]
    rows.append(DocketLine("Delivery", price.delivery, "" if price.delivery else "free"))
    if price.trades:
        is_valued = all(trade.because == VALUED_BY_US for trade in price.trades)
        note = "valued by us, firm once seen" if is_valued else "an estimate until we have seen it"
        rows.append(DocketLine("Gear traded in", -price.trade_in, note=note))
    if price.deposit_back:
        rows.append(DocketLine("Lesson deposit given back", -price.deposit_back))
    if price.voucher:
        rows.append(DocketLine("Voucher", -price.voucher, note="paid before"))
    trades = [f"Traded in: {trade.because}" for trade in price.trades]
    return Docket(
        lines=tuple(rows),
        balance=price.balance,
        owed=price.owed_to_customer,
        vat=tuple((f"{share.rate.normalize():f} %", share.vat) for share in price.vat),
        notes=(*trades, *price.notes),
        parts=price.lines,
        deposit=deposit,
    )


def _deposit_words(price: Breakdown, fitter: Fitter) -> str:
    """What must be true for a lesson's fee to be given back, until some is."""
    if price.deposit_back:
        return ""
    policy = fitter.shelf.catalogue.policy
    tier = policy.full_tier
    if tier is None or tier.lessons is None:
        return ""
    closes = last_day_to_buy(fitter.lessons, tier.lessons.kind, policy.refund_window_days)
    until = f" Yours counts until {closes.isoformat()}." if closes is not None and closes >= fitter.today else ""
    return (
        f"Paid for a {tier.lessons.kind} lesson here? With the whole kit we give back the fees of up to {tier.lessons.number}, "
        f"taken or booked, until {policy.refund_window_days} days after the last one taken: give the code from its receipt.{until}"
    )
