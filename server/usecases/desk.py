"""What needs a hand at the desk today, and the quote that a caller means."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta

from server.domain.accounts import failures_now, wait_left
from server.domain.aftercare import Waiting
from server.domain.calls import Call
from server.domain.drafts import oldest_kept
from server.domain.errors import Fault, InvalidInput, NotFound, TooMany
from server.domain.faulty import Case
from server.domain.finding import CODE_GUESSES, Changed, Met, Sought, read_sought
from server.domain.lessons import CallStage, LessonTime, call_to_make
from server.domain.pieces import Piece
from server.domain.sales import Mark, Sale
from server.domain.stock import OpenHold
from server.domain.worksheets import Worksheet
from server.persistence.accounts import lock_failures
from server.persistence.aftercare import waiting_questions
from server.persistence.calls import load_promised
from server.persistence.cases import load_open_cases
from server.persistence.desk import find_met, load_changed, load_unopened, load_waiting, names_by_token
from server.persistence.lessons import load_times
from server.persistence.pieces import load_pieces
from server.persistence.quotes import token_of
from server.persistence.sales import (
    load_sales,
    refunds_due,
    sales_on_the_way,
    sales_with_code,
    sales_with_goods_to_come,
    unbalanced_sales,
)
from server.persistence.stock import load_open_holds
from server.persistence.tables import FailureRow
from server.usecases.quotes import find_quote
from server.usecases.reservations import Reserved, open_reservations, reserved
from server.usecases.work import Shop, Work

SOON = timedelta(hours=48)
DAYS_OF_LESSONS = timedelta(days=3)
MOST_ROWS = 50
CODE_ACCEPTED = "eight letters and digits, such as HKBN 04QA"


@dataclass(frozen=True, slots=True)
class TimeToCall:
    """A lesson of these days with its places taken, and the call on its weather that is to be made now, if one is."""

    time: LessonTime
    title: str
    taken: int
    to_call: CallStage | None


@dataclass(frozen=True, slots=True)
class Today:
    """What needs a hand, each list in the order in which it wants one; of the long ones the first fifty."""

    to_confirm: tuple[OpenHold, ...]
    lapsing: tuple[OpenHold, ...]
    calls: tuple[Call, ...]
    waiting: tuple[Worksheet, ...]
    changed: tuple[Changed, ...]
    unopened: tuple[Worksheet, ...]
    weather: tuple[TimeToCall, ...] = ()
    lessons: tuple[TimeToCall, ...] = ()
    questions: tuple[Waiting, ...] = ()
    to_pay: tuple[Sale, ...] = ()
    to_hand_over: tuple[Sale, ...] = ()
    we_owe: tuple[tuple[Sale, date | None], ...] = ()
    """Each with the day by which it has to be paid, where there is one."""
    reserved: tuple[Reserved, ...] = ()
    """Used pieces and parts to come that are to be confirmed, are here to be sold, or are let go of by the clock soon."""
    coming_back: tuple[tuple[Case, Sale], ...] = ()
    faulty: tuple[tuple[Case, Sale], ...] = ()
    on_the_way: tuple[tuple[Sale, date | None], ...] = ()
    """Each with the day by which it is expected, where there is one."""
    gear_to_come: tuple[tuple[Piece, Sale], ...] = ()
    """Old gear that did not come with its owner when their kit was handed over."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a search led to: a quote by its code, a sale by its own (its number), or where somebody was met.

    `misheard` is a code that leads nowhere.
    """

    sought: Sought
    code: str = ""
    sale: int = 0
    met: tuple[Met, ...] = ()
    misheard: str = ""


def today_at_desk(work: Work) -> Today:
    """What needs a hand now: it reads a few rows of each kind, so that an open page may ask often."""
    holds = load_open_holds(work.session, work.now)
    kept_since = oldest_kept(work.now, work.catalogue.policy)
    changed = load_changed(work.session, _start_of_yesterday(work), MOST_ROWS)
    names = names_by_token(work.session, [one.token for one in changed])
    lessons = _lessons_near(work)
    sales = _sales_waiting(work)
    cases, gear = load_open_cases(work.session, MOST_ROWS * 2), _gear_expected(work)
    way = sales_on_the_way(work.session, MOST_ROWS)
    about = _sales_by_number(work, {*way, *(case.sale for case in cases), *(piece.from_sale or 0 for piece in gear)})
    open_cases = [(case, about[case.sale]) for case in cases if case.kind == "fault" or not case.outcome]
    return Today(
        to_confirm=tuple(one for one in holds if not one.hold.is_confirmed),
        lapsing=tuple(one for one in holds if one.hold.is_confirmed and one.hold.expires_at <= work.now + SOON),
        calls=tuple(load_promised(work.session, MOST_ROWS)),
        waiting=tuple(load_waiting(work.session, kept_since, MOST_ROWS)),
        changed=tuple(replace(one, name=names.get(one.token, "")) for one in changed),
        unopened=tuple(load_unopened(work.session, kept_since, work.now, MOST_ROWS)),
        weather=tuple(one for one in lessons if one.to_call is not None and one.taken),
        lessons=tuple(one for one in lessons if one.time.starts_at.astimezone(work.zone).date() == work.today),
        questions=tuple(waiting_questions(work.session, MOST_ROWS)),
        to_pay=tuple(sale for sale in sales if sale.owed > 0),
        to_hand_over=tuple(sale for sale in sales if sale.state == "paid" and sale.owed <= 0),
        we_owe=_owed_to_customers(work, [sale for sale in sales if sale.owed < 0]),
        reserved=_reserved_to_see_to(work),
        coming_back=tuple(one for one in open_cases if one[0].kind == "return"),
        faulty=tuple(one for one in open_cases if one[0].kind == "fault"),
        on_the_way=tuple(sorted(((about[one], expected_by(about[one])) for one in way), key=_by_day)),
        gear_to_come=tuple((one, about[one.from_sale or 0]) for one in gear if _has_kit(about.get(one.from_sale or 0))),
    )


def _sales_waiting(work: Work) -> list[Sale]:
    """The sales in which somebody owes something or something was not handed over, oldest first; of each kind the first fifty."""
    numbers = {*unbalanced_sales(work.session, MOST_ROWS), *sales_with_goods_to_come(work.session, MOST_ROWS)}
    return load_sales(work.session, sorted(numbers)) if numbers else []


def _sales_by_number(work: Work, numbers: Collection[int]) -> dict[int, Sale]:
    return {sale.id: sale for sale in load_sales(work.session, sorted(numbers))} if numbers else {}


def _reserved_to_see_to(work: Work) -> tuple[Reserved, ...]:
    """The requests to hold a piece that want a hand, the first asked first: of those confirmed, what is here or lapses soon."""
    opened = (reserved(work, one) for one in open_reservations(work)[:MOST_ROWS])
    soon = work.now + SOON
    return tuple(
        one
        for one in opened
        if not one.reservation.is_confirmed
        or one.due_about is None
        or one.is_gone
        or one.reservation.expires_at <= soon
    )


def _gear_expected(work: Work) -> list[Piece]:
    pieces = load_pieces(work.session, states=("expected",))
    return [one for one in reversed(pieces) if one.source == "trade_in" and one.from_sale is not None][:MOST_ROWS]


def _has_kit(sale: Sale | None) -> bool:
    return sale is not None and any(item.is_with_customer for item in sale.goods)


def parcels_out(sale: Sale) -> list[Mark]:
    """The parcels of a sale of which something has not arrived yet, as they were written down when they were sent."""
    out = {item.number for item in sale.goods if item.is_to_come and item.sent_on is not None}
    sent = (mark for mark in sale.marks if mark.kind == "sent")
    return [mark for mark in sent if any(item["number"] in out for item in mark.about.get("items", ()))]


def expected_by(sale: Sale) -> date | None:
    """The first day by which something that is on its way is expected; None where nobody can say."""
    days = [str(mark.about.get("expected") or "") for mark in parcels_out(sale)]
    return min((date.fromisoformat(day) for day in days if day), default=None)


def _by_day(one: tuple[Sale, date | None]) -> tuple[date, int]:
    return one[1] or date.max, one[0].id


def _owed_to_customers(work: Work, sales: list[Sale]) -> tuple[tuple[Sale, date | None], ...]:
    """Those to whom the shop owes, the refund that is due first in front."""
    due = refunds_due(work.session, [sale.id for sale in sales]) if sales else {}
    return tuple(sorted(((sale, due.get(sale.id)) for sale in sales), key=_by_day))


def _lessons_near(work: Work) -> list[TimeToCall]:
    """The lessons of today and of the days whose call on the weather may be due already."""
    start = datetime.combine(work.today, time(), work.zone)
    policy, kinds = work.catalogue.policy, work.catalogue.lessons
    return [
        TimeToCall(
            one, kinds[one.kind].title if one.kind in kinds else one.kind, taken, call_to_make(one, work.now, policy)
        )
        for one, taken in load_times(work.session, start, start + DAYS_OF_LESSONS)
    ]


def _start_of_yesterday(work: Work) -> datetime:
    zone = work.zone
    return datetime.combine(work.today - timedelta(days=1), time(), zone)


def find_by_code(work: Work, account_id: int, text: str) -> Found | None:
    """The quote or sale of a code; None where it leads nowhere, is none, or the account has to wait. It writes and locks nothing."""
    sought = read_sought(text)
    if not (sought.said_code and sought.is_right):
        return None
    counter = work.session.get(FailureRow, _key(account_id))
    if counter is not None and _wait(work, counter):
        return None
    return _with_code(work, sought)


def _with_code(work: Work, sought: Sought) -> Found | None:
    """The quote of a right code, else the sale with it."""
    if token_of(work.session, sought.said_code) is not None:
        return Found(sought, sought.said_code)
    own = sales_with_code(work.session, sought.said_code)
    return Found(sought, sale=own[0]) if own else None


def find_at_desk(work: Work, account_id: int, text: str) -> Found:
    """The quote of a code, or where somebody of this name, number or address was met.

    Codes that lead nowhere are counted for the account; after many the next must wait (`TooMany`), while names, numbers and
    addresses are found as before. Raises `InvalidInput` where nothing was typed.
    """
    sought = read_sought(text)
    if sought.is_nothing:
        raise InvalidInput([Fault("q", "Nothing to look for was typed.", "a code, a name, a number or an address")])
    counter = _counter(work, account_id) if sought.said_code else None
    is_free = counter is not None and not _wait(work, counter)
    found = _with_code(work, sought) if is_free and sought.is_right else None
    if found is not None:
        return found
    kept_since = oldest_kept(work.now, work.catalogue.policy)
    met = tuple(find_met(work.session, sought, kept_since, MOST_ROWS))
    if counter is not None and not met:
        _count(work, counter, "q")
    return Found(sought, met=met, misheard=sought.said_code)


def quote_by_code(work: Work, account_id: int, text: str) -> str:
    """The token of the quote with a code; raises `InvalidInput`, and `TooMany` after many codes that lead nowhere."""
    sought = read_sought(text)
    if not sought.said_code:
        raise InvalidInput([Fault("code", "This is not a code.", CODE_ACCEPTED)])
    counter = _counter(work, account_id)
    token = None
    if not _wait(work, counter) and sought.is_right:
        token = token_of(work.session, sought.said_code)
    if token is None:
        _count(work, counter, "code")
        words = "There is no quote with this code." if sought.is_right else "One sign of this code is wrong: ask again."
        raise InvalidInput([Fault("code", words, CODE_ACCEPTED)])
    return token


def know_code(shop: Shop, account_id: int, code: str) -> None:
    """Go on only with the code of a quote; one that leads nowhere is counted for the account, as everywhere.

    Raises `InvalidInput` or `NotFound` for it, and `TooMany` for any code while the account has to wait. A right code writes
    nothing, so that an open page may ask often.
    """
    with shop.reading() as work:
        refuse_while_waiting(work, account_id)
        try:
            find_quote(work, code)
            return
        except (InvalidInput, NotFound) as error:
            wrong = error
    with shop.writing() as work:
        count_guess(work, account_id)
    raise wrong


def refuse_while_waiting(work: Work, account_id: int) -> None:
    """Raises `TooMany` while an account has to wait after many codes that led nowhere; it counts and locks nothing."""
    counter = work.session.get(FailureRow, _key(account_id))
    if counter is not None and (wait := _wait(work, counter)):
        raise _too_many("code", wait)


def count_guess(work: Work, account_id: int) -> None:
    """Count a code that led nowhere at another door than the search; raises `TooMany` while the account has to wait."""
    _count(work, _counter(work, account_id), "code")


def _counter(work: Work, account_id: int) -> FailureRow:
    """How many codes of this account led nowhere, locked until the unit of work ends, for every process alike."""
    return lock_failures(work.session, [_key(account_id)], work.now)[0]


def _key(account_id: int) -> str:
    return f"codes:{account_id}"


def _wait(work: Work, counter: FailureRow) -> timedelta:
    return wait_left(CODE_GUESSES, counter.failures, counter.last_at, work.now)


def _too_many(field: str, wait: timedelta) -> TooMany:
    seconds = -(-wait // timedelta(seconds=1))
    words = f"Too many codes that led nowhere. Wait {seconds} seconds, or look for the name or the number."
    return TooMany(field, words, "a code once the wait is over")


def _count(work: Work, counter: FailureRow, field: str) -> None:
    """Count a code that led nowhere and commit it; raises `TooMany`, counting nothing, while the account has to wait."""
    wait = _wait(work, counter)
    if wait:
        raise _too_many(field, wait)
    counter.failures = failures_now(CODE_GUESSES, counter.failures, counter.last_at, work.now) + 1
    counter.last_at = work.now
    work.commit()
