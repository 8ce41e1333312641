"""The owner's pages of a person's data, the record of deeds and the console's first page."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from urllib.parse import urlencode

from fastapi import FastAPI

from server.persistence.backups import save_backup
from server.persistence.tables import DeedRow
from server.usecases.backups import backed_up_at
from server.usecases.stock import book_movement
from tests.builders_accounts import signed_in_as
from tests.builders_http import Client
from tests.builders_people import MAIL, NAME, SOUGHT, people_page, somebody
from tests.builders_shop import Clock
from tests.pages.reader import FORM, Reader, text_of


def test_a_person_is_looked_up_given_their_file_and_erased(app: FastAPI, owner: Client) -> None:
    somebody(app.state.shop)
    reader = Reader(owner).open("/console/people").press("Look", **SOUGHT)
    assert "Zebedee" not in reader.address, "an address is kept by browsers and proxies"
    assert f"What is kept of {NAME}" in reader.text
    assert "Their invoices lose the buyer" in reader.text
    assert f"{NAME} fell on itstock: EEL-105" in reader.text
    address, sought = reader.sending("All of it in one file")
    file = owner.post(address, content=sought, headers=FORM)
    assert (file.status_code, file.headers["content-type"]) == (200, "application/zip")
    assert file.headers["cache-control"] == "no-store"
    reader.press("Erase it for good")
    assert reader.status == 422
    assert "the box ticked" in reader.text
    assert f"What is kept of {NAME}" in reader.text
    reader.press("Erase it for good", sure="yes")
    assert "Erased a person’s data: 1 sale" in reader.text
    assert "Nothing is kept under this address" in reader.open("/console/people").press("Look", email=MAIL).text


def test_nobody_but_the_owner_has_the_file(app: FastAPI, client: Client, staff: Client) -> None:
    somebody(app.state.shop)
    wanted = {"content": urlencode(SOUGHT).encode(), "headers": FORM}
    assert client.post("/console/people/data.zip", **wanted).status_code == 403
    answer = staff.post("/console/people/data.zip", **wanted)
    assert answer.status_code == 403
    assert "Zebedee" not in answer.text


def test_what_cannot_be_read_is_said_beside_its_field(owner: Client) -> None:
    answer = people_page(email="nobody", phone="12").answer(owner)
    assert answer.status_code == 422
    assert "This is not an e-mail address." in answer.text
    assert "This is not a telephone number." in answer.text
    assert 'value="nobody"' in answer.text


def test_the_record_is_searched_by_words_and_days_and_given_out_as_it_was_found(
    app: FastAPI, client: Client, clock: Clock
) -> None:
    for name, day in (("Maeve", 0), ("Tadhg", 2)):
        clock.forward(days=day)
        with app.state.shop.writing(name) as work:
            book_movement(work, "EEL-105", "delivery", 1, "")
    owner = signed_in_as(client, app, "Orla", "owner")
    page = Reader(owner).open("/console/record?what=booked&whom=")
    assert "2 deeds found" in page.text
    assert [text_of(cell) for cell in page.page.iter("th") if cell.get("scope") == "col"] == ["When", "Who", "What"]
    page.open("/console/record?what=BOOKED&who=mae")
    assert "1 deed found" in page.text
    assert "Tadhg" not in page.text
    assert "Tadhg" in page.open("/console/record?what=booked&from=2026-11-27").text
    assert "Tadhg" not in page.open("/console/record?what=booked&to=2026-11-26").text
    rows = list(
        csv.reader(io.StringIO(owner.get("/console/record/export.csv?what=booked").content.decode("utf-8-sig")))
    )
    assert [row[1:3] for row in rows[1:]] == [
        [name, "booked +1 of EEL-105 by hand: delivery"] for name in ("Tadhg", "Maeve")
    ]
    wrong = owner.get("/console/record?from=2026-11-27&to=2026-11-26")
    assert wrong.status_code == 422
    assert "before the first day" in wrong.text
    assert owner.get("/console/record?from=9999-12-31&to=9999-12-31").status_code == 200


def test_a_long_record_goes_on_on_further_pages(app: FastAPI, owner: Client) -> None:
    for number in range(101):
        with app.state.shop.writing("Maeve") as work:
            book_movement(work, "EEL-105", "delivery", number + 1, "")
    first = Reader(owner).open("/console/record?what=EEL-105")
    assert "Page 1 of 2" in first.text
    assert "booked +1 of" not in first.text
    second = first.open("/console/record?what=EEL-105&page=2")
    assert "booked +1 of" in second.text
    assert owner.get("/console/record?page=0").status_code == 422


def test_the_console_says_that_the_clock_may_be_wrong_and_what_to_do(app: FastAPI, owner: Client, clock: Clock) -> None:
    assert "clock may be wrong" not in owner.get("/console").text
    with app.state.shop.sessions(True) as session:
        session.add(DeedRow(at=clock() + timedelta(days=3), who="Orla", what="did something"))
        session.commit()
    seen = owner.get("/console").text
    assert "clock may be wrong: it is behind what was written here." in seen
    assert "python -m server clock --is-right" in seen


def test_the_console_says_how_old_the_last_backup_is(app: FastAPI, owner: Client, clock: Clock) -> None:
    assert "No backup was ever made" in owner.get("/console").text
    with app.state.shop.writing() as work:
        save_backup(work.session, work.now, "monday.zip", 1, "command")
        work.commit()
    assert "No backup" not in owner.get("/console").text
    clock.forward(days=8)
    with app.state.shop.reading() as work:
        assert backed_up_at(work) is not None
    with Client(app) as later:
        signed_in_as(later, app, "Orla", "owner")
        assert "The last one is 8 days old" in later.get("/console").text
