"""Any sequence of moves, valid and not: the balance is the fold, nothing comes back twice or beyond what was paid."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from server.domain.deposits import (
    LESSON_STATES,
    Entry,
    LessonState,
    NotGivenBack,
    PaidLesson,
    charge_again,
    decide_charges,
    decide_deposits,
    give_back,
    pay,
    really_paid,
    refund,
)
from server.domain.policy import IncludedLessons
from tests.domain.builders import TODAY
from tests.pace import examples

CODES = ("A", "B", "C")
QUOTES = ("Q-1", "Q-2")
codes, quotes = st.sampled_from(CODES), st.sampled_from(QUOTES)
amounts = st.integers(min_value=-10, max_value=300)


class Fees(RuleBasedStateMachine):
    """Three lessons, two quotes, and beside the ledger a plain count of the money in the till, by lesson."""

    def __init__(self) -> None:
        super().__init__()
        self.lessons = {code: PaidLesson(code, "private", TODAY, "booked") for code in CODES}
        self.till = dict.fromkeys(CODES, 0)
        self.with_kit: dict[str, tuple[str, int]] = {}

    def _make(self, answer: Entry | NotGivenBack) -> bool:
        if isinstance(answer, NotGivenBack):
            assert answer.because.endswith(".")
            return False
        lesson = self.lessons[answer.code]
        self.lessons[answer.code] = replace(lesson, entries=(*lesson.entries, answer))
        return True

    @rule(code=codes, amount=st.integers(min_value=0, max_value=300), paid_for=st.none() | st.integers(0, 300))
    def take_a_fee(self, code: str, amount: int, paid_for: int | None) -> None:
        counted = really_paid(amount, "voucher", paid_for)
        assert counted <= amount
        if self._make(pay(self.lessons[code], counted, TODAY, "voucher")):
            assert code not in self.with_kit
            self.till[code] += counted

    @rule(code=codes, amount=amounts)
    def hand_back(self, code: str, amount: int) -> None:
        may = code not in self.with_kit and 0 < amount <= self.till[code]
        assert self._make(refund(self.lessons[code], amount, TODAY, "Called off.")) is may
        self.till[code] -= amount if may else 0

    @rule(code=codes, quote=quotes)
    def give_one_back(self, code: str, quote: str) -> None:
        may = code not in self.with_kit and self.till[code] > 0
        assert self._make(give_back(self.lessons[code], quote, TODAY)) is may
        if may:
            self.with_kit[code], self.till[code] = (quote, self.till[code]), 0

    @rule(quote=quotes, number=st.integers(0, 3), days=st.integers(0, 60), data=st.data())
    def buy_a_kit(self, quote: str, number: int, days: int, data: st.DataObject) -> None:
        named = [self.lessons[code] for code in data.draw(st.sets(codes))]
        decision = decide_deposits(named, IncludedLessons("private", number), 45, TODAY + timedelta(days=days))
        assert len(decision.given_back) <= number
        for fee in decision.given_back:
            assert fee.amount == self.till[fee.code]
            assert self._make(give_back(self.lessons[fee.code], quote, TODAY))
            self.with_kit[fee.code], self.till[fee.code] = (quote, fee.amount), 0

    @rule(code=codes, quote=quotes)
    def charge_one_again(self, code: str, quote: str) -> None:
        back = self.with_kit.get(code)
        may = back is not None and back[0] == quote
        assert self._make(charge_again(self.lessons[code], quote, TODAY)) is may
        if may and back is not None:
            self.till[code] = back[1]
            del self.with_kit[code]

    @rule(quote=quotes)
    def a_kit_comes_back(self, quote: str) -> None:
        entries, _ = decide_charges(self.lessons.values(), quote, TODAY)
        for entry in entries:
            assert self.lessons[entry.code].state == "taken"
            assert (quote, entry.amount) == self.with_kit.pop(entry.code)
            assert self._make(entry)
            self.till[entry.code] = entry.amount

    @rule(code=codes, state=st.sampled_from(LESSON_STATES))
    def it_goes_as_it_goes(self, code: str, state: LessonState) -> None:
        self.lessons[code] = replace(self.lessons[code], state=state)

    @invariant()
    def the_balance_is_the_fold_and_what_is_in_the_till(self) -> None:
        for code, lesson in self.lessons.items():
            assert lesson.balance == self.till[code] >= 0
            assert lesson.was_given_back is (code in self.with_kit)

    @invariant()
    def no_more_comes_back_than_was_paid(self) -> None:
        for lesson in self.lessons.values():
            total = dict.fromkeys(("paid", "given_back", "charged_again", "refunded"), 0)
            for entry in lesson.entries:
                assert entry.amount >= 0
                total[entry.kind] += entry.amount
                given = total["given_back"] - total["charged_again"]
                assert given >= 0, "nothing is charged that was not given back"
                assert given + total["refunded"] <= total["paid"]


TestFees = Fees.TestCase
TestFees.settings = settings(max_examples=examples(60), stateful_step_count=25, deadline=None)
