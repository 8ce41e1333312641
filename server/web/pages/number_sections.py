"""The sections of the owner's numbers: what each counts, as a sentence, a chart and a table."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.domain.asked_sizes import ASKED_BY, count_answers
from server.domain.earnings import count_lessons
from server.domain.numbers import share_words
from server.domain.policy import ShopTerms
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.usecases.numbers import Asked, Numbers
from server.usecases.work import Work
from server.web.drawings.axis import EURO, whole_money
from server.web.drawings.counts import Row, Told, Week, rows_chart, weeks_chart
from server.web.drawings.sheet import Drawing
from server.web.pages.drawn import NARROW, WIDE, Pair
from server.web.pages.number_tables import (
    ASKED_WORDS,
    Table,
    WeekCounted,
    answer_words,
    answers_table,
    asked_class_words,
    lessons_table,
    margins_of,
    missed_in,
    money_table,
    quotes_table,
    sizes_table,
    unmet_table,
    week_words,
    weeks_of,
    whole_of,
)
from server.web.render import money_words

FEWEST_ROWS_TO_FOLD = 15
MOST_MISSED_IN_CHART = 12


@dataclass(frozen=True, slots=True)
class Section:
    """One thing counted: its name in addresses, title, what is counted, its chart (None: nothing to draw) and its table.

    `ways` leads to the same counted otherwise: words, address, and whether it is this one. `empty` says why nothing is shown.
    """

    key: str
    title: str
    counted: str
    chart: Pair | None
    table: Table
    csv: str
    ways: tuple[tuple[str, str, bool], ...] = ()
    ways_words: str = ""
    empty: str = ""

    @property
    def is_long(self) -> bool:
        """Whether its table is folded away at first."""
        return len(self.table.rows) >= FEWEST_ROWS_TO_FOLD


def typed_of(asked: Asked) -> dict[str, str]:
    chosen = asked.chosen
    return {
        "from": chosen.first.isoformat(),
        "to": chosen.last.isoformat(),
        "spot": chosen.spot,
        "water": chosen.water,
        "came": chosen.came,
        "foil_stage": chosen.foil_stage,
        "slot": asked.slot,
        "by": asked.by,
    }


def query_of(asked: Asked, **other: str) -> str:
    """The address of these numbers, or of the same with something else, without what is blank."""
    return urlencode({name: value for name, value in {**typed_of(asked), **other}.items() if value})


def whole_words(cents: float, terms: ShopTerms) -> str:
    """An amount to the whole unit: cents say nothing of a season."""
    return whole_money(cents, lambda amount: money_words(amount, terms))


def sections_of(work: Work, numbers: Numbers) -> tuple[Section, ...]:
    weeks = weeks_of(numbers)
    return (
        _quotes(numbers, weeks),
        _unmet(numbers),
        _sizes(numbers),
        _money(work, numbers, weeks),
        _answers(numbers),
        _lessons(work, numbers),
    )


def _pair(draw: Callable[[float], Drawing]) -> Pair:
    return Pair(draw(WIDE), draw(NARROW))


def _csv(key: str, numbers: Numbers) -> str:
    return f"/console/numbers/{key}.csv?{query_of(numbers.asked)}"


def _quotes(numbers: Numbers, weeks: Sequence[WeekCounted]) -> Section:
    whole = whole_of(numbers)
    drawn = [Week(week.monday, week.quotes.kept, week.quotes.bought) for week in weeks]
    told = Told(
        "Quotes kept by week, and how many of them were bought since",
        "kept",
        "of them bought",
        f"{whole.kept} quotes kept, {whole.bought} of them bought. " + _busiest(drawn, "kept"),
    )
    return Section(
        "quotes",
        "Quotes, week by week",
        "A quote counts once, in the week it was first kept; the other columns say how far it has come until today, whenever"
        " that was. Who agreed or bought counts as having seen it. Begun are first pages, of drafts deleted since as well; a draft"
        " that only changes a quote is none. Quotes deleted since stay counted as kept and lapsed.",
        _pair(lambda width: weeks_chart(drawn, width, told)) if whole.kept else None,
        quotes_table(weeks, whole),
        _csv("quotes", numbers),
        empty="" if whole.kept or whole.begun else "No draft was begun and no quote kept in these days.",
    )


def _busiest(weeks: Sequence[Week], what: str) -> str:
    most = max(weeks, key=lambda week: week.whole)
    return f"Most in the week from {week_words(most.monday)}: {most.whole:g} {what}." if most.whole else ""


def _unmet(numbers: Numbers) -> Section:
    missed = missed_in(numbers)
    shown = missed[:MOST_MISSED_IN_CHART]
    rows = [
        Row(
            f"{SLOT_WORDS[one.size.slot]} {asked_class_words(one.size)}",
            one.asked,
            one.unmet,
            f"{one.unmet} of {one.asked}",
        )
        for one in shown
    ]
    told = Told(
        "Sizes asked for and not there, the most missed first",
        "asked for",
        "of them not there",
        "; ".join(f"{row.label}: {row.words}" for row in rows),
    )
    return Section(
        "unmet",
        "Asked for and not there",
        "A slot of a kept quote for which nothing free lay between the smallest and the largest size that would suit. It counts once"
        " a quote, by its ideal size, on the day the quote was kept, and stays counted when the quote is deleted. Where no part in the"
        " catalogue lies there either, nothing stocked fits: those on hand are no help to who asked.",
        _pair(lambda width: rows_chart(rows, width, told)) if rows else None,
        unmet_table(missed),
        _csv("unmet", numbers),
        empty="" if rows else "Nothing was missed in these days: for every quote kept something that suits was free.",
    )


def _sizes(numbers: Numbers) -> Section:
    slot = numbers.asked.slot
    counted = numbers.sizes[slot]
    shown = [one for one in counted if one.asked or one.on_hand]
    rows = [
        Row(
            asked_class_words(one.size),
            one.asked,
            one.on_hand,
            f"{one.asked} asked" + (f", {one.on_hand} here" if one.size.is_stocked else ""),
        )
        for one in shown
    ]
    told = Told(
        f"Sizes asked for, and pieces on hand: {SLOT_WORDS[slot]}",
        "asked for",
        "on hand",
        "; ".join(f"{row.label}: {row.words}" for row in rows),
    )
    return Section(
        "sizes",
        "Sizes asked for, and what is here",
        "The ideal size of every kept quote that was to buy this part, beside the pieces on hand today. A size belongs to the stocked"
        " one that it is nearest to; stocked sizes that hardly differ to a learner stand together.",
        _pair(lambda width: rows_chart(rows, width, told)) if rows else None,
        sizes_table(counted, slot),
        _csv("sizes", numbers),
        tuple(
            (SLOT_WORDS[one], f"/console/numbers?{query_of(numbers.asked, slot=one)}#sizes", one == slot)
            for one in CORE_SLOTS
        ),
        "Parts of a kit",
        empty="" if rows else "Nothing was asked for, and nothing is here.",
    )


def _money(work: Work, numbers: Numbers, weeks: Sequence[WeekCounted]) -> Section:
    terms = work.catalogue.policy.shop
    whole = margins_of(numbers.sales)

    def say(cents: float) -> str:
        return whole_words(cents, terms)

    drawn = [Week(week.monday, week.money.charged, week.money.margin) for week in weeks]
    told = Told(
        "Charged in contracts by week, and the margin in it",
        "charged",
        "margin in it",
        f"{whole.contracts} contracts, {say(whole.charged)} charged, {say(whole.margin)} margin.",
    )
    known = (
        "" if whole.with_margin == whole.contracts else f" Known of {whole.with_margin} of {whole.contracts} contracts."
    )
    return Section(
        "money",
        "Discount, old gear and margin",
        "By the week in which the contract was made. Charged, with VAT, is all that the contract sold; credited is what credit notes"
        " have taken back of it since. The margin, without VAT, is that of the quote as it was frozen, before anything came back."
        f"{known} Sales over the counter and lessons booked by themselves are not in here.",
        _pair(lambda width: weeks_chart(drawn, width, told, say, EURO)) if whole.charged > 0 else None,
        money_table(weeks, whole, terms),
        _csv("money", numbers),
        empty="" if whole.contracts else "No contract was made in these days.",
    )


def _answers(numbers: Numbers) -> Section:
    asked = numbers.asked.by
    counted = count_answers(numbers.quotes, asked)
    rows = [
        Row(answer_words(asked, one.answer), one.kept, one.bought, share_words(one.bought, one.kept)) for one in counted
    ]
    told = Told(
        f"Quotes kept and bought by answer: {ASKED_WORDS[asked].lower()}",
        "kept",
        "of them bought",
        "; ".join(f"{row.label}: {row.words} bought" for row in rows),
    )
    return Section(
        "answers",
        "Which answers lead where",
        "Quotes by what the learner answered, and how far they came. Of fewer than ten no per cent is said: one more or less would"
        " change it too much. Answers of drafts that were never kept are deleted with them and not counted.",
        _pair(lambda width: rows_chart(rows, width, told)) if rows else None,
        answers_table(numbers),
        _csv("answers", numbers),
        tuple(
            (ASKED_WORDS[one], f"/console/numbers?{query_of(numbers.asked, by=one)}#answers", one == asked)
            for one in ASKED_BY
        ),
        "Answers",
        empty="" if rows else "No quote was kept in these days.",
    )


def _lessons(work: Work, numbers: Numbers) -> Section:
    policy = work.catalogue.policy
    titles = {kind.kind: kind.title for kind in work.catalogue.lessons.values()}
    counted = count_lessons(numbers.lessons, policy.refund_window_days)
    rows = [
        Row(titles.get(one.kind, one.kind), one.paid, one.in_window, share_words(one.in_window, one.paid))
        for one in counted
    ]
    told = Told(
        "Paid lessons, and how many led to a kit within the window",
        "paid",
        "a kit within the window",
        "; ".join(f"{row.label}: {row.words}" for row in rows),
    )
    return Section(
        "lessons",
        "From a lesson to a kit",
        "Lessons of these days that were paid for and not called off in time. One leads to a kit if its fee was given back with"
        f" one, or if a contract whose quote names its code was made within {policy.refund_window_days} days of it. Days run from the"
        " lesson to the contract, least and most in brackets. Who buys without giving the code is not seen here.",
        _pair(lambda width: rows_chart(rows, width, told)) if rows else None,
        lessons_table(numbers, policy.refund_window_days, titles, policy.shop),
        _csv("lessons", numbers),
        empty="" if rows else "No paid lesson was held in these days.",
    )
