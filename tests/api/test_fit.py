"""`POST /api/fit` and `POST /api/kits`: targets, kits and prices for a learner's answers, in the shapes that are promised."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.app import create_app
from server.domain.slots import CORE_SLOTS, MEASURES
from server.persistence.folder import read_folder
from server.settings import Settings
from server.usecases.catalogue import replace_catalogue
from server.usecases.deposits import take_deposit
from server.usecases.work import Shop
from tests.builders_http import Client, check_sums, fields_of
from tests.builders_shop import NOON, STRONG, WING_OF_ONES_OWN, Clock, FolderCopy, learner
from tests.pace import examples

UNITS = {"board": "l", "mast": "cm", "fuselage": "cm", "front_foil": "cm2", "tail": "cm2", "hand_wing": "m2"}
WEIGHTS = {"board": 3, "mast": 1, "fuselage": 1, "front_foil": 2, "tail": 1, "hand_wing": 2}  # The seed's policy.
KITS = ("recommended", "nearest", "within_budget", "least_money", "next_step")


@pytest.fixture(scope="module")
def asked(seeded: Path) -> Iterator[Client]:
    """A program over the seed as it is, for questions that change nothing."""
    app = create_app(Settings(data=seeded, public_burst=0))
    app.state.shop.clock = Clock()
    with Client(app) as client:
        yield client


# --- targets


def test_a_fit_is_set_up_targets_and_notes_and_nothing_else(asked: Client) -> None:
    told = asked.told("/api/fit", learner())
    assert set(told) == {"setup", "targets", "notes"}
    assert list(told["targets"]) == list(CORE_SLOTS)
    for slot, target in told["targets"].items():
        assert set(target) == {"low", "ideal", "high", "unit", "because"}
        assert target["unit"] == UNITS[slot]
        assert target["low"] <= target["ideal"] <= target["high"]
        assert target["because"]
        assert all(isinstance(reason, str) and reason.endswith(".") for reason in target["because"])


def test_targets_are_not_rounded(asked: Client) -> None:
    # The learner and 5 kg worn and 11.5 kg of nominal kit in sea water of 1026 kg/m3, and 5 l of reserve.
    board = asked.told("/api/fit", learner())["targets"]["board"]
    assert board["low"] == pytest.approx(1000 * 96.5 / 1026 + 5, rel=1e-12)
    assert board["ideal"] == pytest.approx(104, rel=1e-12)
    assert board["high"] == pytest.approx(124.8, rel=1e-12)


def test_the_water_counts(asked: Client) -> None:
    lows = [asked.told("/api/fit", learner(water=water))["targets"]["board"]["low"] for water in ("sea", "lake")]
    assert lows == [pytest.approx(99.05, abs=0.01), pytest.approx(101.59, abs=0.01)]


@pytest.mark.parametrize(
    ("answers", "setup"),
    [
        (learner(), "steady"),
        (learner(foil_stage="long_flights"), "lively"),
        (learner(foil_stage="short_flights"), "steady"),
        (learner(foil_stage="short_flights", **STRONG), "lively"),
    ],
)
def test_the_set_up_follows_the_answers(asked: Client, answers: dict[str, Any], setup: str) -> None:
    assert asked.told("/api/fit", answers)["setup"] == asked.told("/api/kits", answers)["setup"] == setup


def test_kits_tell_the_same_targets_as_a_fit(asked: Client) -> None:
    answers = learner(keeps=[{"slot": "hand_wing", "area_m2": 7.5}])
    fit, kits = asked.told("/api/fit", answers), asked.told("/api/kits", answers)
    assert fit["targets"] == kits["targets"]
    assert fit["notes"] == kits["notes"]


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        (learner(mass_kg=121), "120 kg"),
        (learner(under_18=True), "parent or guardian"),
        (learner(swims_100m="no"), "lesson comes first"),
    ],
)
def test_what_must_be_said_is_a_note_and_no_error(asked: Client, answers: dict[str, Any], words: str) -> None:
    for path in ("/api/fit", "/api/kits"):
        assert any(words in note for note in asked.told(path, answers)["notes"])
        assert not any(words in note for note in asked.told(path, learner())["notes"])


def test_an_answer_that_is_null_is_no_answer(asked: Client) -> None:
    nothing = {"water": None, "keeps": None, "budget": None, "spot": None}
    assert asked.told("/api/fit", learner(**nothing)) == asked.told("/api/fit", learner())


def test_a_spot_brings_its_water_and_depth_and_an_answer_wins_over_its_water(asked: Client) -> None:
    shallow = {"spot": "Inverclagh Estuary"}
    kit = asked.told("/api/kits", learner(**shallow))["recommended"]
    assert any("1.2 m of water" in note for note in kit["notes"])
    assert float(kit["parts"]["mast"]["length_cm"]) / 100 + 0.35 <= 1.2
    fresh = asked.told("/api/fit", learner(water="lake", **shallow))["targets"]["board"]
    assert fresh["low"] == asked.told("/api/fit", learner(water="lake"))["targets"]["board"]["low"]


# --- kits


def test_kits_have_all_their_names_and_no_others(asked: Client) -> None:
    told = asked.told("/api/kits", learner(budget=100_000_00, **STRONG))
    assert set(told) == {"setup", "targets", *KITS, "frontier", "unmet", "notes"}
    for name in ("recommended", "within_budget", "least_money", "next_step"):
        assert told[name] is not None
    assert told["nearest"] is None


def test_a_kit_has_its_parts_with_their_measures_and_its_figures(asked: Client) -> None:
    kit = asked.told("/api/kits", learner())["recommended"]
    assert {"parts", "kept", "misfit", "misfits", "float_margin_l", "takeoff_kn", "tail_volume", "price"} <= set(kit)
    assert list(kit["parts"]) == list(kit["misfits"]) == list(CORE_SLOTS)
    assert kit["kept"] == {}
    for slot, part in kit["parts"].items():
        measures = {measure.name: measure for measure in MEASURES[slot]}
        assert {"sku", "name", "maker", "price"} <= set(part) <= {"sku", "name", "maker", "price", *measures}
        assert type(part["price"]) is int
        for name, measure in measures.items():
            if name in part:
                assert isinstance(part[name], (int, float) if measure.is_number else str)
            else:
                assert not measure.in_file


def test_the_figures_of_a_kit_follow_from_its_parts(asked: Client) -> None:
    kit = asked.told("/api/kits", learner())["recommended"]
    parts = kit["parts"]
    own = sum(parts[slot]["mass_kg"] for slot in CORE_SLOTS if slot != "hand_wing")
    mass = 80 + 5 + own
    foil, tail = parts["front_foil"], parts["tail"]
    assert kit["float_margin_l"] == pytest.approx(parts["board"]["volume_l"] - 1000 * mass / 1026)
    # The lift equation: take-off speed in m/s, and in knots of 1852 m an hour.
    speed = (2 * mass * 9.80665 / (1026 * foil["area_cm2"] / 1e4 * 0.90)) ** 0.5 * 3600 / 1852
    assert kit["takeoff_kn"] == pytest.approx(speed)
    chord = (foil["area_cm2"] / foil["aspect_ratio"]) ** 0.5
    volume = tail["area_cm2"] * parts["fuselage"]["length_cm"] / (foil["area_cm2"] * chord)
    assert kit["tail_volume"] == pytest.approx(volume)
    assert kit["misfit"] == pytest.approx(sum(WEIGHTS[slot] * kit["misfits"][slot] for slot in CORE_SLOTS))


def test_a_part_is_told_at_its_list_price_and_charged_below_it(asked: Client) -> None:
    kit = asked.told("/api/kits", learner())["recommended"]
    core = {line["slot"]: line for line in kit["price"]["lines"] if line["slot"] in CORE_SLOTS}
    assert list(core) == list(CORE_SLOTS)
    for slot, part in kit["parts"].items():
        assert (core[slot]["sku"], core[slot]["list"]) == (part["sku"], part["price"])
        assert core[slot]["charged"] < core[slot]["list"]


def test_what_comes_with_a_tier_is_worth_its_price_and_costs_nothing(asked: Client) -> None:
    price = asked.told("/api/kits", learner())["recommended"]["price"]
    assert price["tier"] == {"name": "Whole kit", "percent": 22, "discount": price["tier"]["discount"]}
    included = [line for line in price["lines"] if line["slot"] not in CORE_SLOTS]
    slots = [line["slot"] for line in included]
    assert slots == ["pump", "board_leash", "wing_leash", "covers", "tool_kit", "lesson"]
    assert all((line["list"], line["charged"], line["discount"]) == (0, 0, 0) for line in included)
    worth = {line["slot"]: line["worth"] for line in included}
    assert worth["pump"] == 59_00, "the cheapest in stock"
    assert worth["lesson"] == 3 * 115_00
    assert price["currency"] == "EUR"
    assert [share["rate"] for share in price["vat"]] == [23]


def test_wished_extras_are_lines_and_those_included_are_not_charged_twice(asked: Client) -> None:
    plain = asked.told("/api/kits", learner())["recommended"]["price"]
    told = asked.told("/api/kits", learner(extras=["helmet", "pump", "travel_bag"]))["recommended"]["price"]
    slots = [line["slot"] for line in told["lines"]]
    assert slots.count("pump") == 1
    charged = {line["slot"]: line["charged"] for line in told["lines"] if line["slot"] in ("helmet", "travel_bag")}
    assert charged == {"helmet": 89_00, "travel_bag": 139_00}
    assert told["balance"] == plain["balance"] + 89_00 + 139_00


def test_delivery_is_free_for_a_whole_kit_at_home_and_by_the_table_elsewhere(asked: Client) -> None:
    def fee(**answers: Any) -> int:
        delivery = asked.told("/api/kits", learner(**answers))["recommended"]["price"]["delivery"]
        assert type(delivery) is int
        return delivery

    assert fee() == fee(zone="Ireland") == 0
    assert fee(zone="Islands off Ireland") == 55_00
    assert fee(keeps=[WING_OF_ONES_OWN]) == 35_00
    assert fee(zone="Islands off Ireland", delivery="collect") == 0


def test_kept_gear_is_told_apart_from_what_is_bought(asked: Client) -> None:
    wing = {"slot": "hand_wing", "area_m2": 5.5}
    kit = asked.told("/api/kits", learner(keeps=[wing]))["recommended"]
    assert kit["kept"] == {"hand_wing": {"area_m2": 5.5}}
    assert list(kit["parts"]) == list(CORE_SLOTS[:-1])
    assert list(kit["misfits"]) == list(CORE_SLOTS)
    assert kit["price"]["tier"]["percent"] == 16


def test_a_kept_piece_that_cannot_be_built_on_is_bought_anew_and_a_note_says_why(asked: Client) -> None:
    told = asked.told(
        "/api/kits", learner(keeps=[{"slot": "board", "volume_l": 60, "width_cm": 60, "track": "deep-box"}])
    )
    assert "board" in told["recommended"]["parts"]
    assert any("board" in note for note in told["notes"])


def test_a_trade_in_is_an_estimate_with_its_reason_and_lowers_the_balance(asked: Client) -> None:
    trade = {"slot": "board", "price_new": 1000_00, "months": 24, "condition": "good"}
    plain = asked.told("/api/kits", learner())["recommended"]["price"]
    price = asked.told("/api/kits", learner(trades=[trade]))["recommended"]["price"]
    [told] = price["trades"]
    assert set(told) == {"slot", "base", "value", "because"}
    # 1000.00 x (1 - 0.22 - 0.10) x (1 - 0.22) x 0.85 x (1 - 0.15) = 383.21, down to a whole 5.00.
    assert (told["slot"], told["base"], told["value"]) == ("board", 1000_00, 380_00)
    assert price["trade_in"] == 380_00
    assert price["balance"] == plain["balance"] - 380_00
    assert price["vat"] == plain["vat"], "a trade-in is a supply of its own"


def test_gear_with_a_safety_fault_is_worth_nothing(asked: Client) -> None:
    trade = {"slot": "board", "price_new": 1000_00, "months": 1, "condition": "like_new", "faults": ["cracked"]}
    [told] = asked.told("/api/kits", learner(trades=[trade]))["recommended"]["price"]["trades"]
    assert told["value"] == 0
    assert "unsafe" in told["because"]


def test_a_next_step_is_for_strong_beginners_alone(asked: Client) -> None:
    told = asked.told("/api/kits", learner(**STRONG))
    later = asked.told("/api/kits", learner(**STRONG, wing_handling="some") | {"foil_stage": "long_flights"})
    assert told["setup"] == "steady"
    assert told["next_step"] == later["recommended"]
    for answers in (learner(), learner(**{**STRONG, "fitness": "fair"}), learner(**STRONG) | {"foil_stage": "turning"}):
        assert asked.told("/api/kits", answers)["next_step"] is None


def test_where_only_the_cap_is_broken_the_nearest_kit_is_told(asked: Client) -> None:
    told = asked.told("/api/kits", learner(mass_kg=144))
    assert (told["recommended"], told["least_money"], told["frontier"]) == (None, None, [])
    assert max(told["nearest"]["misfits"].values()) > 2.5  # The seed's policy.
    assert told["unmet"] == ["board"]
    assert any("talk to us" in note for note in told["notes"])


def test_no_kit_at_all_is_an_answer_of_nulls_with_a_note(asked: Client) -> None:
    told = asked.told("/api/kits", learner(mass_kg=150, budget=100_000_00))
    assert [told[name] for name in KITS] == [None] * 5
    assert told["frontier"] == []
    assert any("no board" in note for note in told["notes"])


def test_parts_that_do_not_go_together_are_named_in_the_note(client: Client, shop: Shop, folder: FolderCopy) -> None:
    folder.keep("boards.csv", lambda row: row["track"] == "deep-box")
    folder.keep("masts.csv", lambda row: row["track"] == "twin-track")
    with shop.writing() as work:
        replace_catalogue(work, read_folder(folder.path, work.catalogue, None))
    told = client.told("/api/kits", learner())
    assert [told[name] for name in KITS] == [None] * 5
    [note] = told["notes"]
    assert all(word in note for word in ("board", "mast", "track"))


def test_a_budget_is_met_by_the_balance_whatever_the_list_says(asked: Client) -> None:
    frontier = asked.told("/api/kits", learner())["frontier"]
    balances = [kit["price"]["balance"] for kit in frontier]
    assert len(frontier) > 3
    for budget, wanted in (
        (balances[0] - 1, None),
        (balances[0], 0),
        (balances[2] - 1, 1),
        (balances[2], 2),
        (9999999, -1),
    ):
        told = asked.told("/api/kits", learner(budget=budget))["within_budget"]
        assert told == (None if wanted is None else frontier[wanted])


def test_codes_of_paid_lessons_lower_the_balance(client: Client, shop: Shop) -> None:
    with shop.writing() as work:
        code = take_deposit(work, "private", 115_00, "taken", NOON.date()).code
    plain = client.told("/api/kits", learner())["recommended"]["price"]
    price = client.told("/api/kits", learner(deposit_codes=[code.lower()]))["recommended"]["price"]
    assert (plain["deposit_back"], price["deposit_back"]) == (0, 115_00)
    assert price["balance"] == plain["balance"] - 115_00
    assert price["vat"] == plain["vat"]


def test_a_known_code_that_is_not_given_back_is_a_note_and_an_unknown_one_an_error(client: Client, shop: Shop) -> None:
    with shop.writing() as work:
        code = take_deposit(work, "group", 60_00, "taken", NOON.date()).code
    price = client.told("/api/kits", learner(deposit_codes=[code]))["recommended"]["price"]
    assert price["deposit_back"] == 0
    assert any(code in note and "group" in note for note in price["notes"])
    for path in ("/api/fit", "/api/kits"):
        assert fields_of(client.faults(path, learner(deposit_codes=[code, "00000000"]))) == ["deposit_codes[1]"]


# --- what holds for every learner

kept_boards = st.fixed_dictionaries(
    {
        "slot": st.just("board"),
        "volume_l": st.integers(60, 170),
        "width_cm": st.integers(60, 85),
        "track": st.sampled_from(["twin-track", "deep-box"]),
    }
)
kept_wings = st.fixed_dictionaries({"slot": st.just("hand_wing"), "area_m2": st.integers(5, 15).map(lambda n: n / 2)})
trades = st.fixed_dictionaries(
    {
        "slot": st.sampled_from(CORE_SLOTS),
        "price_new": st.integers(0, 3000_00),
        "months": st.integers(0, 60),
        "condition": st.sampled_from(["like_new", "good", "worn", "poor"]),
    }
)
learners = st.fixed_dictionaries(
    {
        "mass_kg": st.floats(35, 160),
        "to_feet": st.sampled_from(["quick", "average", "slow"]),
        "fitness": st.sampled_from(["high", "fair", "low"]),
        "board_background": st.sampled_from(["strong", "some", "none"]),
        "foil_stage": st.sampled_from(["none", "towed", "short_flights", "long_flights", "turning"]),
    },
    optional={
        "wing_handling": st.sampled_from(["none", "some", "practised"]),
        "water": st.sampled_from(["sea", "lake"]),
        "usual_wind_kn": st.floats(6, 35),
        "min_depth_m": st.floats(0.5, 4),
        "keeps": st.tuples(st.lists(kept_boards, max_size=1), st.lists(kept_wings, max_size=2)).map(
            lambda two: two[0] + two[1]
        ),
        "trades": st.lists(trades, max_size=4),
        "extras": st.lists(st.sampled_from(["helmet", "wetsuit", "travel_bag", "buoyancy_vest"]), max_size=3),
        "delivery": st.sampled_from(["collect", "deliver"]),
        "zone": st.sampled_from(["Ireland", "European Union"]),
        "budget": st.integers(0, 15000_00),
    },
)


def core_charged(kit: dict[str, Any]) -> int:
    return sum(line["charged"] for line in kit["price"]["lines"] if line["slot"] in CORE_SLOTS)


@settings(max_examples=examples(80))
@given(learners)
def test_kits_are_ordered_priced_and_joined_as_promised_for_every_learner(
    asked: Client, answers: dict[str, Any]
) -> None:
    told = asked.told("/api/kits", answers)
    frontier = told["frontier"]
    for kit in [*frontier, *(told[name] for name in KITS if told[name])]:
        check_sums(kit["price"])
        assert set(kit["parts"]) | set(kit["kept"]) == set(CORE_SLOTS)
        assert not set(kit["parts"]) & set(kit["kept"])
        joined = {slot: kit["parts"].get(slot) or kit["kept"][slot] for slot in CORE_SLOTS}
        assert joined["board"]["track"] == joined["mast"]["track"]
        assert len({joined[slot]["mount"] for slot in ("mast", "fuselage", "front_foil", "tail")}) == 1
    for kit in frontier:
        assert max(kit["misfits"].values()) <= 2.5 + 1e-9  # The seed's policy.
    for cheaper, better in pairwise(frontier):
        assert core_charged(cheaper) < core_charged(better)
        assert cheaper["misfit"] > better["misfit"]
    assert told["recommended"] == (frontier[-1] if frontier else None)
    assert told["least_money"] == (frontier[0] if frontier else None)
    assert told["nearest"] is None or not frontier
    affordable = [kit for kit in frontier if kit["price"]["balance"] <= answers.get("budget", -1)]
    assert told["within_budget"] == (affordable[-1] if affordable else None)
    assert set(told["unmet"]) <= set(CORE_SLOTS)
    if not frontier:
        assert told["notes"]
