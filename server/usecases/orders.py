"""What to order for a season: worked out from what was asked for, and changed by the owner size by size."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction

from server.domain.errors import Fault, InvalidInput
from server.domain.numbers import QuoteFact
from server.domain.order_list import (
    MOST_PIECES,
    MakersOrder,
    OrderLine,
    OwnChoice,
    Terms,
    There,
    UnlistedLine,
    Wanted,
    by_maker,
    counter_sales,
    order_line,
    unlisted_line,
    wanted_sizes,
)
from server.domain.ordering import Share, share_of_buyers
from server.domain.seasons import Days, coming_season, days_to_count
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from server.persistence.numbers import QuoteRead, oldest_quote, quotes_since, read_counter, read_missed_by_deleted
from server.persistence.orders import drop_choice, load_choices, load_due, save_choice
from server.persistence.stock import load_held, load_on_hand
from server.usecases.numbers import MOST_DAYS, asked_sizes, facts_of, moments_of, read_days
from server.usecases.work import Work

SHARE_ACCEPTED = "a whole number of per cent from 1 to 100, or blank"
PIECES_ACCEPTED = f"a whole number from 0 to {MOST_PIECES}, or blank for what is suggested"


@dataclass(frozen=True, slots=True)
class OrdersAsked:
    """What an address asks for: the season, the days that the demand is counted from, and the share that buys if set by hand."""

    season: Days
    counted: Days
    percent: int | None = None


@dataclass(frozen=True, slots=True)
class Base:
    """How thick the ground is: quotes kept in the days counted, how many of them decided and bought, and since when any is there.

    `all_days` are all that could be counted up to today, and `all_kept` the quotes kept in them.
    """

    kept: int
    decided: int
    bought: int
    oldest: date | None
    all_days: Days | None = None
    all_kept: int = 0

    @property
    def lies_elsewhere(self) -> bool:
        """Whether most quotes are not among those counted."""
        return self.all_kept > 2 * self.kept


@dataclass(frozen=True)
class OrderList:
    """The list: its lines by slot, sizes asked for that nothing in the catalogue fits, and what it was worked out with."""

    asked: OrdersAsked
    base: Base
    terms: Terms
    lines: tuple[OrderLine, ...]
    unlisted: tuple[UnlistedLine, ...]
    sold: Mapping[str, int]
    there: There

    @property
    def makers(self) -> tuple[MakersOrder, ...]:
        """What is ordered of each maker."""
        return by_maker(self.lines)

    @property
    def kits(self) -> float:
        """How many kits the quotes counted come to in the season, by the share that buys."""
        return self.terms.share.mean * self.terms.scale * self.base.kept


def read_orders_asked(work: Work, typed: Mapping[str, str]) -> OrdersAsked:
    """What an address asks for; raises `InvalidInput` with all that cannot be read."""
    faults: list[Fault] = []
    usual = coming_season(work.today)
    season = Days(*read_days(typed, ("season_from", "season_to"), (usual.first, usual.last), faults))
    oldest = _oldest(work)
    past = days_to_count(season, work.today, oldest)
    counted = Days(*read_days(typed, ("from", "to"), (past.first, past.last), faults))
    if counted.last > work.today and not faults:
        faults.append(Fault("to", "These days are not over.", f"a day up to {work.today.isoformat()}"))
    text = typed.get("share", "").strip().removesuffix("%").strip()
    if text and not (text.isdecimal() and text.isascii() and len(text) <= 3 and 1 <= int(text) <= 100):
        faults.append(Fault("share", "This is not a share.", SHARE_ACCEPTED))
    if faults:
        raise InvalidInput(faults)
    return OrdersAsked(season, counted, int(text) if text else None)


def _oldest(work: Work) -> date | None:
    moment = oldest_quote(work.session)
    return None if moment is None else work.catalogue.policy.shop.day_of(moment)


def read_orders(work: Work, asked: OrdersAsked) -> OrderList:
    """Work the list out: what was asked for in the days counted, what of it buyers will want in the season, what is there."""
    session, policy = work.session, work.catalogue.policy
    counted = asked.counted
    read, sales = facts_of(work, counted.first, counted.last)
    kept = [(one, fact) for one, fact in read if counted.first <= fact.day <= counted.last]
    quotes = [fact for _, fact in kept]
    decided = sum(quote.is_decided for quote in quotes)
    bought = sum(quote.sale is not None for quote in quotes)
    share = share_of_buyers(bought, decided) if asked.percent is None else Share(asked.percent / 100)
    terms = Terms(share, asked.season.number / counted.number, _discount(quotes, work), policy, work.today)
    over_the_counter, _ = read_counter(session, *moments_of(policy.shop, counted.first, counted.last))
    sold = Counter(over_the_counter)
    for sale in sales:
        if counted.first <= sale.day <= counted.last:
            sold.update(sale.skus)
    quoted = Counter(line.sku for quote in quotes for line in quote.lines if line.sku)
    there = There(load_on_hand(session), load_held(session, work.now), load_due(session, asked.season.last, work.now))
    wanted = _wanted(work, counted, kept, over_the_counter)
    choices = _choices(load_choices(session, asked.season.key))
    # A part sold counts before any number of parts quoted only.
    by_use = {sku: 10_000 * max(0, sold[sku]) + quoted[sku] for sku in {*sold, *quoted}}
    lines = [order_line(one, terms, there, by_use, choices.get(one.key)) for one in wanted]
    unlisted = [unlisted_line(one, terms, choices.get(one.key)) for one in wanted]
    return OrderList(
        asked=asked,
        base=Base(len(quotes), decided, bought, *_all_days(work)),
        terms=terms,
        lines=tuple(line for line in lines if line is not None),
        unlisted=tuple(line for line in unlisted if line is not None),
        sold=sold,
        there=there,
    )


def _all_days(work: Work) -> tuple[date | None, Days | None, int]:
    """The day of the oldest quote, all days that can be counted at once up to today, and the quotes kept in them."""
    oldest = _oldest(work)
    if oldest is None:
        return None, None, 0
    days = Days(max(oldest, work.today - timedelta(days=MOST_DAYS - 1)), work.today)
    since, _ = moments_of(work.catalogue.policy.shop, days.first, days.last)
    return oldest, days, quotes_since(work.session, since)


def _discount(quotes: Sequence[QuoteFact], work: Work) -> Fraction:
    """The discount usually given on parts of a kit, in per cent: of the quotes counted, or of the whole kit where there are none."""
    core = [line for quote in quotes for line in quote.lines if line.slot in CORE_SLOTS]
    listed = sum(line.list for line in core)
    if listed:
        return Fraction(100 * sum(line.list - line.charged for line in core), listed)
    tier = work.catalogue.policy.full_tier
    return Fraction(tier.percent if tier else 0)


def _wanted(
    work: Work, counted: Days, read: Sequence[tuple[QuoteRead, QuoteFact]], counter: Mapping[str, int]
) -> list[Wanted]:
    """All that can be ordered: of the core slots each size with its parts, of the extras each part by itself."""
    catalogue = work.catalogue
    asked = asked_sizes(work, read, counted.first)
    asked += read_missed_by_deleted(work.session, counted.first, counted.last)
    wanted = [
        one
        for slot in CORE_SLOTS
        for one in wanted_sizes(
            slot, catalogue.sold_in(slot), [size for size in asked if size.slot == slot], catalogue.parts, counter
        )
    ]
    quoted = Counter(line.sku for _, quote in read for line in quote.lines)
    for slot in EXTRA_SLOTS:
        wanted += [
            Wanted(f"{slot}:{part.sku}", slot, quoted[part.sku], 0, counter_sales((part,), counter), (part,))
            for part in catalogue.sold_in(slot)
        ]
    return wanted


def _choices(kept: Mapping[str, int]) -> dict[str, OwnChoice]:
    """The owner's choices by size; the part, where one was chosen, stands behind the size: board:102=GDW-C105."""
    found = {}
    for size, pieces in kept.items():
        key, _, sku = size.partition("=")
        found[key] = OwnChoice(pieces, sku)
    return found


@dataclass(frozen=True, slots=True)
class Typed:
    """A line of the list as a form sends it: pieces and part as typed, and as they were when it was shown."""

    key: str
    pieces: str
    sku: str
    pieces_shown: str
    sku_shown: str

    @property
    def is_changed(self) -> bool:
        """Whether anything in it was changed."""
        return (self.pieces, self.sku) != (self.pieces_shown, self.sku_shown)


def change_orders(work: Work, asked: OrdersAsked, typed: Sequence[Typed]) -> int:
    """Keep what the owner wants in place of what is suggested, for the lines that were changed; how many were.

    A line left blank, or put back to what is suggested of the part that is meant, is as suggested from then on. Raises
    `InvalidInput` with every line that cannot be read, and keeps nothing then.
    """
    listed = read_orders(work, asked)
    every: tuple[OrderLine | UnlistedLine, ...] = (*listed.lines, *listed.unlisted)
    lines = {line.wanted.key: line for line in every}
    changed = [one for one in typed if one.is_changed]
    faults = [fault for one in changed for fault in _faults(one, lines.get(one.key))]
    if faults:
        raise InvalidInput(faults)
    season = asked.season.key
    for one in changed:
        line = lines[one.key]
        suggested, meant = _suggested(line)
        pieces = int(one.pieces) if one.pieces else suggested
        sku = "" if one.sku in ("", meant) else one.sku
        _forget(work, season, one.key)
        if sku or (one.pieces and pieces != suggested):
            save_choice(work.session, season, f"{one.key}={sku}" if sku else one.key, pieces, work.now, work.actor)
    if changed:
        work.note_deed(f"changed {len(changed)} lines of the order for {season}")
    work.commit()
    return len(changed)


def _suggested(line: OrderLine | UnlistedLine) -> tuple[int, str]:
    """How many are suggested, of which part; none of a size that is not listed."""
    return (0, "") if isinstance(line, UnlistedLine) else (line.suggestion.order, line.meant.sku)


def _forget(work: Work, season: str, key: str) -> None:
    for size in load_choices(work.session, season):
        if size.partition("=")[0] == key:
            drop_choice(work.session, season, size)


def _faults(one: Typed, line: OrderLine | UnlistedLine | None) -> list[Fault]:
    if line is None:
        return [Fault(f"pieces-{one.key}", "This size is not in the catalogue any more.", "a size of the list")]
    faults = []
    if one.pieces and not (one.pieces.isdecimal() and one.pieces.isascii() and int(one.pieces[:9]) <= MOST_PIECES):
        faults.append(Fault(f"pieces-{one.key}", "This is not a number of pieces.", PIECES_ACCEPTED))
    if one.sku and one.sku not in {part.sku for part in line.wanted.parts}:
        faults.append(Fault(f"sku-{one.key}", "This part is not of that size.", "a part of the list"))
    return faults
