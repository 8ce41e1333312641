"""Any sequence of the desk's moves over a database: the ledger's balance is what a plain count of the till says."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path
from typing import ClassVar

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from server.domain.deposits import LessonState
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.persistence.deposits import sum_of_entries
from server.persistence.engine import Place, engine_for, sessions
from server.usecases.deposits import Fee as FeeTaken
from server.usecases.deposits import (
    begin_lesson,
    charge_again_for,
    give_back_for,
    hand_back,
    mark_lesson,
    read_ledger,
    take_further_fee,
)
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from tests.builders_shop import NOON, Clock, agreed, learner, let_go
from tests.pace import examples

places = st.sampled_from((0, 1))


class Desk(RuleBasedStateMachine):
    """Two lessons and two quotes that name both, anew for each run over one shop."""

    shop: ClassVar[Shop]

    def __init__(self) -> None:
        super().__init__()
        shop = self.shop
        with shop.writing("Maeve") as work:
            today = work.today
            self.codes = [begin_lesson(work, "private", "taken", today - timedelta(days=1)).code for _ in places_of()]
            self.before = sum_of_entries(work.session, date.min, date.max)
            work.commit()
        self.quotes = []
        for _ in places_of():
            with shop.writing("Maeve") as work:
                self.quotes.append(issue_quote(work, learner(deposit_codes=self.codes)).code)
        self.till = dict.fromkeys(self.codes, 0)
        self.is_taken = dict.fromkeys(self.codes, True)
        self.with_kit: dict[str, tuple[str, int]] = {}

    def _entries(self, code: str) -> int:
        with self.shop.reading() as work:
            return len(read_ledger(work, code).lesson.entries)

    @rule(place=places, amount=st.integers(-5, 200_00), is_seen=st.booleans())
    def take_a_fee(self, place: int, amount: int, is_seen: bool) -> None:
        code = self.codes[place]
        may = is_seen and amount >= 0 and code not in self.with_kit
        try:
            with self.shop.writing("Maeve") as work:
                take_further_fee(work, code, FeeTaken(amount, "cash"), self._entries(code) - (0 if is_seen else 1))
            done = True
        except (InvalidInput, Conflict):
            done = False
        assert done is may
        self.till[code] += amount if may else 0

    @rule(place=places, amount=st.integers(-5, 200_00))
    def hand_it_back(self, place: int, amount: int) -> None:
        code = self.codes[place]
        may = 0 < amount <= self.till[code]
        try:
            with self.shop.writing("Maeve") as work:
                hand_back(work, code, amount, "Called off.", "", self._entries(code))
            done = True
        except Conflict:
            done = False
        assert done is may
        self.till[code] -= amount if may else 0

    @rule(place=places, state=st.sampled_from(("taken", "missed")))
    def it_goes_as_it_goes(self, place: int, state: LessonState) -> None:
        with self.shop.writing("Maeve") as work:
            mark_lesson(work, self.codes[place], state)
            work.commit()
        self.is_taken[self.codes[place]] = state == "taken"

    @rule(place=places)
    def buy_the_kit(self, place: int) -> None:
        quote = self.quotes[place]
        due = {code: sum_ for code, sum_ in self.till.items() if sum_ > 0 and self.is_taken[code]}
        agreed(self.shop, quote)
        try:
            with self.shop.writing("Maeve") as work:
                given = {entry.code: entry.amount for entry in give_back_for(work, quote)}
        except Conflict:
            given = {}
        let_go(self.shop, quote)
        assert given == due
        for code, amount in given.items():
            self.with_kit[code], self.till[code] = (quote, amount), 0

    @rule(place=places)
    def the_kit_comes_back(self, place: int) -> None:
        quote = self.quotes[place]
        due = {
            code: amount
            for code, (against, amount) in self.with_kit.items()
            if against == quote and self.is_taken[code]
        }
        try:
            with self.shop.writing("Maeve") as work:
                charged = {entry.code: entry.amount for entry in charge_again_for(work, quote, "Sent back.")}
        except (Conflict, NotFound):
            charged = {}
        assert charged == due
        for code, amount in charged.items():
            self.till[code] = amount
            del self.with_kit[code]

    @invariant()
    def the_ledger_says_what_is_in_the_till(self) -> None:
        with self.shop.reading() as work:
            for code in self.codes:
                lesson = read_ledger(work, code).lesson
                assert lesson.balance == self.till[code] >= 0
            assert sum_of_entries(work.session, date.min, date.max) - self.before == sum(self.till.values())


def places_of() -> range:
    """As many lessons and quotes as there are."""
    return range(2)


def test_the_ledger_survives_any_sequence_of_moves(data: Path) -> None:
    engine = engine_for(Place(data))

    class Here(Desk):
        shop = Shop(sessions(engine), Clock(NOON))

    run_state_machine_as_test(
        Here,
        settings=settings(
            max_examples=examples(12), stateful_step_count=15, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
    engine.dispose()
