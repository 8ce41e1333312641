"""A person's data: found by address or number, given out whole, and erased from every table with the ledgers left as they were."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
from sqlmodel import col, select

from server.domain.errors import Conflict, NotFound
from server.domain.people import OWN_REASONS, read_sought
from server.domain.sales import Sale
from server.domain.stock import Contact
from server.persistence.deposits import load_lessons
from server.persistence.stock import load_free, load_on_hand
from server.persistence.tables import DeedRow, MessageRow, PhotoRow, StockRow
from server.usecases.aftercare import tell_follow_ups
from server.usecases.called_up import story_of_sale
from server.usecases.calls import promise_call
from server.usecases.counter import sell_at_counter
from server.usecases.people import erase_person, export_person, find_kept, last_erased
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.sales import read_sale
from server.usecases.stock import agree_to_quote, book_movement, release_hold
from server.usecases.work import Shop, new_token
from tests.builders_accounts import load_deeds
from tests.builders_people import MAIL, NAME, PHONE, SIGNS, SOUGHT, THEM, somebody
from tests.builders_shop import Clock, learner, number_of
from tests.usecases.test_privacy import rows_with

BY_BOTH = read_sought(**SOUGHT)
EVERYWHERE = {
    "hold", "promised_call", "worksheet", "booking", "assessment", "message", "sale", "sale_paper", "sale_settlement",
    "quote_revision", "reservation", "question", "stock_entry",
}  # fmt: skip


def erased(shop: Shop, contact: Contact = BY_BOTH) -> str:
    with shop.writing("Orla") as work:
        return erase_person(work, contact, find_kept(work, contact).digest)


def sums(sale: Sale) -> tuple[object, ...]:
    return (
        sale.owed,
        [(paper.number, paper.gross, paper.vat) for paper in sale.papers],
        [(one.means, one.amount, one.day) for one in sale.settlements],
        [(item.sku, item.charged, item.serial, item.received_on) for item in sale.items],
    )


def test_nobody_is_found_in_any_table_afterwards_and_every_sum_is_as_it_was(shop: Shop) -> None:
    sale = somebody(shop)
    assert rows_with(shop, SIGNS) >= EVERYWHERE
    with shop.reading() as work:
        before = sums(read_sale(work, sale.id)), load_on_hand(work.session), load_free(work.session, work.now)
        kept = find_kept(work, BY_BOTH)
        codes = [row["code"] for row in kept.rows["paid_lesson"]]
        fees = load_lessons(work.session, codes)
    said = erased(shop)
    assert rows_with(shop, (*SIGNS, "91.5")) == set()
    with shop.reading() as work:
        assert (sums(read_sale(work, sale.id)), load_on_hand(work.session), load_free(work.session, work.now)) == before
        assert load_lessons(work.session, codes) == fees
        assert find_kept(work, BY_BOTH).is_nothing
        assert number_of(work.session, MessageRow) == 0
        assert number_of(work.session, PhotoRow) == 0
        deed = load_deeds(work.session)[-1]
        assert (deed.who, deed.what) == ("Orla", said)
        assert last_erased(work) == said
    assert "1 sale, " in said
    assert "3 quotes" not in said
    assert "4 quotes" in said
    assert "left in" not in said


def test_what_was_sold_is_shown_afterwards_and_nobody_is_written_to(shop: Shop, clock: Clock) -> None:
    sale = somebody(shop)
    erased(shop)
    with shop.reading() as work:
        assert story_of_sale(work, read_sale(work, sale.id))
        assert read_sale(work, sale.id).contact == Contact("")
        quote = read_quote(work, sale.quote_token)
        assert (quote.mass_kg, quote.kit.price.balance) == (80.0, sum(one.amount for one in sale.settlements))
        assert all(not target.because for target in quote.targets.values())
    clock.forward(days=60)
    with shop.writing("sweep") as work:
        tell_follow_ups(work)
    with shop.reading() as work:
        assert number_of(work.session, MessageRow) == 0


@pytest.mark.parametrize("by", [Contact("", MAIL.upper()), Contact("", "", "020 910 0444")])
def test_a_person_is_found_by_either_and_told_of_the_other(shop: Shop, by: Contact) -> None:
    somebody(shop)
    with shop.reading() as work:
        kept = find_kept(work, by)
    assert (kept.names, kept.emails, kept.phones) == ((NAME,), (MAIL,), (PHONE,))
    assert set(kept.counts) >= {"sale", "booking", "message", "quote"}


def test_the_file_has_all_of_it_but_nothing_of_others_and_not_what_the_shop_earns(shop: Shop) -> None:
    somebody(shop)
    with shop.writing() as work:
        other = issue_quote(work, learner())
        agree_to_quote(work, other.token, Contact("Nuala Example", "nuala@example.org"), 1)
    with shop.writing("Orla") as work:
        made = export_person(work, BY_BOTH)
        kept = find_kept(work, BY_BOTH)
    files = zipfile.ZipFile(io.BytesIO(made.content))
    said = json.loads(files.read("data.json"))["kept"]
    assert {name: len(rows) for name, rows in said.items()} == kept.counts
    assert said["quote_revision"][0]["record"]["answers"]["mass_kg"] == 91.5
    assert said["sale"][0]["address"] == f"{NAME}\n1 The Strand"
    assert [name for name in files.namelist() if name.endswith(".jpg")]
    text = files.read("about-you.txt").decode()
    assert "May Zebedee ride?" in text
    for sign in ("nuala", other.code, " margin:", " bought:", " cost:"):
        assert sign not in text.lower()
    with shop.reading() as work:
        assert load_deeds(work.session)[-1].what.startswith("exported a person’s data: 1 sale")


def test_what_is_open_is_named_and_has_to_be_ended_first(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
        agree_to_quote(work, quote.token, THEM, 1)
    with pytest.raises(Conflict, match=f"Parts of quote {quote.code} are held"):
        erased(shop)
    with shop.reading() as work:
        assert find_kept(work, BY_BOTH).counts["hold"] == 1


def test_a_quote_that_somebody_else_asked_for_as_well_stays_with_them(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner())
        agree_to_quote(work, quote.token, Contact("Nuala Example", "nuala@example.org"), 1)
    with shop.writing("Maeve") as work:
        promise_call(work, 1, name=NAME, phone=PHONE, about="a call", day="2026-11-26", at="10:00", code=quote.code)
    with shop.reading() as work:
        assert find_kept(work, BY_BOTH).shared == (quote.code,)
    erased(shop)
    with shop.reading() as work:
        assert read_quote(work, quote.token).mass_kg == 80
        assert find_kept(work, Contact("", "nuala@example.org")).counts["hold"] == 1


def test_other_than_was_shown_is_not_erased_and_nobody_is_not_either(shop: Shop) -> None:
    somebody(shop)
    with shop.writing("Orla") as work, pytest.raises(Conflict, match="look again"):
        erase_person(work, BY_BOTH, "0123456789abcdef")
    with shop.writing("Orla") as work, pytest.raises(NotFound):
        erase_person(work, Contact("", "nobody@example.org"), "")
    with shop.reading() as work:
        assert not find_kept(work, BY_BOTH).is_nothing
        assert not [deed for deed in load_deeds(work.session) if isinstance(deed, DeedRow) and "erased" in deed.what]


def whys(shop: Shop) -> list[str]:
    """The reasons in the ledger of the stock, in its order."""
    with shop.reading() as work:
        return [row.why for row in work.session.exec(select(StockRow).order_by(col(StockRow.id)))]


def asked_once(shop: Shop, name: str) -> Contact:
    """Somebody of this name who asked to hold parts and was let go of."""
    them = Contact(name, "c@example.net")
    with shop.writing() as work:
        quote = issue_quote(work, learner())
        agree_to_quote(work, quote.token, them, 1)
    with shop.writing("Maeve") as work:
        release_hold(work, quote.token, "no answer")
    return them


@pytest.mark.parametrize(
    ("name", "named", "not_named"),
    [
        ("Count", ["c@example.net called"], ["a count of the shelf", "fell down, Count the rest"]),
        ("Sale", [], ["sale of the week"]),
        ("Peter", ["PETER fell on it", "Peter's foot"], ["Peterson fell on it", "St. Petersburg", "mac@example.net"]),
        ("Ann O’Hara", ["ann o’hara fell", "Ann O'Hara’s"], ["Ann fell on it", "O’Hara fell on it", "Joann O’Hara"]),
        ("Counter Sale", ["a counter sale went wrong"], []),
    ],
)
def test_only_notes_that_name_the_whole_person_are_emptied_and_they_are_shown_before(
    shop: Shop, name: str, named: list[str], not_named: list[str]
) -> None:
    them = asked_once(shop, name)
    with shop.writing("Maeve") as work:
        for text in (*named, *not_named):
            book_movement(work, "EEL-105", "delivery", 1, text)
    with shop.writing("Maeve") as work:
        sell_at_counter(work, "WRK-PUMP1", 1, new_token())
    before = whys(shop)
    with shop.reading() as work:
        notes = find_kept(work, them).notes
    assert sorted((note.where, note.row, note.text) for note in notes) == sorted(
        ("stock", "EEL-105", text) for text in named
    )
    erased(shop, them)
    assert whys(shop) == ["" if text in named else text for text in before]


def test_a_note_written_meanwhile_is_shown_before_it_is_emptied(shop: Shop) -> None:
    them = asked_once(shop, "Zebedee Quirke")
    with shop.writing("Maeve") as work:
        digest = find_kept(work, them).digest
        book_movement(work, "EEL-105", "delivery", 1, "brought by Zebedee Quirke")
    with shop.writing("Orla") as work, pytest.raises(Conflict, match="look again"):
        erase_person(work, them, digest)


def test_every_reason_that_the_program_wrote_is_known_as_its_own(shop: Shop) -> None:
    somebody(shop)
    by_hand = {f"{NAME} fell on it", f"{NAME} changed his mind"}
    unknown = {text for text in whys(shop) if text and not any(one.fullmatch(text.casefold()) for one in OWN_REASONS)}
    assert unknown <= by_hand
