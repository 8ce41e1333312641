"""From the first page to a kept quote without any script, as a person would do it."""

from __future__ import annotations

from datetime import date

import pytest

from server.domain.codes import read_code
from server.persistence.folder import read_folder
from server.persistence.tables import QuoteRow
from server.usecases.catalogue import replace_catalogue
from server.usecases.deposits import take_deposit
from server.usecases.learner import read_draft
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.builders_shop import Clock, FolderCopy, number_of
from tests.pages.reader import FORM, Reader, at_the_kit, parsed, started, text_of

QUESTIONS_BEFORE_THE_FIRST_KIT = 9


def amount(words: str) -> int:
    """Cents from an amount as the page writes it."""
    digits = words.replace("€", "").replace(",", "").replace(".", "")
    return -int(digits[1:]) if digits.startswith("−") else int(digits)


def test_a_learner_answers_five_steps_and_keeps_a_priced_quote_without_script(client: Client, shop: Shop) -> None:
    with shop.writing() as work:
        lesson = take_deposit(work, "private", 115_00, "taken", date(2026, 11, 20))
    reader = started(client)
    assert reader.address.endswith("/you")
    reader.press("next", mass_kg="80,5", to_feet="quick", fitness="fair")
    reader.press("next", board_background="some", foil_stage="none")
    reader.press("next", spot="Tullaveen Strand")
    reader.press(
        "next",
        **{
            "trades-0-slot": "board",
            "trades-0-price_new": "1100",
            "trades-0-months": "18",
            "trades-0-condition": "good",
        },
    )
    reader.press("See the kit", extras=["helmet"], deposit_codes=lesson.code.lower())
    assert reader.status == 200
    assert reader.address.endswith("/kit")
    assert "80.5 kg" in reader.text
    assert reader.row("Lesson deposit given back") == "−€115.00"
    # 1,100.00 × 0.68 × 0.78^(6/12) × 0.85 × 0.85 = 477.30, down to 475.00; own arithmetic.
    assert reader.row("Gear traded in") == "−€475.00"
    docket = next(row for row in reader.page.iter("dl") if row.get("class") == "docket-lines")
    rows = [
        amount(text_of(list(line)[1]))
        for line in docket.iter("div")
        if [word.tag for word in line] == ["dt", "dd"] and "€" in text_of(list(line)[1])
    ]
    *lines, to_pay = rows
    assert sum(lines) == to_pay

    shown = reader.row("To pay")
    reader.press("Keep this quote")
    assert reader.status == 200
    assert "/quotes/" in reader.address
    assert reader.row("To pay") == shown
    code = next(text_of(element) for element in reader.page.iter("b") if element.get("class") == "code")
    assert len(code) == 9
    assert read_code(code) == code.replace(" ", "")
    assert "Price good until 9 December 2026" in reader.text
    assert "nothing is set aside until you agree" in reader.text
    with shop.reading() as work:
        assert number_of(work.session, QuoteRow) == 1


def test_at_most_nine_questions_are_shown_before_the_first_kit(client: Client) -> None:
    reader = started(client)
    shown = 0
    answers: list[dict[str, str]] = [
        {"mass_kg": "70", "to_feet": "quick", "fitness": "high"},
        {"board_background": "some", "foil_stage": "none"},
        {"spot": ""},
        {},
        {},
    ]
    for step in answers:
        page = reader.page
        waiting = {id(inner) for details in page.iter("details") for inner in details.iter()}
        shown += sum(
            "question" in element.get("class", "").split() and id(element) not in waiting for element in page.iter()
        )
        assert all(
            any("why" in inner.get("class", "").split() for inner in element.iter())
            for element in page.iter("fieldset")
            if "question" in element.get("class", "").split()
        ), f"a question at {reader.address} does not say why it is asked"
        reader.press("next", **step)
    assert reader.address.endswith("/kit")
    assert 5 <= shown <= QUESTIONS_BEFORE_THE_FIRST_KIT


def test_pressing_keep_twice_keeps_one_quote(client: Client, shop: Shop) -> None:
    reader = at_the_kit(client)
    address, body = reader.sending("Keep this quote")
    places = {client.post(address, content=body, headers=FORM).headers["location"] for _ in range(3)}
    assert len(places) == 1
    with shop.reading() as work:
        assert number_of(work.session, QuoteRow) == 1


def test_changing_the_answers_of_a_quote_makes_its_next_revision_under_the_same_code(client: Client) -> None:
    quote = at_the_kit(client).press("Keep this quote")
    kept, code = quote.address, text_of(quote.by_id("quote-title"))
    again = Reader(client).open(kept).press("Change my answers")
    assert again.by_id("mass_kg").get("value") == "80"
    again.press("next", mass_kg="104").press("kit")
    again.press("Keep as the next revision")
    assert again.address == kept
    assert "revision 2" in again.text
    assert "104 kg" in again.text
    assert code


def test_a_part_is_swapped_in_place_and_the_swap_is_what_is_kept(client: Client) -> None:
    reader = at_the_kit(client)
    button = next(b for b in reader.page.iter("button") if b.get("id") == "put-front_foil-larger")
    sku = button.get("value", "")
    reader.press(sku)
    assert reader.address.endswith("/kit?changed=front_foil&by=larger")
    assert sku in [field.get("value") for field in reader.page.iter("input") if field.get("name") == "sku"]
    reader.press("recommended")
    assert sku not in [field.get("value") for field in reader.page.iter("input") if field.get("name") == "sku"]
    reader.press(sku).press("Keep this quote")
    assert sku in reader.text


def test_a_refused_part_cannot_be_put_in_and_the_page_says_why(client: Client) -> None:
    reader = at_the_kit(client, mass="95")
    answer = client.post(reader.address, content=b"put=DUN-72", headers=FORM)
    assert answer.status_code == 422
    assert "would not float you home" in text_of(parsed(answer.text))


WRONG = [
    ("you", {"mass_kg": "34"}, "mass_kg", "Under 35 kg we size no kit"),
    ("you", {"mass_kg": "eighty"}, "mass_kg", "a number from 35 to 160 kg"),
    ("you", {"mass_kg": "400", "mass_unit": "lb"}, "mass_kg", "a number from 77.2 to 352.7 lb"),
    ("where", {"usual_wind_kn": "90"}, "usual_wind_kn", "a number from 6 to 35 kn"),
    ("where", {"min_depth_m": "deep"}, "min_depth_m", "a number from 0 to 200 m"),
    ("gear", {"keeps-board-0-volume_l": "9999"}, "keeps-board-0-volume_l", "a number from 20 to 300"),
    ("gear", {"trades-0-slot": "board", "trades-0-months": "18"}, "trades-0-price_new", "an amount such as 1249.00"),
    ("extras", {"deposit_codes": "HKBN04QA"}, "deposit_codes", "We know no paid lesson under HKBN04QA"),
    ("extras", {"budget": "much"}, "budget", "an amount such as 1249.00"),
]


@pytest.mark.parametrize(("step", "typed", "field", "says"), WRONG, ids=[f"{row[0]}-{row[2]}" for row in WRONG])
def test_what_is_wrong_stands_beside_its_field_and_at_the_top_and_nothing_typed_is_lost(
    client: Client, step: str, typed: dict[str, str], field: str, says: str
) -> None:
    reader = at_the_kit(client)
    reader.open(reader.address.replace("/kit", f"/{step}")).press("next", **typed)
    assert reader.status == 422
    assert says in reader.text
    assert text_of(reader.by_id(f"{field}-fault")) in reader.text
    assert reader.by_id(field) is not None
    summary = next(element for element in reader.page.iter("div") if element.get("class") == "faults")
    assert any(link.get("href") == f"#{field}" for link in summary.iter("a"))
    for name, value in typed.items():
        fields = [e for e in reader.page.iter() if e.get("name") == name]
        assert any(
            e.get("value") == value or any(o.get("value") == value and o.get("selected") is not None for o in e)
            for e in fields
        )


def test_two_tabs_on_different_steps_do_not_undo_each_other(client: Client) -> None:
    first = at_the_kit(client)
    base = first.address.removesuffix("/kit")
    left, right = Reader(client).open(f"{base}/you"), Reader(client).open(f"{base}/where")
    left.press("next", mass_kg="92")
    right.press("next", usual_wind_kn="20")
    assert Reader(client).open(f"{base}/you").by_id("mass_kg").get("value") == "92"
    assert Reader(client).open(f"{base}/where").by_id("usual_wind_kn").get("value") == "20"


MASSES = [  # 1 lb is 0.45359237 kg exactly (International yard and pound agreement, 1959); 12 st 8 lb are 176 lb.
    ("kg", "79.5", "", 79.5, "79.5 kg"),
    ("lb", "175", "", 79.37866475, "175 lb"),
    ("st", "12", "8", 79.83225712, "12 st 8 lb"),
]


@pytest.mark.parametrize(("unit", "mass", "pounds", "in_kg", "said"), MASSES)
def test_mass_is_taken_in_kilograms_pounds_and_stones_and_said_in_the_same(
    client: Client, shop: Shop, unit: str, mass: str, pounds: str, in_kg: float, said: str
) -> None:
    reader = started(client).press(
        "next", mass_kg=mass, mass_unit=unit, mass_pounds=pounds, to_feet="average", fitness="fair"
    )
    reader.press("kit", board_background="some", foil_stage="none")
    assert f"Sized for {said}," in reader.text
    assert f"pulls {said} up" in reader.text
    with shop.reading() as work:
        draft = read_draft(work, reader.address.split("/")[-2])
    assert draft.answers["mass_kg"] == pytest.approx(in_kg, rel=1e-12)
    back = Reader(client).open(reader.address.replace("/kit", "/you"))
    assert back.by_id("mass_kg").get("value") == mass
    assert back.by_id("mass_pounds").get("value") == pounds


def test_gear_that_is_kept_and_traded_comes_back_into_the_form_as_it_was_typed(client: Client) -> None:
    reader = at_the_kit(client)
    typed = {
        "keeps-mast-0-length_cm": "72",
        "keeps-mast-0-track": "twin-track",
        "keeps-mast-0-mount": "cone",
        "keeps-hand_wing-0-area_m2": "6",
        "keeps-hand_wing-1-area_m2": "3.5",
        "trades-0-slot": "hand_wing",
        "trades-0-price_new": "900.50",
        "trades-0-months": "30",
        "trades-0-condition": "worn",
        "trades-0-faults": "leaking_bladder",
    }
    gear = reader.address.replace("/kit", "/gear")
    reader.open(gear).press("kit", **typed)
    assert reader.address.endswith("/kit")
    assert "your own mast" in reader.text
    assert "makes it unsafe to sell on" in reader.text
    again = Reader(client).open(gear)
    for name, value in typed.items():
        found = [e for e in again.page.iter() if e.get("name") == name]
        assert any(
            (e.get("value") == value and (e.get("type") != "checkbox" or e.get("checked") is not None))
            or any(o.get("value") == value and o.get("selected") is not None for o in e)
            for e in found
        ), name


def test_a_lapsed_quote_is_still_shown_and_says_so(client: Client, clock: Clock) -> None:
    quote = at_the_kit(client).press("Keep this quote")
    clock.forward(days=15)
    assert "The price was good until 9 December 2026" in Reader(client).open(quote.address).text


def test_a_draft_unused_for_longer_than_the_policy_keeps_it_is_gone_with_words_that_help(
    client: Client, clock: Clock
) -> None:
    reader = at_the_kit(client)
    clock.forward(days=31)
    gone = Reader(client).open(reader.address)
    assert gone.status == 404
    assert "Start again" in gone.text


def test_pages_with_answers_are_private_and_not_indexed_and_send_no_referrer(client: Client) -> None:
    reader = at_the_kit(client)
    quote = Reader(client).open(reader.address).press("Keep this quote")
    for page in (reader, quote):
        assert page.headers["cache-control"].startswith("private")
        assert "noindex" in page.headers["x-robots-tag"]
        assert page.headers["referrer-policy"] == "no-referrer"


def test_who_keeps_a_hand_wing_is_offered_one_for_stronger_wind_beside_it(client: Client) -> None:
    reader = at_the_kit(client)
    reader.open(reader.address.replace("/kit", "/gear")).press("kit", **{"keeps-hand_wing-0-area_m2": "5.5"})
    assert reader.row("Kit discount, 16 %").startswith("−€")
    button = next(b for b in reader.page.iter("button") if b.get("id") == "wing-beside")
    reader.press(button.get("value", ""))
    assert reader.row("Kit discount, 22 %").startswith("−€")
    assert "is in the kit for stronger wind" in reader.text
    reader.press("leave it out")
    assert reader.row("Kit discount, 16 %").startswith("−€")


def test_no_kit_at_all_still_says_what_it_should_be_and_why_there_is_none(client: Client) -> None:
    reader = at_the_kit(client)
    reader.open(reader.address.replace("/kit", "/where")).press("kit", min_depth_m="0.5")
    assert reader.status == 200
    assert "No kit is possible today: no mast in stock" in reader.text
    assert "What your kit should be" in reader.text


def test_the_cautions_stand_on_first_kit_and_quote_page(client: Client) -> None:
    kit = at_the_kit(client)
    quote = Reader(client).open(kit.address).press("Keep this quote")
    for page in (Reader(client).open("/"), kit, quote):
        for word in (
            "qualified instructor",
            "offshore",
            "cold shock",
            "buoyancy vest",
            "bye-laws",
            "has the last word",
        ):
            assert word in page.text


def test_an_answer_that_holds_no_longer_leads_back_to_its_question(
    client: Client, shop: Shop, folder: FolderCopy
) -> None:
    reader = at_the_kit(client)
    reader.open(reader.address.replace("/kit", "/where")).press("kit", spot="Tullaveen Strand")
    folder.keep("spots.csv", lambda row: row["name"] != "Tullaveen Strand")
    with shop.writing() as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    again = Reader(client).open(reader.address)
    assert again.address.endswith("/where")
    assert "The shop lists no such name." in again.text
