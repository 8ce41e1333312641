"""The whole life of a quote as a machine that does anything at any time, and what has to hold after every step.

Verbs of what comes after the contract are entries of `VERBS`: a further one is tried like the others, twice under one key, and held
against the same ledgers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import count
from typing import ClassVar

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from sqlmodel import col, func, select

from server.domain.errors import Conflict, InvalidInput, Lapsed, NotFound
from server.domain.sales import MONEY, Sale, cash_rounded
from server.domain.stock import Contact, Movement
from server.persistence.stock import load_free, save_movements
from server.persistence.tables import HoldRow, StockRow
from server.usecases.deposits import take_deposit
from server.usecases.quotes import issue_quote, read_quote, read_quote_with_course
from server.usecases.sales import Payment, Terms, make_contract, read_sale, take_payment
from server.usecases.standing import standing, withdraw_quote
from server.usecases.stock import agree_to_quote, confirm_hold, open_hold, release_hold
from server.usecases.work import Shop, Work
from tests.builders_sales import new_key
from tests.builders_shop import Clock, learner
from tests.holding.sale_books import faults_of_holds, faults_of_items, faults_of_ledgers, faults_of_series
from tests.holding.sale_verbs import give_some_back, hand_it_over, it_arrives, send_it, swap_one

PEOPLE = count(1)
FEE = 115_00
SHARES = st.sampled_from((1, 50, 100))
Do = Callable[[Work, Sale, str, int], object]


@dataclass(frozen=True)
class Verb:
    """Something done with a sale after the contract, by its number, under a key; `choice` is any number that it may choose by."""

    name: str
    do: Do


VERBS = [
    Verb("hand over", hand_it_over),
    Verb("send", send_it),
    Verb("arrive", it_arrives),
    Verb("give back", give_some_back),
    Verb("swap", swap_one),
]


class Life(RuleBasedStateMachine):
    """One quote, anew for each run over one shop, with a lesson paid before; nothing is done on the ledgers but by the use cases."""

    shop: ClassVar[Shop]
    clock: ClassVar[Clock]

    def __init__(self) -> None:
        super().__init__()
        self.sale: int | None = None
        self.is_withdrawn = False
        self.till = 0
        self.contact = Contact("Some One", f"life{next(PEOPLE)}@example.org")
        with self.shop.writing("counter") as work:
            free = load_free(work.session, work.now)
            more = [Movement(sku, "delivery", 2, "full again") for sku, there in free.items() if there < 1]
            save_movements(work.session, more, work.now, work.actor)
            self.lesson = take_deposit(work, "private", FEE, "taken", work.today).code
            work.commit()
        with self.shop.writing() as work:
            self.token = issue_quote(work, self._answers(80)).token

    def _answers(self, mass_kg: int) -> dict[str, object]:
        return learner(mass_kg=mass_kg, delivery="collect", deposit_codes=[self.lesson])

    @property
    def is_settled(self) -> bool:
        """Whether nothing can be changed on the quote any more."""
        return self.sale is not None or self.is_withdrawn

    def _try(self, do: Callable[[Work], object], by: str = "Maeve") -> bool:
        """Whether it was done; a quote that is settled refuses whatever would change it."""
        try:
            with self.shop.writing(by) as work:
                do(work)
        except (InvalidInput, Conflict, NotFound, Lapsed):
            return False
        return True

    def _refused_if_settled(self, was_done: bool) -> None:
        assert not (was_done and self.is_settled)

    @rule()
    def agree(self) -> None:
        def do(work: Work) -> None:
            agree_to_quote(work, self.token, self.contact, read_quote(work, self.token).revision)

        self._refused_if_settled(self._try(do, "customer"))

    @rule(mass_kg=st.sampled_from((72, 80, 88)))
    def revise(self, mass_kg: int) -> None:
        self._refused_if_settled(
            self._try(lambda work: issue_quote(work, self._answers(mass_kg), revises=self.token), "customer")
        )

    @rule()
    def let_go(self) -> None:
        self._refused_if_settled(self._try(lambda work: release_hold(work, self.token, "changed their mind")))

    @rule()
    def confirm(self) -> None:
        self._refused_if_settled(self._try(lambda work: confirm_hold(work, self.token)))

    @rule(hours=st.sampled_from((1, 3, 24 * 9)))
    def wait(self, hours: int) -> None:
        self.clock.forward(hours=hours)

    @rule(is_meant=st.sampled_from((False, False, False, True)))
    def withdraw(self, is_meant: bool) -> None:
        if not is_meant:
            return
        with self.shop.reading() as work:
            code = read_quote(work, self.token).code
        done = self._try(lambda work: withdraw_quote(work, code, "The shop is closed for the winter."))
        assert done is (self.sale is None)
        self.is_withdrawn = self.is_withdrawn or done

    @rule(share=SHARES, knows_who=st.sampled_from((True, True, False)))
    def contract(self, share: int, knows_who: bool) -> None:
        with self.shop.reading() as work:
            quote = read_quote(work, self.token)
        amount = max(1, quote.kit.price.balance * share // 100)
        key, terms = new_key(), Terms("counter", contact=self.contact if knows_who else None)
        for _ in range(2):
            was_settled = self.is_settled

            def do(work: Work) -> None:
                made = make_contract(work, quote.code, quote.revision, terms, Payment(amount, "terminal"), key)
                assert self.sale in (None, made.id)
                self.till += amount if self.sale is None else 0
                self.sale = made.id

            done = self._try(do)
            assert not (done and was_settled and self.is_withdrawn)

    @rule(share=SHARES)
    def contract_over_the_counter(self, share: int) -> None:
        self.contract(share, knows_who=True)

    @precondition(lambda self: self.sale is not None)
    @rule(
        share=st.sampled_from((1, 40, 100, 130)),
        is_out=st.sampled_from((False, False, True)),
        means=st.sampled_from(("cash", "terminal")),
    )
    def pay(self, share: int, is_out: bool, means: str) -> None:
        assert self.sale is not None
        left = self._sale().owed
        amount = max(1, abs(left) * share // 100) * (-1 if is_out else 1)
        if means == "cash" and share == 100 and left:
            amount = cash_rounded(amount)
        key = new_key()
        done = self._try(lambda work: take_payment(work, self.sale or 0, Payment(amount, means), key))  # type: ignore[arg-type]
        most = abs(left) if means == "terminal" else abs(left) + 2
        assert not done or ((amount > 0) == (left > 0) and abs(amount) <= most), "more was paid than was left"
        before = self._sale()
        self._try(lambda work: take_payment(work, self.sale or 0, Payment(amount, means), key))  # type: ignore[arg-type]
        assert not done or self._sale() == before, "a form sent twice did something twice"
        self.till += amount if done else 0

    @precondition(lambda self: self.sale is not None and bool(VERBS))
    @rule(place=st.integers(0, 50), choice=st.integers(0, 1000))
    def go_on(self, place: int, choice: int) -> None:
        verb, key = VERBS[place % len(VERBS)], new_key()
        sale = self._sale()
        done = self._try(lambda work: verb.do(work, sale, key, choice))
        after = self._sale()
        self._try(lambda work: verb.do(work, sale, key, choice))
        assert not done or self._sale() == after, f"{verb.name} was done twice under one key"
        moved = [one.amount for one in after.settlements[len(sale.settlements) :] if one.means in MONEY]
        self.till += sum(moved)

    def _sale(self) -> Sale:
        with self.shop.reading() as work:
            return read_sale(work, self.sale or 0)

    @invariant()
    def the_series_is_whole(self) -> None:
        with self.shop.reading() as work:
            assert faults_of_series(work.session) == []

    @invariant()
    def the_ledgers_agree(self) -> None:
        if self.sale is None:
            return
        with self.shop.reading() as work:
            assert list(faults_of_ledgers(work.session, read_sale(work, self.sale), self.till)) == []

    @invariant()
    def what_is_set_aside_is_what_the_items_say(self) -> None:
        with self.shop.reading() as work:
            assert list(faults_of_holds(work.session, work.session.exec(select(HoldRow)).all())) == []
            on_hand = work.session.exec(select(func.sum(StockRow.change)).group_by(col(StockRow.sku)))
            assert all(pieces >= 0 for pieces in on_hand)
            if self.sale is not None:
                assert list(faults_of_items(work.session, read_sale(work, self.sale))) == []

    @invariant()
    def the_state_agrees_with_what_was_done(self) -> None:
        with self.shop.reading() as work:
            quote, course = read_quote_with_course(work, self.token)
            where, hold = standing(work, quote, course), open_hold(work, self.token)
        assert course.hold == hold
        if self.sale is None:
            allowed = {"withdrawn"} if self.is_withdrawn else {"sent", "seen", "agreed", "lapsed"}
            assert where.state in allowed
            assert (where.state == "agreed") is (hold is not None and hold.revision == quote.revision)
            return
        assert where.sale is not None
        assert not self.is_withdrawn
        if where.state in ("confirmed", "paid"):
            assert (where.state == "paid") is (where.sale.owed <= 0)
            assert any(item.is_core and item.is_to_come and item.sent_on is None for item in where.sale.items)
