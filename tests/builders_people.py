"""A person of whom everything is kept that the shop keeps of anybody, and the pages of the owner that show it."""

from __future__ import annotations

from datetime import timedelta
from urllib.parse import urlencode

from server.domain.agreed import Agreed
from server.domain.assessments import read_seen
from server.domain.sales import Sale
from server.domain.stock import Contact
from server.outside.photos import clean_photo
from server.persistence.tables import BackupRow
from server.usecases.aftercare import ask_question
from server.usecases.assessments import keep_assessment
from server.usecases.calls import promise_call
from server.usecases.lessons import mark_booking
from server.usecases.quotes import issue_quote
from server.usecases.reservations import release_reservation, reserve_piece
from server.usecases.sales import Payment, Terms, make_contract
from server.usecases.stock import agree_to_quote, book_movement, release_hold
from server.usecases.work import Shop, new_token
from server.usecases.worksheets import Written, begin_worksheet, finish_worksheet, write_worksheet
from tests.builders_goods import received
from tests.builders_photos import phone_photo
from tests.builders_pieces import bought_piece
from tests.builders_sales import new_key
from tests.builders_seen import Seen, State, World, seen_as
from tests.builders_shop import learner
from tests.builders_strand import lesson_today, typed_seen

NAME, MAIL, PHONE = "Zebedee Quirke", "Zebedee@Quirke.example", "+353 20 910 0444"
SIGNS = ("zebedee", "quirke", "9100444", "910 0444")
THEM = Contact(NAME, MAIL, PHONE)
SOUGHT = {"email": MAIL.lower(), "phone": PHONE}


def somebody(shop: Shop) -> Sale:
    """Zebedee: asked, called, taught, bought and asked again, and nothing of it open any more; the sale."""
    _asked_and_let_go(shop)
    _taught(shop)
    with shop.writing("Maeve") as work:
        book_movement(work, "EEL-105", "damage", 1, f"{NAME} fell on it")
    piece = bought_piece(shop)
    with shop.writing() as work:
        one = reserve_piece(work, piece.id, THEM, new_key())
    with shop.writing("Maeve") as work:
        release_reservation(work, one.id, "He bought another.")
    return _bought(shop)


def _asked_and_let_go(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner(mass_kg=91.5))
    with shop.writing() as work:
        agree_to_quote(work, quote.token, THEM, 1)
    with shop.writing("Maeve") as work:
        release_hold(work, quote.token, f"{NAME} changed his mind")
    with shop.writing("Maeve") as work:
        tomorrow = (work.today + timedelta(days=1)).isoformat()
        promise_call(work, 1, name=NAME, phone=PHONE, about="Zebedee's mast", day=tomorrow, at="10:00")
    with shop.writing("Maeve") as work:
        token = begin_worksheet(work).token
        write_worksheet(work, token, learner(mass_kg=91.5), Agreed(), Written(NAME, MAIL, PHONE, f"Hello {NAME}", ""))
        finish_worksheet(work, token, "staff")
        issue_quote(work, learner(mass_kg=91.5), draft=token)


def _taught(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner(mass_kg=91.5))
    [booking] = lesson_today(shop, {"name": NAME, "email": MAIL, "phone": PHONE, "code": quote.code})
    with shop.writing("Maeve") as work:
        keep_assessment(work, booking.id, read_seen(typed_seen(sentence="Zebedee stands well"), work.now), new_key())
    with shop.writing("Maeve") as work:
        mark_booking(work, booking, "taken")


def _bought(shop: Shop) -> Sale:
    with shop.writing() as work:
        quote = issue_quote(work, learner(mass_kg=91.5, delivery="collect"))
    with shop.writing() as work:
        agree_to_quote(work, quote.token, THEM, 1)
    with shop.writing("Maeve") as work:
        terms = Terms("distance", f"{NAME}\n1 The Strand", may_write=True)
        payment = Payment(quote.kit.price.balance, "transfer", f"from {NAME}")
        sale = received(shop, make_contract(work, quote.code, 1, terms, payment, new_key()))
    with shop.writing() as work:
        ask_question(work, sale, None, "May Zebedee ride?", [clean_photo(phone_photo((240, 180)))], new_token())
    return sale


def people_page(email: str = "", phone: str = "", status: int = 200) -> Seen:
    """Where what is kept of somebody is seen."""
    return Seen("/console/people", urlencode({"email": email, "phone": phone}).encode(), status)


def _of_somebody(world: World) -> Seen:
    somebody(world.fill().shop)
    return people_page(SOUGHT["email"], SOUGHT.get("phone", ""))


def _still_open(world: World) -> Seen:
    with world.fill().shop.writing() as work:
        quote = issue_quote(work, learner())
    with world.shop.writing() as work:
        agree_to_quote(work, quote.token, Contact("Nuala Example", "nuala@example.org"), 1)
    return people_page(email="nuala@example.org")


def _unsure(world: World) -> Seen:
    somebody(world.fill().shop)
    return Seen("/console/people/erase", urlencode({**SOUGHT, "digest": "0"}).encode(), 422)


def _backed_up(world: World) -> Seen:
    with world.shop.writing() as work:
        work.session.add(BackupRow(at=work.now, name="monday.zip", size=1, by="command"))
        work.commit()
    return Seen("/console")


PEOPLE_STATES: dict[str, State] = {
    "console, a backup made": seen_as("owner", _backed_up),
    "a person's data, nobody asked for": seen_as("owner", lambda world: Seen("/console/people")),
    "a person's data": seen_as("owner", _of_somebody),
    "a person's data, something open": seen_as("owner", _still_open),
    "a person's data, not sure": seen_as("owner", _unsure),
    "a person's data, wrong": seen_as("owner", lambda world: people_page("nobody", "x", 422)),
    "who did what": seen_as("owner", lambda world: Seen("/console/record?who=maeve")),
    "who did what, wrong": seen_as("owner", lambda world: Seen("/console/record?from=never", None, 422)),
}
