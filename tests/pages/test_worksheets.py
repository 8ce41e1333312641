"""The desk's worksheet over the front door: typed, made a link, opened by the customer; a quote revised; what only some may see."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor, wait
from dataclasses import replace
from urllib.parse import urlencode

import pytest
from fastapi import FastAPI
from httpx import Response

from server.domain.agreed import Agreed
from server.persistence.worksheets import save_worksheet
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.worksheets import Written, begin_worksheet, finish_worksheet, read_worksheet, write_worksheet
from tests.builders_accounts import load_deeds
from tests.builders_http import Client
from tests.builders_shop import WING_OF_ONES_OWN, Clock, learner, refused_part
from tests.pages.reader import FORM, Reader

CALLER = {"mass_kg": "92", "to_feet": "average", "fitness": "fair", "board_background": "some", "foil_stage": "none"}


def new_sheet(client: Client) -> Reader:
    answer = client.post("/desk/worksheets")
    assert answer.status_code == 303
    return Reader(client).open(answer.headers["location"])


def link_on(reader: Reader) -> str:
    address = reader.by_id("given-address").get("value", "")
    return "/prepared/" + address.rpartition("/")[2]


def kept_quote(app: FastAPI) -> tuple[str, str]:
    """The token and code of a quote that a customer has kept."""
    with app.state.shop.writing() as work:
        quote = issue_quote(work, learner())
    return quote.token, quote.code


def test_from_what_the_caller_says_to_their_own_quote(staff: Client, client: Client) -> None:
    sheet = new_sheet(staff).press(
        "Make the link",
        **CALLER,
        discount="100",
        name="Some One",
        phone="+353 20 910 0177",
        note="The calm board, as we said.",
        staff_note="Haggles",
    )
    assert "The link for Some One" in sheet.text
    assert "Not opened yet" in sheet.text
    customer = Reader(client).open(link_on(sheet))
    assert customer.status == 200
    assert customer.address.endswith("/kit")
    assert "The calm board, as we said." in customer.text
    assert "Put together for you by Maeve" in customer.text
    assert "Discount agreed with us" in customer.text
    assert "92 kg" in customer.text
    token = link_on(sheet).rpartition("/")[2]
    assert client.post(f"/prepared/{token}/opened").status_code == 204
    assert "First opened" in Reader(staff).open(sheet.address).text
    quote = customer.press("Keep this quote")
    assert "Discount agreed with us" in quote.text
    for page in (customer, quote):
        for secret in ("Haggles", "For the shop alone", "Some One", "0177", "cost", "Cost"):
            assert secret not in page.html
    assert "Kept as quote" in Reader(staff).open(sheet.address).text


def test_looking_at_a_link_from_the_desk_does_not_count_as_opened(staff: Client) -> None:
    sheet = new_sheet(staff).press("Make the link", **CALLER)
    token = link_on(sheet).rpartition("/")[2]
    assert staff.post(f"/prepared/{token}/opened").status_code == 204
    assert "Not opened yet" in Reader(staff).open(sheet.address).text


def test_some_of_the_answers_are_enough_for_a_saved_sheet_but_not_for_a_link(staff: Client) -> None:
    sheet = new_sheet(staff)
    saved = sheet.press("Only save", mass_kg="92", spot="Tullaveen Strand")
    assert "Still to ask: kneeling to standing, fitness" in saved.text
    again = Reader(staff).open(sheet.address)
    assert again.by_id("mass_kg").get("value") == "92"
    refused = again.press("Make the link")
    assert refused.status == 422
    assert "answers are not right yet" in refused.text


def test_each_wrong_field_is_named_and_nothing_typed_is_lost(staff: Client) -> None:
    typed = {
        "mass_kg": "900",
        "discount": "lots",
        "phone": "call me",
        "line-0-kind": "repair",
        "line-0-label": "Fin box",
        "line-0-amount": "dear",
        "why": "x" * 301,
    }
    page = new_sheet(staff).press("Make the link", **{**CALLER, **typed})
    assert page.status == 422
    for name in ("mass_kg", "discount", "phone", "line-0-amount", "why"):
        assert page.by_id(f"{name}-fault") is not None, name
        assert page.by_id(name).get("value") == typed[name]


def test_a_value_given_to_old_gear_and_lines_of_ones_own_stand_on_the_docket(staff: Client) -> None:
    gear = {
        "trades-0-slot": "board",
        "trades-0-price_new": "1100",
        "trades-0-months": "18",
        "trades-0-condition": "good",
    }
    lines = {
        "line-0-kind": "repair",
        "line-0-label": "Fin box",
        "line-0-amount": "45",
        "line-1-kind": "voucher",
        "line-1-amount": "100",
        "line-2-kind": "delivery",
        "line-2-amount": "12",
    }
    sheet = new_sheet(staff).press("Only save", **CALLER, **gear, **lines)
    sheet = sheet.press("Only save", **{"value-0": "300"})
    text = sheet.text.replace(" ", "")
    for words in (
        "Fin box €45.00",
        "Voucher paid before −€100.00",
        "Delivery €12.00",
        "valued by us, firm once seen −€300.00",
    ):
        assert words.replace(" ", "") in text, words


def test_margin_is_the_owners_to_see_and_staffs_only_where_the_owner_says_so(staff: Client, owner: Client) -> None:
    sheet = new_sheet(staff).press("Only save", **CALLER)
    assert "For the shop alone: margin" not in sheet.text
    assert "Cost" not in sheet.text
    assert "For the shop alone: margin" in Reader(owner).open(sheet.address).text


def test_a_cost_is_theirs_to_say_who_see_the_margin_and_nobody_else_takes_it_off_or_makes_it_up(
    staff: Client, owner: Client, app: FastAPI
) -> None:
    line = {"line-0-kind": "repair", "line-0-label": "Fin box", "line-0-amount": "45"}
    sheet = new_sheet(staff).press("Only save", **CALLER, **line)
    assert Reader(owner).open(sheet.address).press("Only save", **{"line-0-cost": "30"}).status == 200

    def costs() -> list[tuple[str, int | None]]:
        with app.state.shop.reading() as work:
            _, draft = read_worksheet(work, sheet.address.rpartition("/")[2])
        return [(line.label, line.cost) for line in draft.agreed.lines]

    assert costs() == [("Fin box", 30_00)]
    mine = Reader(staff).open(sheet.address).press("Only save", discount="10")
    assert costs() == [("Fin box", 30_00)]
    mine = mine.press("Only save", **{"line-0-amount": "dear"})
    assert (mine.status, costs()) == (422, [("Fin box", 30_00)])
    rack = {"line-1-kind": "other", "line-1-label": "Rack", "line-1-amount": "0"}
    made_up = {"line-0-cost": "0", "line-1-cost": "0"}
    body = urlencode({**CALLER, **line, **rack, **made_up, "go": "finish"}).encode()
    assert staff.post(sheet.address, content=body, headers=FORM).status_code == 303
    assert costs() == [("Fin box", 30_00), ("Rack", None)]
    asked = Reader(staff).open(sheet.address).text
    assert "waits for the owner" in asked
    assert "what it costs is not known" in asked


def test_signs_that_nothing_shows_are_refused_beside_their_field(staff: Client) -> None:
    line = {"line-0-kind": "repair", "line-0-label": "Fin\x01box", "line-0-amount": "45"}
    body = urlencode({**CALLER, **line, "note": "So\x00", "why": "Be\x7fcause", "staff_note": "Two\r\nlines"}).encode()
    answer = staff.post(new_sheet(staff).address, content=body, headers=FORM)
    assert answer.status_code == 422
    for name in ("line-0-label", "note", "why"):
        assert f'id="{name}-fault"' in answer.text, name
    assert 'id="staff_note-fault"' not in answer.text


def test_what_waits_for_the_owner_is_theirs_alone_to_give(
    staff: Client, owner: Client, client: Client, clock: Clock
) -> None:
    sheet = new_sheet(staff).press("Make the link", **CALLER, discount="900")
    assert "waits for the owner" in sheet.text
    word = f"{sheet.address}/word"
    assert staff.post(word, content=b"go=give", headers=FORM).status_code == 403
    assert staff.post(word, content=b"go=refuse&because=no", headers=FORM).status_code == 403
    silent = Reader(owner).open(sheet.address).press("Say no")
    assert silent.status == 422
    refused = silent.press("Say no", because="Not before the season")
    assert "Not before the season" in Reader(staff).open(sheet.address).text
    assert refused.status == 200
    again = Reader(staff).open(sheet.address).press("Make the link", discount="800")
    looked_at = Reader(owner).open(again.address)
    clock.forward(minutes=5)
    again.press("Take it back to change it").press("Make the link", discount="850")
    late = looked_at.press("Give my word and make the link")
    assert (late.status, "It has changed since you looked at it" in late.text) == (409, True)
    assert owner.post(word, content=b"because=No+way", headers=FORM).status_code == 422, "no button, no word"
    again = Reader(staff).open(sheet.address).press("Take it back to change it").press("Make the link", discount="800")
    given = Reader(owner).open(again.address).press("Give my word and make the link")
    customer = Reader(client).open(link_on(given))
    assert "Discountagreedwithus−€800.00" in customer.text.replace(" ", "")


def test_a_link_taken_back_says_so(staff: Client, client: Client) -> None:
    sheet = new_sheet(staff).press("Make the link", **CALLER)
    link = link_on(sheet)
    sheet.press("Take the link back")
    gone = Reader(client).open(link)
    assert gone.status == 410
    assert "taken this link back" in gone.text


def test_a_quote_is_changed_at_the_desk_and_its_page_tells_the_story(
    staff: Client, owner: Client, client: Client, app: FastAPI
) -> None:
    token, code = kept_quote(app)
    page = Reader(staff).open(f"/desk/quotes/{code}")
    assert "has not had it open yet" in page.text
    sheet = page.press("Change it")
    made = sheet.press("Make the revision", discount="50", staff_note="Called at noon")
    assert made.address == f"/desk/quotes/{code}"
    assert "Revision 2" in made.text
    assert "by Maeve" in made.text
    assert "Called at noon" in made.text
    assert "For the shop alone: margin" not in made.text
    assert "For the shop alone: margin" in Reader(owner).open(made.address).text
    client.post(f"/quotes/{token}/seen", content=b"revision=2", headers=FORM)
    assert "Seen by the customer" in Reader(staff).open(made.address).text
    customer = Reader(client).open(f"/quotes/{token}")
    assert "by Maeve at the shop" in customer.text
    assert "Called at noon" not in customer.text


def test_an_unchanged_quote_is_answered_with_nothing_and_a_changed_one_with_what_changed(
    staff: Client, app: FastAPI
) -> None:
    token, code = kept_quote(app)
    page = Reader(staff).open(f"/desk/quotes/{code}")
    found = re.search(r"shown=([^\"&]+)", page.html)
    assert found is not None
    shown = found[1]
    asking = {"HX-Request": "true"}
    assert staff.get(f"/desk/quotes/{code}?shown={shown}", headers=asking).status_code == 204
    with app.state.shop.writing() as work:
        issue_quote(work, learner(mass_kg=95), revises=token)
    changed = staff.get(f"/desk/quotes/{code}?shown={shown}", headers=asking)
    assert changed.status_code == 200
    assert "Revision 2, by the customer" in changed.text


def test_a_quote_changed_meanwhile_shows_the_changes_before_it_is_written_over(staff: Client, app: FastAPI) -> None:
    token, code = kept_quote(app)
    sheet = Reader(staff).open(f"/desk/quotes/{code}").press("Change it")
    with app.state.shop.writing() as work:
        issue_quote(work, learner(mass_kg=95), revises=token)
    late = sheet.press("Make the revision")
    assert late.status == 409
    assert "What was changed meanwhile" in late.text
    assert "80 kg" in late.text
    assert "95 kg" in late.text
    read = late.press("Taken as read: go on from revision 2")
    assert "Revision 3" in read.press("Make the revision").text


@pytest.mark.parametrize("field", ["fix-board", "line-0-kind"])
def test_made_up_parts_and_kinds_are_refused(staff: Client, field: str) -> None:
    sheet = new_sheet(staff)
    body = "&".join(f"{name}={value}" for name, value in {**CALLER, field: "made-up", "go": "finish"}.items())
    answer = staff.post(sheet.address, content=body.encode(), headers=FORM)
    assert answer.status_code == 422
    assert f'id="{field}-fault"' in answer.text


def test_htmx_is_answered_with_what_it_comes_to(staff: Client) -> None:
    sheet = new_sheet(staff)
    body = "&".join(f"{name}={value}" for name, value in CALLER.items())
    part = staff.post(sheet.address, content=body.encode(), headers={**FORM, "HX-Request": "true"})
    assert part.status_code == 200
    assert part.text.lstrip().startswith('<section class="worked" id="worked"')
    assert "To pay" in part.text


def test_a_worksheet_that_was_sent_is_not_changed_any_more(staff: Client, app: FastAPI) -> None:
    with app.state.shop.writing("Maeve") as work:
        sheet = begin_worksheet(work)
        write_worksheet(work, sheet.token, learner(), Agreed(), Written())
        finish_worksheet(work, sheet.token, "staff")
    answer = staff.post(f"/desk/worksheets/{sheet.token}", content=b"mass_kg=50&go=save", headers=FORM)
    assert answer.status_code == 409
    copy = Reader(staff).open(f"/desk/worksheets/{sheet.token}").press("Begin a new worksheet from this one")
    assert copy.by_id("mass_kg").get("value") == "80"


def test_what_was_not_sent_is_no_business_of_anybody_who_has_the_address(staff: Client, client: Client) -> None:
    sheet = new_sheet(staff).press("Only save", **CALLER)
    draft = sheet.address.replace("/desk/worksheets/", "/drafts/")
    for address in ("kit", "you", "shared"):
        assert client.get(f"{draft}/{address}").status_code == 404
    for address in ("keep", "you", "kit", "share"):
        assert client.post(f"{draft}/{address}", content=b"mass_kg=60&go=next", headers=FORM).status_code == 404
    waiting = sheet.press("Make the link", discount="900")
    assert "waits for the owner" in waiting.text
    assert client.post(f"{draft}/keep", content=b"", headers=FORM).status_code == 404


def test_enter_on_a_worksheet_saves_it_and_sends_nothing(staff: Client) -> None:
    """HTML, 4.10.21.2 Implicit submission: Enter presses a form's first submit button in tree order."""
    form, _ = new_sheet(staff).form("Only save")
    first = next(iter(form.iter("button")))
    assert first.get("value") == "save"


def test_a_kit_with_a_refused_part_that_the_shop_vouches_for_is_read_on_every_page(
    staff: Client, client: Client, app: FastAPI
) -> None:
    refused = refused_part(app.state.shop, mass_kg=105)
    told = {**CALLER, "mass_kg": "105", "fix__front_foil": refused, "why": "Seen on the water"}
    link = link_on(new_sheet(staff).press("Make the link", **told))
    kept = Reader(client).open(link).press("Keep this quote")
    assert kept.status == 200
    assert "Seen on the water" in kept.text
    assert client.get(f"{kept.address}/pdf").status_code == 200
    quote = client.get(f"/api{kept.address}").json()
    assert quote["kit"]["misfits"]["front_foil"] is None
    assert Reader(staff).open(f"/desk/quotes/{quote['code']}").status == 200


def test_the_wing_beside_a_kept_one_is_in_the_next_revision_too(staff: Client, app: FastAPI) -> None:
    with app.state.shop.writing() as work:
        kept = learner(keeps=[WING_OF_ONES_OWN])
        alone = issue_quote(work, kept)
        quote = issue_quote(work, kept, [*(part.sku for part in alone.kit.parts.values()), "CHG-35"])
    page = Reader(staff).open(f"/desk/quotes/{quote.code}")
    assert "hand wing beside it" in page.text
    sheet = page.press("Change it")
    assert "hand wing beside it, by hand" in sheet.text
    made = sheet.press("Make the revision")
    with app.state.shop.reading() as work:
        revised = read_quote(work, quote.token)
    assert (revised.revision, set(revised.kit.parts)) == (2, set(quote.kit.parts))
    assert "CHG-35" in made.text


def test_what_is_typed_on_a_sheet_sent_meanwhile_is_answered_and_may_begin_a_new_one(staff: Client) -> None:
    here = new_sheet(staff)
    address = here.address
    Reader(staff).open(address).press("Make the link", **CALLER)
    late = here.press("Only save", **CALLER, note="What they said last", discount="70")
    assert late.status == 409
    assert "This was not kept" in late.text
    assert late.by_id("discount").get("value") == "70"
    assert late.by_id("note").text == "What they said last"
    fresh = late.press("Begin a new worksheet with all this")
    assert fresh.status == 200
    assert fresh.address != address
    assert fresh.by_id("note").text == "What they said last"
    assert fresh.by_id("discount").get("value") == "70.00"


def test_of_two_windows_the_later_one_hears_what_the_other_changed_and_then_decides(staff: Client) -> None:
    here = new_sheet(staff)
    there = Reader(staff).open(here.address)
    there.press("Only save", **CALLER, discount="100")
    told = here.press("Only save", **CALLER, note="Typed here")
    assert told.status == 409
    assert "Further discount: 100.00 there, nothing here" in told.text
    assert told.by_id("note").text == "Typed here"
    assert Reader(staff).open(here.address).by_id("discount").get("value") == "100.00"
    assert told.press("Only save").status == 200
    over = Reader(staff).open(here.address)
    assert over.by_id("discount").get("value") == ""
    assert over.by_id("note").text == "Typed here"
    assert over.press("Only save", discount="20").press("Only save", discount="30").status == 200


def test_a_window_that_saves_as_it_is_typed_never_stands_in_its_own_way(staff: Client) -> None:
    sheet = new_sheet(staff)
    shown = sheet.by_id("shown").get("value", "")

    def typed(**fields: str) -> Response:
        body = urlencode({**CALLER, "shown": shown, **fields}).encode()
        return staff.post(sheet.address, content=body, headers={**FORM, "HX-Request": "true"})

    assert typed(discount="10").status_code == 200
    # That answer got lost on its way, so the form still says what it was opened with.
    for fields in ({"discount": "10", "note": "And more"}, {"discount": "20"}, {"discount": "3x"}, {"discount": "30"}):
        answer = typed(**fields)
        assert answer.status_code == 200, fields
        said = re.search(r'id="shown" name="shown" value="([^"]*)" data-hx-swap-oob="true"', answer.text)
        assert said is not None
        shown = said[1]
    Reader(staff).open(sheet.address).press("Only save", discount="40")
    late = typed(discount="50")
    assert late.status_code == 422
    assert "Further discount was changed in another window (40.00 there)" in late.text
    assert "data-hx-swap-oob" not in late.text
    assert Reader(staff).open(sheet.address).by_id("discount").get("value") == "40.00"


def test_what_cannot_be_read_is_there_again_when_the_sheet_is_opened_again(staff: Client, owner: Client) -> None:
    typed = {
        "mass_kg": "900",
        "email": "nobody at home",
        "line-0-label": "Fin box",
        "line-0-amount": "45",
        "line-1-kind": "repair",
        "line-1-label": "x" * 81,
        "line-1-amount": "20",
    }
    sheet = new_sheet(owner).press("Only save", **{**CALLER, "mass_kg": "92"}, name="Some One")
    sheet.press("Only save", **typed, **{"line-0-cost": "12.34"})
    again = Reader(owner).open(sheet.address)
    for name, fault in (("mass_kg",) * 2, ("email",) * 2, ("line-0-label", "line-0-kind"), ("line-1-label",) * 2):
        assert again.by_id(name).get("value") == typed[name], name
        assert again.by_id(f"{fault}-fault") is not None, fault
    assert "12.34" in again.html
    assert "12.34" not in Reader(staff).open(sheet.address).html
    kinds = {"line-0-kind": "repair", "line-1-label": "x" * 80, "email": "some@one.example", "mass_kg": "92"}
    right = again.press("Make the link", **kinds)
    assert "The link for Some One" in right.text


def test_only_a_revision_that_is_there_is_taken_as_read(staff: Client, app: FastAPI) -> None:
    _, code = kept_quote(app)
    sheet = Reader(staff).open(f"/desk/quotes/{code}").press("Change it")
    for said in ("2", "99", "0"):
        answer = staff.post(f"{sheet.address}/read", content=f"revision={said}".encode(), headers=FORM)
        assert answer.status_code == 409, said
    assert "Revision 2" in sheet.press("Make the revision").text


def test_a_link_kept_twice_makes_two_quotes_and_the_desk_knows_for_whom_both_are(
    staff: Client, client: Client, app: FastAPI
) -> None:
    whom = {"name": "Some One", "phone": "+353 20 910 0177", "staff_note": "Haggles"}
    link = link_on(new_sheet(staff).press("Make the link", **CALLER, **whom))
    kept = [Reader(client).open(link).press("Keep this quote").address for _ in range(3)]
    assert len(set(kept)) == 3
    for address in kept:
        with app.state.shop.reading() as work:
            code = read_quote(work, address.rpartition("/")[2]).code
        page = Reader(staff).open(f"/desk/quotes/{code}")
        for words in whom.values():
            assert words in page.text, words
        assert page.press("Change it").by_id("name").get("value") == "Some One"


def test_the_record_of_deeds_names_the_quote_or_the_worksheet_and_never_a_customer(staff: Client, app: FastAPI) -> None:
    _, code = kept_quote(app)
    Reader(staff).open(f"/desk/quotes/{code}").press("Change it").press("Make the revision", name="Some One")
    sheet = new_sheet(staff).press("Make the link", **CALLER, name="Some One")
    sheet.press("Take the link back")
    token = sheet.address.rpartition("/")[2]
    with app.state.shop.reading() as work:
        deeds = [(deed.what, deed.whom) for deed in load_deeds(work.session) if deed.who == "Maeve"]
    assert ("made a link", f"worksheet {token[:8]}") in deeds
    assert ("took a link back", f"worksheet {token[:8]}") in deeds
    assert (f"made revision 2 of quote {code}", f"quote {code}") in deeds
    assert "Some One" not in repr(deeds)
    assert token not in repr(deeds)


def test_a_link_taken_back_while_somebody_keeps_it_is_not_kept(staff: Client, client: Client, app: FastAPI) -> None:
    link = link_on(new_sheet(staff).press("Make the link", **CALLER))
    address, body = Reader(client).open(link).sending("Keep this quote")
    with ThreadPoolExecutor(1) as other, app.state.shop.writing("Maeve") as work:
        sheet, _ = read_worksheet(work, link.rpartition("/")[2], to_change=True)
        save_worksheet(work.session, replace(sheet, withdrawn_at=work.now))
        keeping = other.submit(client.post, address, content=body, headers=FORM)
        wait([keeping], timeout=0.3)
        assert not keeping.done()
        work.commit()
        assert keeping.result().status_code == 410
