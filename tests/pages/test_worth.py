"""What the kit page says of later: the value over three years, old gear step by step, and the water of the spot."""

from __future__ import annotations

from datetime import date

import pytest

from server.usecases.work import Shop
from server.web.pages.water import water_shown
from tests.builders_http import Client
from tests.pages.reader import Reader, at_the_kit, started, text_of

YEARLY_LOSS = {
    "Board": 0.22,
    "Mast": 0.15,
    "Fuselage": 0.18,
    "Front foil": 0.18,
    "Tail": 0.18,
    "Hand wing": 0.35,
}


def cents(words: str) -> int:
    return round(100 * float(words.replace("€", "").replace(",", "")))


def rows_of_worth(reader: Reader) -> list[list[str]]:
    table = next(table for table in reader.page.iter("table") if "fetches used" in text_of(table))
    return [[text_of(cell) for cell in row if cell.tag in ("th", "td")] for row in table.iter("tr")]


def test_what_parts_fetch_used_is_a_declining_balance_of_what_they_cost(client: Client) -> None:
    """Panneerselvam, Engineering Economics, ch. 9: balance = cost × (1 − rate)^years; rates and the good condition of 0.85
    are the seed shop's policy; told to the euro."""
    header, *parts, total = rows_of_worth(at_the_kit(client))
    assert header == ["Part", "New", "12 months", "24 months", "36 months"]
    assert len(parts) == 6
    for name, new, *used in parts:
        loss = YEARLY_LOSS[name.split(",")[0]]
        for years, words in enumerate(used, start=1):
            expected = cents(new) * (1 - loss - 0.10) * (1 - loss) ** (years - 1) * 0.85
            assert cents(words) == pytest.approx(expected, abs=51)
    for column in range(1, 5):
        assert cents(total[column]) == sum(cents(row[column]) for row in parts)


def test_old_gear_is_valued_step_by_step_on_the_page(client: Client) -> None:
    reader = started(client)
    reader.press("next", mass_kg="80", to_feet="quick", fitness="fair")
    reader.press("next", board_background="some", foil_stage="none")
    reader.press("next", spot="Tullaveen Strand")
    piece = {"slot": "board", "price_new": "1100", "months": "18", "condition": "good"}
    reader.press("kit", **{f"trades-0-{name}": value for name, value in piece.items()})
    steps = next(element for element in reader.page.iter("details") if "How your board is valued" in text_of(element))
    amounts = [text_of(amount) for amount in steps.iter("dd")]
    # 1,100.00 × 0.68, × 0.78^(6/12), × 0.85, × 0.85 down to whole fives; own arithmetic.
    assert amounts == ["€1,100.00", "€748.00", "€660.62", "€561.52", "€475.00"]
    assert "firm after we have seen it" in text_of(steps)


def test_what_to_look_at_before_buying_used_is_said_without_a_scare(client: Client) -> None:
    reader = at_the_kit(client)
    assert "What it is worth later" in reader.text
    assert "Or buy used?" in reader.text
    for fault in ("seized", "corroded", "delamination", "Track box", "warranty", "valves"):
        assert fault in reader.text


def test_the_water_is_told_for_the_month_and_only_where_a_spot_is_known(shop: Shop) -> None:
    with shop.reading() as work:
        spot = work.catalogue.spots["Tullaveen Strand"]
    said = water_shown(spot, date(2026, 2, 1))
    assert said is not None
    assert spot.water_c[1] is not None
    assert said.now.startswith(f"In February the water at Tullaveen Strand is about {spot.water_c[1]:.0f} °C")
    assert "60 to 90 seconds" in said.now
    assert len(said.rows) == 12
    assert water_shown(None, date(2026, 2, 1)) is None


@pytest.mark.parametrize(("spot", "is_told"), [("Tullaveen Strand", True), ("", False)])
def test_the_kit_page_tells_the_water_of_its_spot(client: Client, spot: str, is_told: bool) -> None:
    reader = started(client)
    reader.press("next", mass_kg="80", to_feet="quick", fitness="fair")
    reader.press("next", board_background="some", foil_stage="none")
    reader.press("kit", spot=spot)
    assert ("How cold the water is" in reader.text) is is_told
