"""What was seen over the front door: the form without script, what the customer reads, and that nobody else can say it."""

from __future__ import annotations

import pytest
from fastapi import FastAPI

from server.domain.learner import SEEN
from server.usecases.assessments import list_assessments
from tests.builders_http import Client
from tests.builders_shop import learner
from tests.builders_strand import kept_quote, lesson_today, typed_seen
from tests.pages.reader import FORM, Reader, encoded


def test_what_was_seen_is_written_down_and_the_customer_sees_what_changed_and_why(
    app: FastAPI, staff: Client, client: Client
) -> None:
    token, code = kept_quote(app.state.shop)
    [booking] = lesson_today(app.state.shop, {"name": "Una Vale", "code": code})
    desk = Reader(staff).open("/desk/strand")
    assert f"/desk/bookings/{booking.id}/seen" in desk.html
    desk.open(f"/desk/bookings/{booking.id}/seen").press("Send what was seen", **typed_seen(longest_flight="far"))
    assert (desk.status, desk.by_id("longest_flight").get("value")) == (422, "far")
    assert "Up on most runs" in desk.text
    desk.press("Send what was seen", **typed_seen(longest_flight="60"))
    assert desk.status == 200
    assert f"Their quote {code[:4]} {code[4:]} was fitted again: revision 2." in desk.text
    assert (desk.row("Longest flight"), desk.row("Confidence")) == ("60 m", "4 of 5")

    told = Reader(client).open(f"/quotes/{token}").text
    assert "Revision 2" in told
    assert "by Maeve at the shop" in told
    assert "Seen on the water, 25 November 2026, by Maeve: Up on most runs and steady once flying." in told
    assert "Seen on the water on 25 November 2026 by Maeve" in told
    assert "Set-up lively, was steady" in told
    assert "Seen on the water, 25 November 2026" in desk.open(f"/desk/quotes/{code}").text


def test_a_phone_may_send_it_twice_and_something_else_under_its_key_is_refused(app: FastAPI, staff: Client) -> None:
    [booking] = lesson_today(app.state.shop, {})
    address = f"/desk/bookings/{booking.id}/seen"
    sent = {**typed_seen(), "key": "of-the-phone-1", "at": "2026-11-25T11:58:00.000Z"}
    for _ in range(2):
        assert staff.post(address, content=encoded(list(sent.items())), headers=FORM).status_code in (200, 303)
    other = encoded(list({**sent, "confidence": "1"}.items()))
    assert staff.post(address, content=other, headers=FORM).status_code == 409
    with app.state.shop.reading() as work:
        [kept] = list_assessments(work, booking.id)
    assert (kept.seen.confidence, kept.seen.seen_at.isoformat()) == (4, "2026-11-25T11:58:00+00:00")


@pytest.mark.parametrize("address", ["/api/fit", "/api/kits", "/api/wind", "/api/quotes"])
def test_no_program_says_what_an_instructor_has_seen(client: Client, address: str) -> None:
    seen = {"foil_stage": "turning", "wing_handling": None, "to_feet": None, "setup": "lively"}
    seen |= {"seen_at": "2026-11-25T12:00:00+00:00", "day": "2026-11-25", "by": "Maeve", "sentence": "So I say."}
    answers = learner(**{SEEN: seen})
    body = answers if address in ("/api/fit", "/api/kits") else {"answers": answers}
    answer = client.post(address, json=body)
    assert answer.status_code == 422
    [fault] = answer.json()["errors"]
    assert (fault["field"], fault["message"]) == (
        SEEN,
        "What was seen on the water is for the instructor to say, after a lesson.",
    )


def test_no_form_of_a_customer_says_it_and_revising_keeps_it(app: FastAPI, staff: Client, client: Client) -> None:
    token, code = kept_quote(app.state.shop)
    [booking] = lesson_today(app.state.shop, {"code": code})
    Reader(staff).open(f"/desk/bookings/{booking.id}/seen").press(
        "Send what was seen", **typed_seen(longest_flight="60")
    )
    mine = Reader(client).open(f"/quotes/{token}").press("Change my answers")
    flying = mine.address.replace("/you", "/flying")
    forged = encoded(
        [("go", "kit"), ("board_background", "some"), ("foil_stage", "none"), (SEEN, '{"setup": "steady"}')]
    )
    assert client.post(flying, content=forged, headers=FORM).status_code in (200, 303)
    kit = Reader(client).open(mine.address.replace("/you", "/kit"))
    assert "Seen on the water on 25 November 2026 by Maeve" in kit.text
    assert "lively" in kit.press("Keep as the next revision").text


def test_the_worker_stands_above_the_forms_and_signing_out_clears_what_was_kept(staff: Client, client: Client) -> None:
    worker = staff.get("/desk/offline.js")
    assert (worker.status_code, worker.headers["content-type"]) == (200, "text/javascript; charset=utf-8")
    assert "worker-src 'self'" in worker.headers["content-security-policy"]
    assert client.get("/desk/offline.js", follow_redirects=False).status_code == 303
    assert staff.post("/sign-out", follow_redirects=False).headers["clear-site-data"] == '"cache", "storage"'
