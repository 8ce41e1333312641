"""Two quotes side by side in Chromium: the form leads there, and the table fits a phone."""

from __future__ import annotations

import httpx
import pytest
from playwright.sync_api import Page, expect

from tests.builders_shop import learner

pytestmark = pytest.mark.browser


def kept(address: str, **given: object) -> str:
    """The address of a quote that was kept."""
    answer = httpx.post(f"{address}/api/quotes", json={"answers": learner(**given)})
    assert answer.status_code == 201, answer.text
    url: str = answer.json()["url"]
    return url


def test_the_form_leads_to_a_table_that_fits_the_window(page: Page, address: str) -> None:
    one, other = kept(address), kept(address, mass_kg=92.5, foil_stage="turning", to_feet="quick", extras=["helmet"])
    page.goto(one)
    page.get_by_label("Compare with another quote").fill(other)
    page.get_by_role("button", name="Side by side").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Two quotes side by side")
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    overflowing = page.locator(".side-by-side th, .side-by-side td").evaluate_all(
        "cells => cells.filter(cell => cell.scrollWidth > cell.clientWidth).map(cell => cell.textContent)"
    )
    assert overflowing == []


def test_the_qr_code_stays_dark_on_light_in_the_dark(page: Page, address: str) -> None:
    page.emulate_media(color_scheme="dark")
    page.goto(kept(address))
    code = page.get_by_role("img", name="QR code of the address of this page")
    assert code.evaluate("code => getComputedStyle(code).backgroundColor") == "rgb(255, 255, 255)"
    assert code.evaluate("code => code.complete && code.naturalWidth > 20")
