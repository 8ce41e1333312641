"""What the privacy page promises, held against every table: nobody's name or number is anywhere once the days are over."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

from fastapi import FastAPI
from sqlmodel import SQLModel, col, func, select

from server.domain.agreed import Agreed
from server.domain.numbers import QUOTE_KEPT
from server.domain.stock import Contact
from server.persistence.tables import StockRow, TallyRow
from server.usecases.calls import promise_call
from server.usecases.faulty import report_fault
from server.usecases.messages import message_texts
from server.usecases.privacy import Swept, sweep
from server.usecases.quotes import issue_quote
from server.usecases.returns import close_case, give_notice
from server.usecases.stock import agree_to_quote, release_hold
from server.usecases.work import Shop
from server.usecases.worksheets import Written, begin_worksheet, finish_worksheet, withdraw_link, write_worksheet
from tests.builders_goods import given_back, kit_received
from tests.builders_http import Client
from tests.builders_sales import new_key
from tests.builders_shop import Clock, learner
from tests.builders_strand import lesson_today
from tests.pages.reader import Reader
from tests.usecases.test_assessments import see

NAME, MAIL, PHONE = "Zebedee Quirke", "zebedee@quirke.example", "+353 20 910 0444"
QUOTES, SWEEPERS = 4, 4
SIGNS = ("zebedee", "quirke", "9100444", "910 0444")


def rows_with(shop: Shop, signs: tuple[str, ...]) -> set[str]:
    """The tables that hold any of some texts in any column."""
    with shop.reading() as work:
        return {
            table.name
            for table in SQLModel.metadata.sorted_tables
            for row in work.session.connection().execute(table.select())
            if any(sign in repr(tuple(row)).lower() for sign in signs)
        }


def test_nobody_is_in_any_table_once_the_days_are_over(shop: Shop, clock: Clock) -> None:
    contact = Contact(NAME, MAIL, PHONE)
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    with shop.writing() as work:
        agree_to_quote(work, quote.token, contact, 1)
    with shop.writing("Maeve") as work:
        release_hold(work, quote.token, "sold over the counter")
    with shop.writing("Maeve") as work:
        promise_call(work, 1, name=NAME, phone=PHONE, about="Zebedee's mast", day="2026-11-26", at="10:00")
    with shop.writing("Maeve") as work:
        token = begin_worksheet(work).token
        note = f"Hello {NAME}"
        write_worksheet(work, token, learner(), Agreed(), Written(NAME, MAIL, PHONE, note, note))
        finish_worksheet(work, token, "staff")
        issue_quote(work, learner(), draft=token)
        issue_quote(work, learner(), draft=token)
        withdraw_link(work, token)
    [booking] = lesson_today(shop, {"name": NAME, "email": MAIL, "phone": PHONE, "code": quote.code})
    see(shop, booking, sentence="Zebedee stands well")
    with shop.reading() as work:
        assert message_texts(work, f"booking:{booking.id}")
    held = {"hold", "promised_call", "worksheet", "booking", "message", "assessment"}
    assert rows_with(shop, SIGNS) >= held
    assert "deed" not in rows_with(shop, SIGNS)
    with shop.reading() as work:
        policy = work.catalogue.policy
    clock.forward(days=max(policy.contact_days, policy.draft_days) + 2)
    with shop.writing("sweep") as work:
        sweep(work)
    assert rows_with(shop, SIGNS) <= {"quote_revision"}, (
        "the instructor's sentence stands in the quote while that is kept"
    )
    clock.forward(days=policy.quote_days + policy.price_good_days)
    with shop.writing("sweep") as work:
        sweep(work)
    assert rows_with(shop, SIGNS) == set()


def test_nobody_is_in_what_was_said_about_a_sale_once_its_years_are_over(shop: Shop, clock: Clock) -> None:
    sale = kit_received(shop)
    with shop.writing() as work:
        give_notice(work, sale.id, [1], f"It is {NAME}.", new_key())
    with shop.writing("Maeve") as work:
        case = report_fault(work, sale.id, 2, f"{NAME} says that it is loose.", work.today, new_key())
    with shop.writing("Maeve") as work:
        close_case(work, case.id, f"{NAME} keeps it.", new_key())
    given_back(shop, sale, [1], kind="goodwill", why=f"{NAME} is ill")
    assert rows_with(shop, SIGNS) >= {"sale_case", "sale_paper", "sale_mark"}
    with shop.reading() as work:
        years = work.catalogue.policy.sales.kept_years
    clock.forward(days=366 * years + 1)
    for _ in range(2):
        with shop.writing("sweep") as work:
            sweep(work)
    assert rows_with(shop, SIGNS) == set()


def test_the_page_says_for_what_a_name_is_kept_and_how_long(client: Client, app: FastAPI) -> None:
    with app.state.shop.reading() as work:
        policy = work.catalogue.policy
    page = Reader(client).open("/privacy").text
    contact, draft = f"{policy.contact_days} days after", f"{policy.draft_days} days after"
    for what, days in (
        ("Parts set aside", contact),
        ("A call we promise", contact),
        ("A kit we put together on the telephone", draft),
        ("A lesson you book", contact),
        ("Messages we send you", contact),
        ("What your instructor saw", contact),
    ):
        assert days in page.partition(what)[2][:330], what


def test_what_several_processes_sweep_at_once_is_swept_and_counted_once(shop: Shop, clock: Clock) -> None:
    for _ in range(QUOTES):
        with shop.writing() as work:
            quote = issue_quote(work, learner())
        with shop.writing() as work:
            agree_to_quote(work, quote.token, Contact(NAME, f"{quote.code.lower()}@quirke.example"), 1)
    with shop.reading() as work:
        policy = work.catalogue.policy
    clock.forward(days=policy.quote_days + policy.price_good_days + policy.contact_days)
    barrier = Barrier(SWEEPERS)

    def sweep_with_others() -> Swept:
        barrier.wait()
        with shop.writing("sweep") as work:
            return sweep(work)

    with ThreadPoolExecutor(SWEEPERS) as threads:
        swept = [one.result() for one in [threads.submit(sweep_with_others) for _ in range(SWEEPERS)]]
    assert [sum(one.quotes for one in swept), sum(one.holds for one in swept)] == [QUOTES, QUOTES]
    with shop.reading() as work:
        assert [(row.what, row.number) for row in work.session.exec(select(TallyRow))] == [(QUOTE_KEPT, QUOTES)]
        held = work.session.exec(select(func.sum(col(StockRow.held)))).one()
        assert held == 0, "each hold is let go of once"
