"""What a draft of the policy would do to the quotes of the last days; nothing is written."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import islice
from typing import Any

from server.domain.codes import read_code
from server.domain.deposits import PaidLesson
from server.domain.errors import InvalidInput
from server.domain.policy import Policy
from server.domain.refitting import Refitting, refit
from server.domain.repricing import Quoted, Repricing, reprice, under_policy
from server.persistence.deposits import load_lessons
from server.persistence.repricing import count_settled, load_quoted
from server.usecases.work import Work

SPANS = (30, 90, 365)
"""The days over which an owner may look back."""
MOST_FITTED = 200
QUOTES_AT_ONCE = (
    25  # So few that they are gone again before the collector of garbage takes them for old: a fifth of the time.
)
CODES_AT_ONCE = 400  # SQLite takes at most so many hundred values in one question.


@dataclass(frozen=True)
class MoneyEffect:
    """Quotes priced again; `vat_on` is the day whose rates of VAT both sides have, `settled` how many are held or were bought."""

    repricing: Repricing
    days: int
    vat_on: date
    settled: int


@dataclass(frozen=True)
class SizeEffect:
    """Learners fitted again: the newest `most` at the most."""

    refitting: Refitting
    days: int
    most: int = MOST_FITTED


def money_effect(work: Work, draft: Policy, days: int, from_day: date | None = None) -> MoneyEffect:
    """The newest revisions of the quotes issued in so many days, priced under the policy in force and under a draft.

    Both sides have the rate of VAT that their own policy gives for one day: the draft's day, or the last day from which it says
    another rate than the policy in force.
    """
    since = work.now - timedelta(days=days)
    in_force = work.catalogue.policy
    vat_on = max([from_day or work.today, *_new_days(in_force, draft)])
    shelf = under_policy(work.shelf, in_force.on(vat_on))
    lessons: dict[str, PaidLesson] = {}
    found = reprice(_with_lessons(work, since, lessons), shelf, draft.on(vat_on), work.today, lessons)
    return MoneyEffect(found, days, vat_on, count_settled(work.session, since, work.now))


def _with_lessons(work: Work, since: datetime, lessons: dict[str, PaidLesson]) -> Iterator[Quoted | None]:
    """The quotes issued since a moment, one by one; before each comes, the lessons whose codes it names are there."""
    loaded = load_quoted(work.session, since)
    while portion := list(islice(loaded, QUOTES_AT_ONCE)):
        lessons |= _lessons_of(work, [quoted for quoted in portion if quoted is not None])
        yield from portion


def _new_days(in_force: Policy, draft: Policy) -> list[date]:
    """The days from which a draft says another rate of VAT."""
    return [day for day, rate in draft.shop.vat_from if (day, rate) not in in_force.shop.vat_from]


def _lessons_of(work: Work, quotes: Iterable[Quoted]) -> dict[str, PaidLesson]:
    """The paid lessons whose codes stand in the answers of quotes, under each spelling of a code that stands there."""
    spelled = {text: plain for quoted in quotes for text, plain in _codes_in(quoted.answers)}
    codes = sorted(set(spelled.values()))
    known: dict[str, PaidLesson] = {}
    for start in range(0, len(codes), CODES_AT_ONCE):
        known |= load_lessons(work.session, codes[start : start + CODES_AT_ONCE])
    return {text: known[plain] for text, plain in spelled.items() if plain in known}


def _codes_in(answers: Mapping[str, Any]) -> Iterable[tuple[str, str]]:
    for text in answers.get("deposit_codes") or ():
        try:
            yield text, read_code(text)
        except InvalidInput:
            continue


def size_effect(work: Work, draft: Policy, days: int, most: int = MOST_FITTED) -> SizeEffect:
    """The learners of the newest quotes of so many days fitted on today's shelf, under the policy in force and under a draft."""
    quotes = load_quoted(work.session, work.now - timedelta(days=days), most)
    return SizeEffect(refit(quotes, work.shelf, draft, work.today), days, most)
