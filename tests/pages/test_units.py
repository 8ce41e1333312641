"""The units chosen at the foot of a page or with the weight are remembered in one cookie, and pages are read in them."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from pydantic import SecretStr
from starlette.requests import Request

from server.app import create_app
from server.domain.catalogue import Gear
from server.domain.wind import Window
from server.persistence.engine import Place
from server.settings import Settings
from server.web import units
from server.web.render import local_path
from server.web.units import SHOP_UNITS, Units
from tests.builders_http import Client
from tests.builders_paper import opened, text_in
from tests.pages.reader import FORM, Reader, at_the_kit, parsed, started, text_of

INCHES = Units(length="in")
BEAUFORT = Units(wind="beaufort")
KMH = Units(wind="kmh")
SWITCH = "Show in these units"


def request_with(cookie: str) -> Request:
    """A request that carries a header field `Cookie`."""
    return Request({"type": "http", "headers": [(b"cookie", cookie.encode("latin-1"))]})


def quoted(client: Client) -> Reader:
    """A reader at a quote just kept."""
    return at_the_kit(client).press("Keep this quote")


@pytest.fixture
def plain_client(place: Place) -> Iterator[Client]:
    """A program that talks to a shop reached over plain http."""
    made = create_app(Settings(data=place.data, database_url=SecretStr(place.url), public_burst=0))
    with Client(made) as client:
        yield client
    made.state.shop.close()


# --- Words ----------------------------------------------------------------------------------------------------------

# Function, amount, units, words; own arithmetic from the exact factors beside the amounts.
WORDS = [
    (units.length_in, 175, SHOP_UNITS, "175 cm"),
    (units.length_in, 57.5, SHOP_UNITS, "57.5 cm"),
    (units.length_in, 175, INCHES, "68.9 in"),  # 175 / 2.54 = 68.898
    (units.length_in, 2.54, INCHES, "1.0 in"),
    (units.mass_in, 80, SHOP_UNITS, "80 kg"),
    (units.mass_in, 79.832257, SHOP_UNITS, "79.8 kg"),
    (units.mass_in, 80, Units(mass="lb"), "176 lb"),  # 80 / 0.45359237 = 176.37
    (units.mass_in, 80, Units(mass="st"), "12 st 8 lb"),
    (
        units.mass_in,
        82.5,
        Units(mass="st"),
        "13 st 0 lb",
    ),  # 181.88 lb: rounded before it is divided, never 12 st 14 lb.
    (units.wind_in, 15, SHOP_UNITS, "15 knots"),
    (units.wind_in, 15, BEAUFORT, "F4"),
    (units.wind_in, 15, KMH, "28 km/h"),  # 15 * 1.852 = 27.78
    (units.wind_beside, 15, SHOP_UNITS, "15 knots"),
    (units.wind_beside, 15, BEAUFORT, "F4 (15 knots)"),
    (units.wind_beside, 15, KMH, "28 km/h (15 knots)"),
    (units.speed_in, 7.14, SHOP_UNITS, "7.1 knots"),
    (units.speed_in, 7.14, BEAUFORT, "7.1 knots"),  # A scale of winds says nothing of a craft.
    (units.speed_in, 7.14, KMH, "13.2 km/h"),
    (units.window_in, Window(13.7, 20.8), SHOP_UNITS, "14 to 21 knots"),
    (units.window_in, Window(13.7, 20.8), BEAUFORT, "F4 to F5 (14 to 21 knots)"),
    (units.window_in, Window(11.2, 16.4), BEAUFORT, "F4 (11 to 16 knots)"),
    (units.window_in, Window(13.7, 20.8), KMH, "25 to 39 km/h (14 to 21 knots)"),
    (units.window_in, Window(20, 20), BEAUFORT, "no wind that suits"),
]


@pytest.mark.parametrize(("words_in", "amount", "chosen", "words"), WORDS)
def test_an_amount_is_said_in_the_units_chosen(words_in: object, amount: object, chosen: Units, words: str) -> None:
    assert callable(words_in)
    assert words_in(amount, chosen) == words


SENTENCES = [
    ("mast 72 cm", "mast 28.3 in"),
    ("at rest 12 of 14 cm under water", "at rest 4.7 of 5.5 in under water"),
    ("from 70 to 85 cm.", "from 27.6 to 33.5 in."),
    ("a tail of 400 cm² on 65 cm", "a tail of 400 cm² on 25.6 in"),
    ("1720 cm² lift you", "1720 cm² lift you"),
    ("175 cm · 104 litres", "68.9 in · 104 litres"),
    ("104 litres and 72.5 cm", "104 litres and 28.5 in"),
]


@pytest.mark.parametrize(("said", "in_inches"), SENTENCES)
def test_the_lengths_in_a_sentence_are_turned_and_nothing_else(said: str, in_inches: str) -> None:
    assert units.measures_said_in(said, INCHES) == in_inches
    assert units.measures_said_in(said, SHOP_UNITS) == said


def test_sizes_that_the_trade_gives_in_litres_and_areas_stay_so() -> None:
    assert units.size_in(Gear("mast", {"length_cm": 72.0}), INCHES) == "28.3 in"
    assert units.size_in(Gear("board", {"volume_l": 104.0}), INCHES) == "104 l"
    assert units.size_in(Gear("front_foil", {"area_cm2": 1720.0}), INCHES) == "1720 cm²"
    assert units.size_in(Gear("hand_wing", {"area_m2": 5.5}), INCHES) == "5.5 m²"


# --- The cookie -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cookie", "read"),
    [
        ("units=lb.in.beaufort", Units("lb", "in", "beaufort")),
        ("other=1; units=st.cm.kmh", Units("st", "cm", "kmh")),
        ("units=kg.cm.knots; __Host-units=st.cm.kmh", Units("st", "cm", "kmh")),
        ("", None),
        ("units=", None),
        ("units=lb", None),
        ("units=lb.in", None),
        ("units=lb.in.knots.more", None),
        ("units=in.lb.knots", None),
        ("units=kg.cm.mph", None),
        ("units=<b>.cm.knots", None),
        ("units=\xff.cm.knots", None),
        ("units=" + "kg." * 3000, None),
    ],
)
def test_a_cookie_that_says_anything_odd_is_none(cookie: str, read: Units | None) -> None:
    assert units.remembered(request_with(cookie)) == read
    assert units.units_of(request_with(cookie)) == (read or Units("kg", "cm", "knots"))


def test_a_choice_is_remembered_for_a_year_in_a_cookie_that_holds_nothing_else(client: Client) -> None:
    reader = Reader(client).open("/privacy")
    address, body = reader.sending(SWITCH, units__mass="lb", units__length="in", units__wind="beaufort")
    answer = client.post(address, content=body, headers=FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, "/privacy")
    [cookie] = answer.headers.get_list("set-cookie")
    name, *rules = cookie.split("; ")
    assert name == "__Host-units=lb.in.beaufort"
    # RFC 6265bis, 4.1.2; this shop is reached over https.
    assert {rule.lower() for rule in rules} == {"max-age=31536000", "path=/", "samesite=lax", "secure", "httponly"}
    reader.open("/")
    chosen = {
        select.get("name"): option.get("value")
        for select in reader.page.iter("select")
        for option in select.iter("option")
        if option.get("selected") is not None
    }
    assert chosen == {"units-mass": "lb", "units-length": "in", "units-wind": "beaufort"}


def test_no_page_sets_a_cookie_before_units_are_chosen(client: Client) -> None:
    reader = started(client)
    assert "set-cookie" not in reader.headers
    posted = client.post(
        reader.address, content=b"mass_kg=80&mass_unit=kg&to_feet=slow&fitness=fair&go=next", headers=FORM
    )
    assert posted.status_code == 303
    assert "set-cookie" not in posted.headers
    for address in ("/", "/privacy", "/nothing"):
        assert "set-cookie" not in client.get(address).headers


def test_over_plain_http_the_cookie_is_not_secure_and_every_form_still_works(plain_client: Client) -> None:
    headers = {**FORM, "Origin": "null"}
    body = b"units-mass=kg&units-length=in&units-wind=kmh&back=%2F"
    answer = plain_client.post("/units", content=body, headers=headers)
    assert "secure" not in answer.headers["set-cookie"].lower()
    headers["Cookie"] = "units=kg.in.kmh"
    assert plain_client.post("/units", content=body, headers=headers).status_code == 303
    assert plain_client.post("/drafts", headers=headers).status_code == 303


def test_units_that_do_not_exist_are_refused_and_not_remembered(client: Client) -> None:
    answer = client.post("/units", content=b"units-mass=stone&units-length=cm&units-wind=knots", headers=FORM)
    assert answer.status_code == 422
    assert "set-cookie" not in answer.headers
    assert "Accepted: one of: kg, lb, st." in text_of(parsed(answer.text))


# --- The way back ---------------------------------------------------------------------------------------------------

ELSEWHERE = [
    "",
    "https://elsewhere.example/",
    "//elsewhere.example/",
    "/\\elsewhere.example",
    "\\\\elsewhere.example",
    "/\t/elsewhere.example",
    "/\r\nSet-Cookie: a=b",
    " //elsewhere.example",
    "javascript:alert(1)",
    "elsewhere",
    "/" + "x" * 3000,
    "/é",
]


@pytest.mark.parametrize("back", ELSEWHERE)
def test_the_way_back_never_leads_to_another_site(client: Client, back: str) -> None:
    assert local_path(back) == "/"
    fields = {"units-mass": "kg", "units-length": "cm", "units-wind": "knots", "back": back}
    answer = client.post("/units", data=fields)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")


def way_back_on(reader: Reader) -> str:
    """Where the form at the foot of a page would return to."""
    return next(field.get("value", "") for field in reader.page.iter("input") if field.get("name") == "back")


def test_the_form_returns_to_the_page_it_stands_on(client: Client) -> None:
    reader = at_the_kit(client)
    assert way_back_on(reader) == reader.address
    with_parts = f"{reader.address}?sku=A%26B&changed=board"
    assert way_back_on(reader.open(with_parts)) == with_parts
    reader.press(SWITCH, units__length="in")
    assert (reader.status, reader.address) == (200, with_parts)
    assert way_back_on(reader.open("/nothing/%00%3Cb%3E")) == "/nothing/%00%3Cb%3E"


def test_from_a_page_that_answered_a_form_it_returns_to_one_that_can_be_asked_for(client: Client) -> None:
    reader = started(client)
    step = reader.address
    reader.press("next", mass_kg="heavy")
    assert reader.status == 422
    assert way_back_on(reader) == step
    reader = quoted(client)
    own = reader.address
    reader.press("Ask to hold these parts", name="")
    assert reader.status == 422
    assert way_back_on(reader) == own


# --- Pages ----------------------------------------------------------------------------------------------------------


def test_a_quote_is_read_in_the_units_chosen_and_its_paper_stays_in_the_shops(client: Client) -> None:
    reader = quoted(client)
    lengths = re.findall(r"(\d+(?:\.\d+)?) cm\b(?!²)", reader.text)
    assert lengths
    assert "knots as forecast" in reader.text
    in_cm = reader.text
    paper = text_in(opened(client.get(f"{reader.address}/pdf").content))
    assert f"{lengths[0]}cm" in paper
    reader.press(SWITCH, units__length="in", units__wind="beaufort")
    assert not re.search(r"\d cm\b(?!²)", reader.text)
    assert f"{float(lengths[0]) / 2.54:.1f} in" in reader.text
    assert re.search(r"F\d to F\d \(\d+ to \d+ knots\) as forecast", reader.text)
    assert "Your usual wind: F4 (15 knots)." in reader.text
    reader.press(SWITCH, units__wind="kmh")
    assert re.search(r"\d+ to \d+ km/h \(\d+ to \d+ knots\) as forecast", reader.text)
    assert "Your usual wind: 28 km/h (15 knots)." in reader.text
    assert text_in(opened(client.get(f"{reader.address}/pdf").content)) == paper
    reader.press(SWITCH, units__length="cm", units__wind="knots")
    assert reader.text == in_cm


def test_the_panel_beside_the_questions_says_sizes_in_the_units_chosen(client: Client) -> None:
    reader = at_the_kit(client)
    reader.press(SWITCH, units__length="in").open(reader.address.replace("/kit", "/where"))
    panel = text_of(reader.by_id("panel"))
    assert re.search(r"\d+\.\d in .*; asked for \d+\.\d in", panel)
    assert not re.search(r"\d cm\b(?!²)", panel)
    assert "riding wind about 15 knots" in reader.text or "riding wind about 16 knots" in reader.text
    reader.press(SWITCH, units__wind="beaufort")
    assert "riding wind about F4" in reader.text


# --- The mass -------------------------------------------------------------------------------------------------------


def mass_unit_on(reader: Reader) -> list[str | None]:
    """The unit ticked beside the weight."""
    radios = (field for field in reader.page.iter("input") if field.get("name") == "mass_unit")
    return [radio.get("value") for radio in radios if radio.get("checked") is not None]


def test_a_new_draft_begins_in_the_unit_of_mass_remembered(client: Client) -> None:
    assert mass_unit_on(started(client)) == ["kg"]
    Reader(client).open("/").press(SWITCH, units__mass="st")
    assert mass_unit_on(started(client)) == ["st"]


def test_the_unit_that_a_mass_is_given_in_is_remembered_with_the_others(client: Client) -> None:
    Reader(client).open("/").press(SWITCH, units__length="in", units__wind="kmh")
    reader = started(client)
    address, body = reader.sending("next", mass_kg="176", mass_unit="lb", to_feet="slow", fitness="fair")
    answer = client.post(address, content=body, headers=FORM)
    assert "units=lb.in.kmh" in answer.headers["set-cookie"]
    assert mass_unit_on(started(client)) == ["lb"]


def test_a_mass_given_before_is_shown_in_the_unit_chosen_since_and_stays_the_same_mass(client: Client) -> None:
    reader = started(client).press("next", mass_kg="80", to_feet="slow", fitness="fair")
    step = reader.address.replace("/flying", "/you")
    reader.open(step).press(SWITCH, units__mass="lb")
    assert mass_unit_on(reader) == ["lb"]
    typed = reader.by_id("mass_kg").get("value", "")
    # Own arithmetic: 80 / 0.45359237 = 176.37 lb.
    assert typed == "176.4"
    answer = client.post(step, content=f"mass_kg={typed}&mass_unit=lb&to_feet=slow&go=next".encode(), headers=FORM)
    assert "set-cookie" not in answer.headers, "nothing was chosen anew"


def test_pages_are_kept_apart_by_their_cookie(app: FastAPI) -> None:
    # RFC 9110, 12.5.5: what an answer was chosen by stands in Vary.
    with Client(app) as client:
        assert "Cookie" in client.get("/").headers["vary"]


def test_a_comparison_and_a_shared_kit_are_said_in_the_chosen_units_too(client: Client) -> None:
    first = at_the_kit(client)
    shared = first.address.replace("/kit", "/shared")
    second = first.press("Share with a second rider")
    other = next(
        link for link in re.findall(r"/drafts/[\w-]+/you", second.html) if link.split("/")[2] not in first.address
    )
    rider = Reader(client).open(other)
    rider.press("next", mass_kg="72", to_feet="quick", fitness="fair")
    rider.press("kit", board_background="some", foil_stage="none")
    quotes = [Reader(client).open(shared.replace("/shared", "/kit")).press("Keep this quote").address for _ in range(2)]
    beside = f"{quotes[0]}/beside/{quotes[1].rsplit('/', 1)[1]}"
    for address in (shared, beside):
        assert "72 cm" in Reader(client).open(address).text
    for address in (shared, beside):
        inches = client.get(address, headers={"cookie": "units=kg.in.knots"}).text
        assert "28.3 in" in inches  # 72 cm ÷ 2.54 cm, the inch of 1959.
        assert "72 cm" not in inches
