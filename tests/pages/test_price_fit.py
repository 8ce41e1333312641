"""Fit against price on the kit page: the frontier, the kit shown, and a link to every other."""

from __future__ import annotations

from xml.etree.ElementTree import Element

from server.usecases.fit import fitter_for
from server.usecases.learner import read_draft
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.pages.reader import Reader, at_the_kit, text_of

SVG = "{http://www.w3.org/2000/svg}"


def rows_of_table(reader: Reader) -> list[Element]:
    table = next(table for table in reader.page.iter("table") if "how well they fit" in text_of(table))
    return list(table.iter("tr"))[1:]


def links_of_chart(reader: Reader) -> set[str]:
    chart = next(svg for svg in reader.page.iter(f"{SVG}svg") if "How well kits fit" in text_of(svg))
    assert chart.get("role") == "group"
    assert chart.get("aria-labelledby") or chart.get("aria-label")
    return {link.get("href", "") for link in chart.iter(f"{SVG}a")}


def test_the_table_holds_the_whole_frontier_and_marks_the_kit_shown(client: Client, shop: Shop) -> None:
    reader = at_the_kit(client)
    with shop.reading() as work:
        draft = read_draft(work, reader.address.split("/")[-2])
        frontier = fitter_for(work, draft.answers).frontier()
    rows = [[text_of(cell) for cell in row] for row in rows_of_table(reader)]
    assert [row[0] for row in rows[:-1]] == [f"€{option.price / 100:,.2f}" for option in frontier[:-1]]
    assert rows[-1][0] == f"€{frontier[-1].price / 100:,.2f}, shown"
    assert [row[1] for row in rows] == [f"{option.misfit:.2f}" for option in frontier]


def test_at_most_twelve_steps_are_links_and_each_puts_its_kit_on_the_page(client: Client) -> None:
    reader = at_the_kit(client)
    links = links_of_chart(reader)
    assert 3 <= len(links) <= 12
    in_table = {link.get("href", "") for row in rows_of_table(reader) for link in row.iter("a")}
    assert len(links - in_table) <= 1  # Of the kit shown itself the table needs no link.
    for row in rows_of_table(reader)[:3]:
        link = next(row.iter("a"))
        other = Reader(client).open(link.get("href", ""))
        shown = next(text_of(row) for row in rows_of_table(other) if "shown" in text_of(row))
        assert shown.startswith(text_of(link))


def test_a_kit_put_together_by_hand_stands_beside_the_frontier(client: Client) -> None:
    reader = at_the_kit(client)
    before = len(rows_of_table(reader))
    button = next(b for b in reader.page.iter("button") if b.get("id") == "put-tail-larger")
    reader.press(button.get("value", ""))
    assert len(rows_of_table(reader)) == before + 1
    assert "put together by hand" in reader.text
