"""Two quotes side by side: what is between them is what arithmetic makes it, and only an address opens a quote."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any
from xml.etree.ElementTree import Element

import pytest

from server.domain.quotes import Quote
from server.domain.slots import CORE_SLOTS, SLOT_WORDS
from server.usecases.quotes import read_quote
from server.usecases.work import Shop
from server.web.guard import masked
from tests.builders_http import ADDRESS, Client
from tests.builders_shop import STRONG, WING_OF_ONES_OWN, Clock, learner
from tests.pages.reader import FORM, Reader, at_the_kit, encoded, text_of

TRADE = {"slot": "board", "price_new": 110_000, "months": 18, "condition": "good"}
LIVELY: dict[str, Any] = {
    **STRONG,
    "mass_kg": 92.5,
    "foil_stage": "turning",
    "spot": "Tullaveen Strand",
    "extras": ["helmet"],
}
PAIRS: dict[str, tuple[dict[str, Any], dict[str, Any]]] = {
    "another learner": ({}, LIVELY),
    "traded in": ({}, {"trades": [TRADE]}),
    "an own hand wing": ({}, {"keeps": [WING_OF_ONES_OWN]}),
    "a wing beside an own one": ({"keeps": [WING_OF_ONES_OWN]}, {"keeps": [WING_OF_ONES_OWN], "usual_wind_kn": 30}),
    "too little to float on": (LIVELY, {**LIVELY, "mass_kg": 70}),
    "the same": ({}, {}),
}


def kept(client: Client, **given: object) -> str:
    """The path of a quote that was kept."""
    url: str = client.told("/api/quotes", {"answers": learner(**given)}, 201)["url"]
    return url.removeprefix(ADDRESS)


def token_in(path: str) -> str:
    """The token of a quote's path."""
    return path.rsplit("/", 1)[1]


def quote_at(shop: Shop, path: str) -> Quote:
    """The quote itself."""
    with shop.reading() as work:
        return read_quote(work, token_in(path))


def beside(client: Client, one: str, other: str) -> Reader:
    """The page that shows both."""
    return Reader(client).open(f"{one}/beside/{token_in(other)}")


def rows_of(reader: Reader) -> dict[str, list[tuple[str, str]]]:
    """The table by its labels: three cells each, their figure and the quiet words under it."""
    rows = {}
    for row in reader.page.iter("tr"):
        heads, cells = [cell for cell in row if cell.tag == "th"], [cell for cell in row if cell.tag == "td"]
        if len(heads) == 1 and len(cells) == 3:
            assert heads[0].get("scope") == "row"
            rows[text_of(heads[0])] = [_figure(cell) for cell in cells]
    return rows


def _figure(cell: Element) -> tuple[str, str]:
    return " ".join((cell.text or "").split()), " ".join(text_of(small) for small in cell.iter("small"))


def number(words: str) -> Decimal:
    """The first number in words, its true minus read as one; nothing to pay and no difference are zero."""
    if words in ("same", "nothing to pay"):
        return Decimal(0)
    found = re.match(r"([+−]?)€?([\d,]+(?:\.\d+)?)", words)
    assert found is not None, words
    value = Decimal(found[2].replace(",", ""))
    return -value if found[1] == "−" else value


def euros(cents: int) -> Decimal:
    """Cents as euros."""
    return Decimal(cents) / 100


@pytest.mark.parametrize("pair", PAIRS)
def test_every_difference_is_the_second_figure_less_the_first(client: Client, pair: str) -> None:
    one, other = (kept(client, **given) for given in PAIRS[pair])
    reader = beside(client, one, other)
    assert reader.status == 200
    rows = rows_of(reader)
    for label, (first, second, between) in rows.items():
        if label == "Price good until" or label.startswith("Winds"):
            continue
        left, right = number(first[0]), number(second[0])
        if label == "To pay":
            left, right = (-value if cell[1] else value for value, cell in ((left, first), (right, second)))
        assert number(between[0]) == right - left, label
        assert (between[0] == "same") == (left == right), label


@pytest.mark.parametrize("pair", PAIRS)
def test_the_figures_are_those_of_the_quotes(client: Client, shop: Shop, pair: str) -> None:
    paths = [kept(client, **given) for given in PAIRS[pair]]
    rows = rows_of(beside(client, *paths))
    for place, quote in enumerate(quote_at(shop, path) for path in paths):
        kit = quote.kit
        for slot in CORE_SLOTS:
            word = SLOT_WORDS[slot].capitalize()
            assert number(rows[word][place][0]) == Decimal(f"{kit.gear_in(slot).size:g}")
            charged = sum(line.charged for line in kit.price.lines if line.slot == slot)
            assert number(rows[f"{word}, price"][place][0]) == euros(charged)
            if slot in kit.parts:
                assert kit.parts[slot].name in rows[word][place][1]
            if slot in kit.kept:
                assert rows[word][place][1].startswith("your own")
        assert abs(float(number(rows["Float to spare"][place][0])) - kit.float_margin_l) <= 0.05 + 1e-9
        assert abs(float(number(rows["Take-off speed"][place][0])) - kit.takeoff_kn) <= 0.05 + 1e-9
        for label, window in (("Winds, new hands", kit.winds.new), ("Winds, practised hands", kit.winds.practised)):
            words = f"{window.low:.0f} to {window.high:.0f} kn" if window.low < window.high else "none that suits"
            assert rows[label][place][0] == words
        assert number(rows["To pay"][place][0]) == euros(kit.price.balance)
        assert number(rows["Gear traded in"][place][0]) == -euros(kit.price.trade_in)


@pytest.mark.parametrize("pair", PAIRS)
def test_the_column_of_differences_adds_up_to_what_is_between_the_sums(client: Client, shop: Shop, pair: str) -> None:
    paths = [kept(client, **given) for given in PAIRS[pair]]
    rows = rows_of(beside(client, *paths))
    parts = [f"{SLOT_WORDS[slot].capitalize()}, price" for slot in CORE_SLOTS]
    lines = [*parts, "Extras and lessons", "Delivery", "Gear traded in", "Lesson deposit given back"]
    for place in range(3):
        assert sum(number(rows[label][place][0]) for label in lines) == number(rows["To pay"][place][0])
    left, right = (quote_at(shop, path).kit.price.balance for path in paths)
    assert number(rows["To pay"][2][0]) == euros(right - left)


def test_both_ends_of_the_winds_are_compared_by_the_knots_shown(client: Client, shop: Shop) -> None:
    paths = [kept(client), kept(client, mass_kg=95)]
    rows = rows_of(beside(client, *paths))
    for label in ("Winds, new hands", "Winds, practised hands"):
        first, second, between = rows[label]
        was, now = ([int(end) for end in re.findall(r"\d+", cell[0])] for cell in (first, second))
        ends = [new - old for old, new in zip(was, now, strict=True)]
        if ends == [0, 0]:
            assert between == ("same", "")
            continue
        moved = [int(end.replace("−", "-")) for end in re.findall(r"[+−]?\d+", between[0])]
        assert moved == ends
        assert between[1] == "low and high end"


def test_swapped_the_differences_are_the_other_way_round(client: Client) -> None:
    one, other = kept(client), kept(client, **LIVELY)
    there, back = rows_of(beside(client, one, other)), rows_of(beside(client, other, one))
    for label, cells in there.items():
        if not label.startswith(("Winds", "Price good")):
            assert back[label][:2] == [cells[1], cells[0]]
            assert number(back[label][2][0]) == -number(cells[2][0])


def test_the_balance_is_said_in_a_sentence(client: Client, shop: Shop) -> None:
    one, other = kept(client), kept(client, trades=[TRADE])
    left, right = quote_at(shop, one), quote_at(shop, other)
    saved = left.kit.price.balance - right.kit.price.balance
    assert saved > 0
    codes = [f"{quote.code[:4]} {quote.code[4:]}" for quote in (left, right)]
    words = f"€{saved // 100:,}.{saved % 100:02d}"
    assert f"{codes[1]} costs {words} less than {codes[0]}." in beside(client, one, other).text
    assert f"{codes[0]} costs {words} more than {codes[1]}." in beside(client, other, one).text
    assert "Both cost the same." in beside(client, one, one).text


def test_quotes_for_different_people_are_said_to_be(client: Client) -> None:
    words = "They are not sized for the same person and aim"
    assert words in beside(client, kept(client), kept(client, mass_kg=95)).text
    assert words not in beside(client, kept(client), kept(client, extras=["helmet"])).text


def test_a_lapsed_quote_is_shown_and_said_to_be_lapsed(client: Client, clock: Clock) -> None:
    one = kept(client)
    clock.forward(days=20)
    rows = rows_of(beside(client, one, kept(client)))
    assert rows["Price good until"] == [("9 December 2026", "lapsed"), ("29 December 2026", ""), ("+20 days", "")]


def test_the_newest_revision_is_the_one_compared(client: Client) -> None:
    reader = at_the_kit(client).press("Keep this quote")
    first = reader.address
    reader.press("Change my answers").press("next", mass_kg="95").press("kit").press("Keep as the next revision")
    page = beside(client, first, kept(client))
    assert "revision 2" in page.text
    assert rows_of(page)["Sized for"][0][0] == "95 kg"


# --- how the other quote is named


def compared(client: Client, path: str, other: str) -> Reader:
    """A reader who types another quote into the field on a quote's page."""
    return Reader(client).open(path).press("Side by side", other=other)


@pytest.mark.parametrize(
    "shape",
    [
        ADDRESS + "/quotes/{}",
        "  " + ADDRESS + "/quotes/{}  ",
        ADDRESS + "/quotes/{}/",
        ADDRESS + "/quotes/{}?from=mail",
        ADDRESS + "/quotes/{}#compare",
        ADDRESS + "/quotes/{}/pdf",
        "http://127.0.0.1:8000/quotes/{}",
        "slackwater.example/quotes/{}",
        "/quotes/{}",
        "{}",
    ],
)
def test_the_other_quote_is_named_by_its_address_or_the_end_of_it(client: Client, shape: str) -> None:
    one, other = kept(client), kept(client, extras=["helmet"])
    reader = compared(client, one, shape.format(token_in(other)))
    assert reader.status == 200
    assert reader.address == f"{one}/beside/{token_in(other)}"
    assert [link.get("href") for link in reader.page.iter("a") if "/quotes/" in link.get("href", "")] == [one, other]


def test_the_answer_to_the_form_is_a_way_to_the_comparison(client: Client) -> None:
    one, other = kept(client), kept(client)
    body = encoded([("other", ADDRESS + other)])
    answer = client.post(f"{one}/beside", content=body, headers=FORM)
    assert answer.status_code == 303
    assert answer.headers["location"] == f"{one}/beside/{token_in(other)}"


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("", "Nothing was given."),
        ("   ", "Nothing was given."),
        ("x" * 32, "There is no quote at this address."),
        (ADDRESS + "/quotes/" + "x" * 32, "There is no quote at this address."),
        (ADDRESS + "/drafts/" + "x" * 32 + "/kit", "There is no quote at this address."),
        (ADDRESS, "There is no quote at this address."),
        ("/quotes/../privacy", "There is no quote at this address."),
        ('%2e%2e/"><b>', "There is no quote at this address."),
        ("//elsewhere.example", "There is no quote at this address."),
        ("ünfug", "There is no quote at this address."),
    ],
)
def test_what_names_no_quote_is_said_beside_the_field_and_stays_in_it(client: Client, typed: str, words: str) -> None:
    one = kept(client)
    reader = compared(client, one, typed)
    assert reader.status == 422
    fault = text_of(reader.by_id("other-fault"))
    assert words in fault
    assert (
        f"Accepted: the address of its page, such as {ADDRESS}/quotes/…, or what stands in it after /quotes/." in fault
    )
    field = reader.by_id("other")
    assert field.get("aria-describedby") == "other-fault"
    assert field.get("aria-invalid") == "true"
    assert field.get("value") == typed.strip()
    assert "Ask to hold these parts" in reader.text


def test_the_quote_itself_is_not_another(client: Client) -> None:
    one = kept(client)
    assert "This is the quote you are looking at." in compared(client, one, ADDRESS + one).text


def test_a_code_opens_nobodys_quote_and_does_not_tell_whether_there_is_one(client: Client, shop: Shop) -> None:
    one, other = kept(client), kept(client, mass_kg=95)
    code = quote_at(shop, other).code
    said = []
    for typed in (code, code.lower(), f"{code[:4]} {code[4:]}", "HKBN 04QA"):
        reader = compared(client, one, typed)
        assert reader.status == 422
        said.append(text_of(reader.by_id("other-fault")))
        assert token_in(other) not in reader.html
        assert "95 kg" not in reader.text
    assert len(set(said)) == 1
    assert "A code alone opens no quote" in said[0]
    for path in (f"{one}/beside/{code}", f"/quotes/{code}/beside/{token_in(one)}", f"/quotes/{code}"):
        assert client.get(path).status_code == 404


def test_where_there_is_no_quote_there_is_nothing_to_compare(client: Client) -> None:
    one, nowhere = kept(client), "x" * 32
    for path in (f"{one}/beside/{nowhere}", f"/quotes/{nowhere}/beside/{token_in(one)}", f"{one}/beside/short"):
        assert client.get(path).status_code == 404
    body = encoded([("other", one)])
    assert client.post(f"/quotes/{nowhere}/beside", content=body, headers=FORM).status_code == 404


def test_the_page_is_nobody_elses_to_keep_and_both_tokens_stay_out_of_the_log(client: Client) -> None:
    one, other = kept(client), kept(client)
    path = f"{one}/beside/{token_in(other)}"
    answer = client.get(path)
    assert answer.headers["cache-control"] == "private, no-cache"
    assert answer.headers["x-robots-tag"] == "noindex, nofollow"
    assert masked(path) == "/quotes/…/beside/…"
    assert masked(f"{one}/pdf") == "/quotes/…/pdf"
