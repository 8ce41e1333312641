"""After the handover: warranties by the calendar, spare parts by name, sessions, and the next step against physics by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest

from server.domain import physics
from server.domain.aftercare import (
    STEP_SLOTS,
    Sessions,
    care_for,
    fault_of_question,
    fits_to,
    follow_up_days,
    kit_owned,
    next_steps,
    warranty_until,
    worth_today,
)
from server.domain.catalogue import Catalogue, Gear, Part, Shelf
from server.domain.kits import Fitter
from server.domain.learner import a_step_further, read_answers
from server.domain.sale_terms import SaleTerms
from server.domain.sales import Item
from server.domain.slots import CORE_SLOTS
from server.persistence.folder import read_folder
from server.usecases.opening import SEED
from tests.builders_shop import learner

TODAY = date(2026, 11, 28)
"""Of the handover in these tests: a kit that was received today."""


def item(slot: str, sku: str = "", charged: int = 500_00, received: date | None = TODAY) -> Item:
    return Item(1, sku, slot, slot, charged, charged, percent=Decimal(23), received_on=received)


@pytest.mark.parametrize(
    ("received", "months", "until"),
    [
        ("2026-11-28", 24, "2028-11-28"),
        (
            "2028-02-29",
            24,
            "2030-02-28",
        ),  # Regulation 1182/71, Article 3(2)(c): the last day of a month without that day.
        ("2026-08-31", 6, "2027-02-28"),
    ],
)
def test_a_warranty_ends_on_the_same_day_of_the_month(received: str, months: int, until: str) -> None:
    terms = SaleTerms(warranty_months={**SaleTerms().warranty_months, "board": months})
    assert warranty_until(item("board", received=date.fromisoformat(received)), terms) == date.fromisoformat(until)
    assert warranty_until(item("board", received=None), terms) is None


def test_a_spare_part_fits_a_part_by_its_name_or_its_maker_and_no_part_of_a_name() -> None:
    spare = Part("S", "Bolts", "W", "", 1, 1, Gear("spare", {"fits": "TUR-F62; Ringed Plover Foilworks"}))
    assert fits_to(spare, "TUR-F62", "Turnstone Foils")
    assert fits_to(spare, "PLV-X", "ringed plover foilworks")
    assert not fits_to(spare, "TUR-F6", "Plover")
    assert not fits_to(spare, "", "")


def test_care_is_told_of_what_is_owned() -> None:
    """Common practice of the trade, without a source."""
    assert [slot for slot, _ in care_for(["hand_wing", "mast", "travel_bag"])] == ["mast", "hand_wing"]
    assert {slot for slot, _ in care_for(CORE_SLOTS)} == set(CORE_SLOTS)


def test_sessions_never_fall_below_none() -> None:
    assert [Sessions(3, 1, taken).left for taken in range(4)] == [2, 1, 0, 0]


def test_a_question_is_a_text_of_some_length_and_there_are_not_too_many() -> None:
    assert fault_of_question("Is it loose?", 4) is None
    assert fault_of_question("?", 0) is not None
    assert fault_of_question("x" * 2001, 0) is not None
    assert fault_of_question("bell \a", 0) is not None
    assert fault_of_question("Is it loose?", 5) is not None


def test_follow_ups_are_due_whole_weeks_after() -> None:
    assert follow_up_days(TODAY, (1, 4)) == ((1, date(2026, 12, 5)), (4, date(2026, 12, 26)))


@pytest.fixture(scope="module")
def fitter() -> Fitter:
    """A learner of 80 kg, a step further, before the seed's shelf."""
    found = read_folder(SEED, Catalogue({}), None)
    catalogue = Catalogue(
        parts=found.parts,
        spots={spot.name: spot for spot in found.spots},
        zones={zone.zone: zone for zone in found.zones},
        policy=found.policy,
    )
    shelf = Shelf(catalogue, dict.fromkeys(found.parts, 1))
    return Fitter.of(a_step_further(read_answers(learner(), catalogue)), shelf, TODAY)


@pytest.fixture(scope="module")
def items(fitter: Fitter) -> list[Item]:
    """The parts of the kit recommended before the first flights, as they were bought."""
    first = Fitter.of(read_answers(learner(), fitter.shelf.catalogue), fitter.shelf, TODAY)
    kit = first.recommended()
    assert kit is not None
    return [
        replace(item(slot, part.sku, part.price), number=place)
        for place, (slot, part) in enumerate(kit.bought.items(), start=1)
    ]


def test_the_next_step_is_smaller_joins_and_changes_the_numbers_as_physics_says(
    fitter: Fitter, items: list[Item]
) -> None:
    steps = {step.slot: step for step in next_steps(fitter, items, TODAY)}
    assert {"fuselage", "front_foil"} <= set(steps) <= set(STEP_SLOTS)
    for slot, step in steps.items():
        before, after = step.beside.instead_of, step.beside.kit
        assert after.gear_in(slot).size < before.gear_in(slot).size
        assert not after.refusals
        assert step.difference == step.price - step.trade_in
    short, foil = steps["fuselage"].beside, steps["front_foil"].beside
    # Tail volume by hand, S_t l / (S c): only the arm is another one (Raymer, Aircraft Design, 6.5.3).
    ratio = short.kit.gear_in("fuselage").size / short.instead_of.gear_in("fuselage").size
    assert short.kit.tail_volume == pytest.approx(short.instead_of.tail_volume * ratio)
    # Take-off speed goes with the root of mass over area (lift equation): the mass differs by the foils' own.
    gear, was = foil.kit.gear_in("front_foil"), foil.instead_of.gear_in("front_foil")
    worn = (
        80
        + fitter.fitting.sizing.terms.worn_kg
        + sum(other.number("mass_kg") for other in foil.instead_of.gear_by_slot.values() if other.slot != "hand_wing")
    )
    lift = 0.5 * physics.SEA_WATER_KG_M3 * 0.90
    by_hand = math.sqrt((worn - was.number("mass_kg") + gear.number("mass_kg")) * 9.80665 / (lift * gear.size / 1e4))
    assert foil.kit.takeoff_kn == pytest.approx(by_hand * 3600 / 1852, rel=0.02)
    assert foil.kit.takeoff_kn > foil.instead_of.takeoff_kn


def test_a_smaller_board_is_one_that_still_floats_its_rider(fitter: Fitter, items: list[Item]) -> None:
    for step in next_steps(fitter, items, TODAY):
        if step.slot == "board":
            assert step.beside.kit.float_margin_l >= fitter.fitting.sizing.reserve_l


def test_without_a_whole_kit_there_is_no_next_step(fitter: Fitter, items: list[Item]) -> None:
    assert next_steps(fitter, items[1:], TODAY) == ()
    gone = [replace(one, sku="GONE-1") if one.slot == "tail" else one for one in items]
    assert kit_owned(fitter, gone) is None
    assert next_steps(fitter, gone, TODAY) == ()


def test_an_old_part_is_worth_less_by_the_month_from_what_was_paid(fitter: Fitter, items: list[Item]) -> None:
    board = next(one for one in items if one.slot == "board")
    worth = [
        worth_today(replace(board, received_on=day), fitter.shelf.catalogue, TODAY)
        for day in (date(2024, 11, 28), date(2025, 11, 28), TODAY)
    ]
    assert worth == sorted(worth)
    assert 0 < worth[0] < worth[2] <= board.charged
