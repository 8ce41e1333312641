"""What comes through a door only if it is meant to: fields nobody asked for, fields from elsewhere, accounts without a second factor,
and anybody while the database cannot say who they are."""

from __future__ import annotations

import re
from typing import Literal

import pyotp
import pytest
from fastapi import FastAPI
from sqlalchemy import text
from sqlmodel import Session, col, select

from server.domain.stock import Contact
from server.persistence.accounts import account_named, load_accounts
from server.persistence.tables import BookingRow, PhotoRow, ReservationRow, SaleRow
from server.usecases.accounts import begin_second_factor, set_second_factor
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.stock import agree_to_quote
from server.usecases.work import Shop
from server.web.guard import SESSION_COOKIES
from tests.builders_accounts import CHEAP, WORDS, account_token, seat
from tests.builders_http import Client
from tests.builders_people import somebody
from tests.builders_shop import Clock, learner
from tests.pages.reader import FORM, encoded

OTHER_WORDS = "seven dry oars in a shed"
NOT_ASKED_FOR = [
    ("id", "1"),
    ("role", "owner"),
    ("name", "Orla"),
    ("name_key", "orla"),
    ("password_hash", "x"),
    ("seed", "JBSWY3DPEHPK3PXP"),
    ("account_id", "1"),
    ("ended_at", ""),
]
pytestmark = pytest.mark.parametrize("place", ["sqlite"], indirect=True)


def row_of(session: Session, name: str) -> dict[str, object]:
    found = account_named(session, name)
    assert found is not None
    return found.model_dump(exclude={"password_hash"})


def test_a_field_that_a_form_does_not_have_changes_nothing_of_an_account(app: FastAPI, staff: Client) -> None:
    with app.state.shop.reading() as work:
        before = row_of(work.session, "maeve"), row_of(work.session, "orla")
    changed = encoded([("current", WORDS), ("password", OTHER_WORDS), ("again", OTHER_WORDS), *NOT_ASKED_FOR])
    assert (
        staff.post("/account/password", content=changed, headers=FORM).headers["location"] == "/account?said=password"
    )
    with app.state.shop.reading() as work:
        assert (row_of(work.session, "maeve"), row_of(work.session, "orla")) == before


def test_a_field_that_a_form_does_not_have_changes_nothing_of_a_quote(app: FastAPI, client: Client) -> None:
    shop: Shop = app.state.shop
    with shop.writing() as work:
        quote = issue_quote(work, learner())
    asked = [("name", "Some One"), ("email", "some.one@example.org"), ("revision", "1")]
    odd = [("price", "1"), ("balance", "1"), ("code", "00000000"), ("state", "sold"), ("token", "x"), ("further", "99")]
    odd += [("agreed", "{}"), ("lapses_on", "2099-01-01"), ("actor", "Orla"), ("kit", "{}")]
    client.post(f"/quotes/{quote.token}/agree", content=encoded([*asked, *odd]), headers=FORM)
    with shop.reading() as work:
        assert read_quote(work, quote.token) == quote
    refused = client.post_json(f"/api/quotes/{quote.token}/agree", {"name": "Some One", "revision": 1, "price": 1})
    assert (refused.status_code, refused.json()["errors"][0]["field"]) == (422, "price")


def test_a_field_counts_only_from_where_it_is_asked_for_and_the_last_one_of_its_name(
    app: FastAPI, client: Client
) -> None:
    account_token(app.state.shop, "Orla", "owner")
    said = encoded([("name", "Orla"), ("password", WORDS)])
    empty = client.post(f"/sign-in?{said.decode()}", content=b"", headers=FORM)
    assert empty.status_code == 422
    twice = encoded([("name", "Orla"), ("password", WORDS), ("password", "nobody wrote these words")])
    assert client.post("/sign-in", content=twice, headers=FORM).status_code == 422
    assert client.post("/sign-in", content=said, headers=FORM).status_code == 303


def test_nobody_has_an_account_before_the_owners_link_is_used(shop: Shop) -> None:
    with shop.reading() as work:
        assert load_accounts(work.session) == []


@pytest.mark.parametrize("wanted", ["offered", "owners", "everyone"])
def test_where_a_second_factor_is_wanted_an_account_without_one_opens_nothing_but_itself(
    app: FastAPI, client: Client, staff: Client, clock: Clock, wanted: Literal["offered", "owners", "everyone"]
) -> None:
    shop: Shop = app.state.shop
    token = seat(shop, "Orla", "owner")
    client.keep_cookie(SESSION_COOKIES[1], token)
    app.state.settings = app.state.settings.model_copy(update={"second_factor": wanted})
    held = {"offered": (), "owners": (client,), "everyone": (client, staff)}[wanted]
    for one in (client, staff):
        page, form = one.get("/desk"), one.post("/desk/calls")
        to_the_factor = (page.status_code, page.headers.get("location", "")) == (
            303,
            "/account?said=needs#factor-title",
        )
        assert to_the_factor == (one in held)
        assert ("Set a second factor first" in form.text) == (one in held)
        assert one.get("/account").status_code == 200
    if held:
        offered = begin_second_factor(shop, CHEAP, token, WORDS)
        with shop.writing() as work:
            fresh = set_second_factor(work, offered.token, pyotp.TOTP(offered.seed).at(clock.now))
        client.keep_cookie(SESSION_COOKIES[1], fresh)
        assert client.get("/console").status_code == 200


def test_while_the_database_cannot_say_who_somebody_is_they_are_nobody(app: FastAPI, owner: Client) -> None:
    shop: Shop = app.state.shop
    assert owner.get("/console").status_code == 200
    with shop.writing() as work:
        work.session.execute(text("ALTER TABLE account_session RENAME TO elsewhere"))
        work.commit()
    for answer in (owner.get("/console"), owner.post("/staff", content=b"name=Fergal&role=owner", headers=FORM)):
        assert answer.status_code == 503
        assert "Nothing was changed" in answer.text
        for inside in ("account_session", "SELECT", "Traceback", "sqlite", "Orla"):
            assert inside not in answer.text
    with shop.writing() as work:
        work.session.execute(text("ALTER TABLE elsewhere RENAME TO account_session"))
        work.commit()
    with shop.reading() as work:
        assert [row.name for row in load_accounts(work.session)] == ["Orla"]


def test_a_guest_of_one_quote_is_given_no_word_about_another(app: FastAPI, client: Client) -> None:
    shop: Shop = app.state.shop
    with shop.writing() as work:
        mine, other = issue_quote(work, learner()), issue_quote(work, learner(mass_kg=93.5))
    with shop.writing() as work:
        agree_to_quote(work, other.token, Contact("Zebedee Quillfeather", "zebedee@example.org"), 1)
    page = client.get(f"/quotes/{mine.token}").text
    for said in ("Zebedee", "zebedee@", other.token, other.code, "93.5"):
        assert said not in page


def test_pages_that_name_a_customer_and_photographs_of_theirs_are_kept_by_no_browser(
    app: FastAPI, client: Client
) -> None:
    shop: Shop = app.state.shop
    somebody(shop)
    with shop.reading() as work:
        sale = work.session.exec(select(SaleRow)).one()
        [booking] = work.session.exec(select(BookingRow)).all()
        [photo] = work.session.exec(select(PhotoRow).where(col(PhotoRow.about).startswith("question:"))).all()
        [reservation] = work.session.exec(select(ReservationRow)).all()
    for address in (
        f"/owned/{sale.token}",
        f"/owned/{sale.token}/ask",
        f"/bookings/{booking.token}",
        f"/used/reservations/{reservation.token}",
        f"/photos/{photo.token}",
        "/welcome/abcdefghijklmnopqrstuv",
        "/sign-in",
    ):
        assert client.get(address).headers["cache-control"] == "no-store", address
    agreed = client.get(f"/quotes/{sale.quote_token}")
    assert (agreed.status_code, agreed.headers["cache-control"]) == (200, "private, no-cache")
    assert "Zebedee" not in agreed.text, "a quote may be kept for a moment, since it names nobody"


def test_a_password_is_typed_into_fields_that_show_it_to_nobody_and_cut_nothing(client: Client, staff: Client) -> None:
    fields = [
        field
        for page in (client.get("/sign-in"), staff.get("/account"))
        for field in re.findall(r"<input[^>]+>", page.text)
        if re.search(r'name="(password|again|current)"', field)
    ]
    assert len(fields) == 6
    assert [field for field in fields if 'type="password"' not in field or "maxlength" in field] == []
