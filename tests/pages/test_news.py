"""A quote that changes while its page is open, as its page asks for it without a browser."""

from __future__ import annotations

import html
import re

import pytest
from sqlmodel import select

from server.app import create_app
from server.persistence.engine import Place
from server.persistence.tables import QuoteRow
from server.settings import Settings
from server.usecases.quotes import issue_quote
from server.usecases.stock import confirm_hold
from server.usecases.work import Shop
from server.web.signed import cookie_name
from tests.builders_http import ADDRESS, Client, fields_of
from tests.builders_shop import Clock, learner
from tests.pages.reader import FORM, Reader, at_the_kit, parsed_fragment, text_of

HTMX = {"HX-Request": "true"}
NO_TOKEN = "abcdefghijklmnopqrstuv"


def kept(client: Client) -> Reader:
    """A reader on their quote page."""
    return at_the_kit(client).press("Keep this quote")


def token_of(page: Reader) -> str:
    return page.address.rsplit("/", 1)[1]


def asked_by(page: Reader) -> str:
    """Where the page asks for news."""
    [asker] = [element for element in page.page.iter() if element.get("data-hx-trigger") == "every 3s"]
    return asker.get("data-hx-get", "")


def revise(shop: Shop, token: str, by: str, **answers: object) -> None:
    with shop.writing(by) as work:
        issue_quote(work, learner(**answers), revises=token)


def seen(shop: Shop) -> int | None:
    with shop.reading() as work:
        return work.session.exec(select(QuoteRow.seen_revision)).one()


def see(client: Client, page: Reader, revision: object) -> int:
    return client.post(f"{page.address}/seen", content=f"revision={revision}".encode(), headers=FORM).status_code


def test_a_change_shows_on_the_others_open_page_with_what_changed_and_by_whom(client: Client, shop: Shop) -> None:
    page = kept(client)
    address = asked_by(page)
    assert "/news?shown=1&asks=yes" in address
    answer = client.get(address, headers=HTMX)
    assert (answer.status_code, answer.text) == (204, "")
    assert "HX-Request" in answer.headers["vary"]
    revise(shop, token_of(page), "Maeve", mass_kg=85)
    answer = client.get(address, headers=HTMX)
    assert answer.status_code == 200
    news, block = parsed_fragment(answer.text)
    assert (news.get("id"), news.get("role")) == ("news", "status")
    said = text_of(news)
    assert said.startswith("Revision 2, by Maeve at the shop: ")
    assert "to pay €" in said
    assert "Your weight 85 kg, was 80 kg" in text_of(block)
    assert "Revision 2, 25 November 2026, 12:00, by Maeve at the shop:" in text_of(block)
    whole = Reader(client).open(page.address)
    assert "Revision 2, 25 November 2026, 12:00, by Maeve at the shop:" in whole.text
    assert text_of(whole.by_id("news")) == ""
    assert text_of(whole.by_id("quote-parts")) in text_of(block)
    assert client.get(asked_by(whole), headers=HTMX).status_code == 204


def test_any_process_over_the_same_database_answers(client: Client, place: Place, clock: Clock) -> None:
    page = kept(client)
    other = create_app(Settings(data=place.data, database_url=place.url, base_address=ADDRESS, public_burst=0))
    other.state.shop.clock = clock
    with Client(other) as elsewhere:
        assert elsewhere.get(asked_by(page), headers=HTMX).status_code == 204
        Reader(elsewhere).open(page.address).press("Change my answers").press("next", mass_kg="85").press("kit").press(
            "Keep as the next revision"
        )
    other.state.shop.close()
    answer = client.get(asked_by(page), headers=HTMX)
    assert answer.status_code == 200
    assert "by you: " in text_of(parsed_fragment(answer.text)[0])


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_hold_is_news_and_the_form_comes_and_goes_with_it(client: Client, shop: Shop) -> None:
    page = kept(client)
    before = asked_by(page)
    page.press("Ask to hold these parts", name="Some One", email="one@example.org")
    answer = client.get(before, headers=HTMX)
    assert "The parts of revision 1 are asked for" in answer.text
    asking = next(element for element in parsed_fragment(answer.text).iter() if element.get("id") == "asking")
    assert asking.get("data-hx-swap-oob") == "true"
    assert "asks=no" in asked_by(page)
    with shop.writing("Maeve") as work:
        confirm_hold(work, token_of(page))
    assert "We keep the parts of revision 1 for you" in client.get(asked_by(page), headers=HTMX).text
    page.open(page.address).press("Take the request back")
    assert "Nothing is set aside for this quote any more" in client.get(f"{page.address}/news?shown=1-1.9c").text


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_form_that_stays_is_not_replaced_and_asks_for_the_newest(client: Client, shop: Shop) -> None:
    page = kept(client)
    revise(shop, token_of(page), "Maeve", mass_kg=85)
    block = parsed_fragment(client.get(asked_by(page), headers=HTMX).text)
    by_id = {element.get("id"): element for element in block.iter()}
    assert by_id["asking"].get("data-hx-swap-oob") is None
    [revision] = by_id["asked-revision"].iter("input")
    assert revision.get("value") == "2"
    [asker] = [element for element in page.page.iter() if element.get("data-hx-trigger") == "every 3s"]
    swapped = asker.get("data-hx-select-oob", "")
    assert "#asked-revision" in swapped
    assert "#asking" not in swapped


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
@pytest.mark.parametrize("shown", ["", "0", "9", "x", "1-", "-1", "²", "1" * 400, "1-1.5c&asks=maybe"])
def test_a_version_that_nobody_was_given_is_answered_with_the_quote_as_it_is(client: Client, shown: str) -> None:
    page = kept(client)
    answer = client.get(f"{page.address}/news?shown={shown}", headers=HTMX)
    assert answer.status_code == 200
    assert "To pay" in answer.text


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_quote_that_is_gone_is_asked_for_no_more(client: Client) -> None:
    answer = client.get(f"/quotes/{NO_TOKEN}/news?shown=1", headers=HTMX)
    assert (answer.status_code, answer.text, answer.headers["hx-reswap"]) == (286, "", "none")
    assert client.get(f"/quotes/{NO_TOKEN}/news?shown=1").status_code == 404
    assert client.post(f"/quotes/{NO_TOKEN}/seen", content=b"revision=1", headers=FORM).status_code == 404


def test_seen_is_recorded_by_the_open_page_and_by_no_get(client: Client, shop: Shop, staff: Client) -> None:
    page = kept(client)
    for address in (page.address, asked_by(page), f"{page.address}/news", f"{page.address}/seen"):
        client.get(address)
        client.get(address, headers=HTMX)
        client.request("HEAD", address)
    assert seen(shop) is None
    assert see(staff, page, 1) == 204
    assert seen(shop) is None
    assert see(client, page, 1) == 204
    assert seen(shop) == 1
    assert [see(client, page, said) for said in ("", "0", "x", "2", "99999999")] == [422, 422, 422, 204, 422]
    assert seen(shop) == 1
    sender = next(element for element in page.page.iter() if element.get("data-hx-post", "").endswith("/seen"))
    assert sender.get("data-hx-vals") == '{"revision": 1}'
    assert sender.get("data-hx-trigger", "").startswith("load")


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_whoever_holds_a_session_that_is_none_is_the_customer(client: Client, shop: Shop) -> None:
    page = kept(client)
    client.keep_cookie(cookie_name(is_secure=True), "not-a-session")
    assert see(client, page, 1) == 204
    assert seen(shop) == 1


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_agreeing_to_an_older_revision_shows_the_newest_with_the_differences_and_what_was_typed(
    client: Client, shop: Shop
) -> None:
    page = kept(client)
    for mass in (82, 85):
        revise(shop, token_of(page), "Maeve", mass_kg=mass)
    page.press("Ask to hold these parts", name="Some One", email="one@example.org")
    assert page.status == 409
    assert "This is revision 1; the newest is revision 3" in page.text
    assert text_of(page.by_id("news")).startswith(
        "Nothing was set aside for revision 1. Revision 3, by Maeve at the shop: "
    )
    revised = text_of(page.by_id("revised"))
    assert "What has changed since revision 1:" in revised
    assert "Your weight 85 kg, was 80 kg" in revised
    assert page.by_id("name").get("value") == "Some One"
    assert page.by_id("email").get("value") == "one@example.org"
    assert page.press("Ask to hold these parts").status == 200
    assert "The parts are set aside until" in page.text


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_programs_are_told_the_differences_too(client: Client, shop: Shop) -> None:
    page = kept(client)
    revise(shop, token_of(page), "Maeve", mass_kg=85)
    body = {"name": "Some One", "email": "one@example.org", "revision": 1}
    faults = client.faults(f"/api{page.address}/agree", body, 409)
    assert fields_of(faults)[0] == "revision"
    by_field = {fault["field"]: fault["message"] for fault in faults}
    assert by_field["mass_kg"] == "Mass kg: 80 kg in revision 1, 85 kg in revision 2."
    assert re.fullmatch(r"To pay: \d+ cents in revision 1, \d+ cents in revision 2\.", by_field["balance"])


@pytest.mark.parametrize("place", ["sqlite"], indirect=True)
def test_a_name_and_a_revision_without_changes_are_told_as_they_are(client: Client, shop: Shop) -> None:
    page = kept(client)
    revise(shop, token_of(page), "<b>Maeve</b>")
    text = client.get(asked_by(page), headers=HTMX).text
    assert html.escape("<b>Maeve</b>") in text
    assert "<b>Maeve</b>" not in text
    assert "no size, answer or price has changed" in text
