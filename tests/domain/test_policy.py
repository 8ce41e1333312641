"""What the owner may change is read key by key; what is left out keeps the ordinary term."""

from __future__ import annotations

import re
import tomllib
from dataclasses import FrozenInstanceError, fields
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from server.domain.errors import Fault, InvalidInput
from server.domain.policy import FIXED_COLOURS, IncludedLessons, LookTerms, Policy, Tier, policy_from
from server.domain.slots import CORE_SLOTS

SEED = Path(__file__).resolve().parents[2] / "seed_catalogue" / "policy.toml"
FOIL = ("mast", "fuselage", "front_foil", "tail")


def faults_of(source: dict[str, Any]) -> list[Fault]:
    with pytest.raises(InvalidInput) as caught:
        policy_from(source)
    return list(caught.value.faults)


# --- Ordinary terms -------------------------------------------------------------------------------------------------


def test_an_empty_policy_is_the_ordinary_terms() -> None:
    assert policy_from({}) == Policy()


def test_the_policy_of_the_seed_catalogue_is_accepted() -> None:
    policy = policy_from(tomllib.loads(SEED.read_text(encoding="utf-8")), version=3)
    usual = Policy()
    assert policy.version == 3
    assert (policy.fit, policy.tiers, policy.trade_in) == (usual.fit, usual.tiers, usual.trade_in)
    assert set(policy.end_of_season_value) == {*CORE_SLOTS, "extras"}
    assert policy.end_of_season_value["mast"] == Decimal("0.75")
    assert policy.end_of_season_value["extras"] == Decimal("0.50")


def test_the_ordinary_terms_are_those_of_the_shop() -> None:
    usual = Policy()
    assert (usual.fit.worn_kg, usual.fit.reserve_l, usual.fit.misfit_cap) == (5, 5, 2.5)
    assert usual.fit.hand_wing_knots == ((50, 4.0), (70, 5.0), (100, 6.0))
    assert dict(usual.fit.weights) == {
        "board": 3,
        "front_foil": 2,
        "hand_wing": 2,
        "tail": 1,
        "mast": 1,
        "fuselage": 1,
    }
    assert (usual.refund_window_days, usual.price_good_days, usual.draft_days) == (45, 14, 30)
    assert (usual.hold_unconfirmed_hours, usual.hold_confirmed_days) == (2, 7)
    assert usual.margin_floor_percent == 5
    assert usual.markdown_wins_ties
    assert usual.shop.vat_percent == 23


def test_the_ordinary_tiers_give_more_for_more_parts() -> None:
    whole, one_kept, foil = Policy().tiers
    assert (set(whole.slots), whole.at_least, whole.percent) == (set(CORE_SLOTS), 6, 22)
    assert set(whole.extras) == {"pump", "board_leash", "wing_leash", "covers", "tool_kit"}
    assert whole.lessons == IncludedLessons("private", 3)
    assert (set(one_kept.slots), one_kept.at_least, one_kept.percent) == (set(CORE_SLOTS), 5, 16)
    assert set(one_kept.extras) == {"pump", "board_leash", "wing_leash"}
    assert one_kept.lessons == IncludedLessons("private", 1)
    assert (set(foil.slots), foil.at_least, foil.percent, foil.extras, foil.lessons) == (set(FOIL), 4, 10, (), None)


def test_the_ordinary_trade_in_loses_most_on_cloth_and_least_on_masts() -> None:
    terms = Policy().trade_in
    assert {slot: str(loss) for slot, loss in terms.yearly_loss.items()} == {
        "board": "0.22",
        "mast": "0.15",
        "fuselage": "0.18",
        "front_foil": "0.18",
        "tail": "0.18",
        "hand_wing": "0.35",
    }
    assert [terms.condition[word] for word in ("like_new", "good", "worn", "poor")] == [
        Decimal("1.0"),
        Decimal("0.85"),
        Decimal("0.6"),
        Decimal("0.3"),
    ]
    assert (terms.share, terms.first_year_extra_loss, terms.handling, terms.step) == (
        Decimal("0.50"),
        Decimal("0.10"),
        Decimal("0.15"),
        5_00,
    )


def test_the_full_tier_is_that_of_all_six_parts_with_the_highest_percentage() -> None:
    whole = Policy().full_tier
    assert whole is not None
    assert whole.percent == 22
    two = Policy(tiers=(Tier("a", CORE_SLOTS, 6, 20), Tier("b", CORE_SLOTS, 6, 25), Tier("c", CORE_SLOTS, 5, 30)))
    assert two.full_tier == Tier("b", CORE_SLOTS, 6, 25)
    assert Policy(tiers=(Tier("c", CORE_SLOTS, 5, 30),)).full_tier is None


# --- What is read ---------------------------------------------------------------------------------------------------


def test_a_key_that_is_given_wins_and_the_others_keep_the_ordinary_term() -> None:
    policy = policy_from({"fit": {"reserve_l": 8, "weights": {"board": 4}}, "deposit": {"refund_window_days": 60}})
    assert policy.fit.reserve_l == 8
    assert policy.fit.worn_kg == 5
    assert dict(policy.fit.weights)["board"] == 4
    assert dict(policy.fit.weights)["mast"] == 1
    assert policy.refund_window_days == 60


def test_tiers_are_read_whole_and_replace_the_ordinary_ones() -> None:
    tiers = [{"name": "Foil", "slots": list(FOIL), "percent": 12, "lessons": {"kind": "private", "number": 2}}]
    assert policy_from({"tiers": tiers}).tiers == (Tier("Foil", FOIL, 4, 12, (), IncludedLessons("private", 2)),)
    assert policy_from({"tiers": []}).tiers == ()


def test_money_of_a_step_is_read_in_whole_units_and_kept_in_cents() -> None:
    assert policy_from({"trade_in": {"step": 2.50}}).trade_in.step == 2_50
    assert policy_from({"trade_in": {"step": "0.01"}}).trade_in.step == 1


def test_shares_are_read_as_they_are_written_not_as_binary_fractions() -> None:
    assert policy_from({"trade_in": {"share": 0.1}}).trade_in.share == Decimal("0.1")


def test_a_policy_is_frozen() -> None:
    policy = Policy()
    with pytest.raises(FrozenInstanceError):
        policy.version = 2  # type: ignore[misc]
    with pytest.raises(TypeError):
        policy.fit.weights["board"] = 9  # type: ignore[index]


# --- What is refused ------------------------------------------------------------------------------------------------

# A policy with one thing wrong, the field its fault names.
WRONG: list[tuple[dict[str, Any], str]] = [
    ({"colour": "blue"}, "colour"),
    ({"shop": {"colour": "blue"}}, "shop.colour"),
    ({"fit": {"weights": {"pump": 1}}}, "fit.weights.pump"),
    ({"trade_in": {"yearly_loss": {"pump": 0.1}}}, "trade_in.yearly_loss.pump"),
    ({"trade_in": {"condition": {"shiny": 0.1}}}, "trade_in.condition.shiny"),
    ({"tiers": [{"percent": 10, "colour": "blue"}]}, "tiers[1].colour"),
    ({"pricing": {"colour": "blue"}}, "pricing.colour"),
    ({"deposit": {"colour": "blue"}}, "deposit.colour"),
    ({"quotes": {"colour": "blue"}}, "quotes.colour"),
    ({"ordering": {"colour": "blue"}}, "ordering.colour"),
    ({"ordering": {"end_of_season_value": {"rudder": 0.1}}}, "ordering.end_of_season_value.rudder"),
    ({"fit": 5}, "fit"),
    ({"fit": {"weights": 5}}, "fit.weights"),
    ({"fit": {"worn_kg": "heavy"}}, "fit.worn_kg"),
    ({"fit": {"worn_kg": -0.1}}, "fit.worn_kg"),
    ({"fit": {"worn_kg": 31}}, "fit.worn_kg"),
    ({"fit": {"worn_kg": True}}, "fit.worn_kg"),
    ({"fit": {"worn_kg": float("nan")}}, "fit.worn_kg"),
    ({"fit": {"reserve_l": float("inf")}}, "fit.reserve_l"),
    ({"fit": {"reserve_l": 60.1}}, "fit.reserve_l"),
    ({"fit": {"misfit_cap": 0}}, "fit.misfit_cap"),
    ({"fit": {"weights": {"board": 0}}}, "fit.weights.board"),
    ({"fit": {"hand_wing_knots": [[50, 4.0]]}}, "fit.hand_wing_knots"),
    ({"fit": {"hand_wing_knots": [[70, 5.0], [50, 4.0]]}}, "fit.hand_wing_knots"),
    ({"fit": {"hand_wing_knots": [[50, 4.0], [50, 5.0]]}}, "fit.hand_wing_knots"),
    ({"fit": {"hand_wing_knots": [[50, 4.0], [60, 4.5], [55, 5.0]]}}, "fit.hand_wing_knots"),
    ({"fit": {"hand_wing_knots": [[0.5, 4.0], [60, 4.5]]}}, "fit.hand_wing_knots"),
    ({"fit": {"hand_wing_knots": [[50, 4.0], [60, 12.5]]}}, "fit.hand_wing_knots"),
    ({"fit": {"hand_wing_knots": [[50, 4.0, 1.0], [70, 5.0]]}}, "fit.hand_wing_knots"),
    ({"fit": {"hand_wing_knots": "wide"}}, "fit.hand_wing_knots"),
    ({"tiers": 5}, "tiers"),
    ({"tiers": ["whole"]}, "tiers"),
    ({"tiers": [{"percent": 91}]}, "tiers[1].percent"),
    ({"tiers": [{"percent": -1}]}, "tiers[1].percent"),
    ({"tiers": [{"percent": 12.5}]}, "tiers[1].percent"),
    ({"tiers": [{"percent": True}]}, "tiers[1].percent"),
    ({"tiers": [{"percent": 5}, {"at_least": 7}]}, "tiers[2].at_least"),
    ({"tiers": [{"at_least": 0}]}, "tiers[1].at_least"),
    ({"tiers": [{"slots": ["mast", "pump"]}]}, "tiers[1].slots"),
    ({"tiers": [{"extras": ["mast"]}]}, "tiers[1].extras"),
    ({"tiers": [{"lessons": {"kind": "private"}}]}, "tiers[1].lessons"),
    ({"tiers": [{"lessons": {"kind": "private", "number": 0}}]}, "tiers[1].lessons"),
    ({"tiers": [{"lessons": {"kind": "private", "number": 100}}]}, "tiers[1].lessons"),
    ({"tiers": [{"lessons": {"kind": "private", "number": 1, "colour": "blue"}}]}, "tiers[1].lessons"),
    ({"tiers": [{"lessons": "private"}]}, "tiers[1].lessons"),
    ({"trade_in": {"share": [1]}}, "trade_in.share"),
    ({"trade_in": {"share": 1.01}}, "trade_in.share"),
    ({"trade_in": {"handling": -0.01}}, "trade_in.handling"),
    ({"trade_in": {"step": 0}}, "trade_in.step"),
    ({"trade_in": {"step": "many"}}, "trade_in.step"),
    # The first year's loss and the yearly loss together may not be more than all of it.
    ({"trade_in": {"yearly_loss": {"board": 0.91}}}, "trade_in.yearly_loss.board"),
    ({"trade_in": {"first_year_extra_loss": 0.5, "yearly_loss": {"board": 0.6}}}, "trade_in.yearly_loss.board"),
    ({"trade_in": {"condition": {"poor": 1.1}}}, "trade_in.condition.poor"),
    ({"pricing": {"markdown_wins_ties": "yes"}}, "pricing.markdown_wins_ties"),
    ({"pricing": {"margin_floor_percent": 101}}, "pricing.margin_floor_percent"),
    ({"deposit": {"refund_window_days": -1}}, "deposit.refund_window_days"),
    ({"deposit": {"refund_window_days": 4.5}}, "deposit.refund_window_days"),
    ({"quotes": {"draft_days": 0}}, "quotes.draft_days"),
    ({"quotes": {"hold_unconfirmed_hours": 169}}, "quotes.hold_unconfirmed_hours"),
    ({"quotes": {"hold_confirmed_days": 731}}, "quotes.hold_confirmed_days"),
    ({"quotes": {"price_good_days": 731}}, "quotes.price_good_days"),
    ({"shop": {"name": 5}}, "shop.name"),
    ({"shop": {"name": "x" * 201}}, "shop.name"),
    ({"shop": {"vat_percent": 101}}, "shop.vat_percent"),
    ({"shop": {"time_zone": "Nowhere/Nothing"}}, "shop.time_zone"),
    ({"shop": {"time_zone": "Europe"}}, "shop.time_zone"),
    ({"shop": {"time_zone": ""}}, "shop.time_zone"),
]


@pytest.mark.parametrize(("source", "field"), WRONG, ids=[f"{field} in {source}" for source, field in WRONG])
def test_what_is_unknown_or_out_of_range_is_named_with_what_is_accepted(source: dict[str, Any], field: str) -> None:
    (fault,) = faults_of(source)
    assert fault.field == field
    assert fault.message
    assert fault.accepted


def test_all_faults_of_a_policy_come_back_together() -> None:
    source = {"colour": 1, "fit": {"worn_kg": -1}, "tiers": [{"percent": 99}], "quotes": {"draft_days": 0}}
    assert {fault.field for fault in faults_of(source)} == {
        "colour",
        "fit.worn_kg",
        "tiers[1].percent",
        "quotes.draft_days",
    }


# --- The look -------------------------------------------------------------------------------------------------------

PLUM = {"accent": "#7A2E5D", "paper": "#f4f7fb", "ink": "#1b1f3b", "sand": "#e6ecf5", "dark_accent": "#f2b8d8"}


def test_the_shops_own_colours_travel_with_its_name() -> None:
    look = policy_from({"look": PLUM, "shop": {"name": "The Plum Boathouse"}}).shop.look
    assert (look.accent, look.paper, look.ink, look.dark_accent) == ("#7a2e5d", "#f4f7fb", "#1b1f3b", "#f2b8d8")
    usual = LookTerms()
    assert (look.on_accent, look.dark_paper) == (usual.on_accent, usual.dark_paper), "what is left out stays"


# Colours, the key that is named, the pair, and its contrast by WCAG 2.2 (#777777 on white as published, own arithmetic else).
TOO_FAINT = [
    ({"on_accent": "#777777", "accent": "#ffffff"}, "look.on_accent", "on_accent #777777 on accent #ffffff", "4.48"),
    ({"on_accent": "#1d6b57"}, "look.on_accent", "on_accent #1d6b57 on accent #1d6b57", "1.00"),
    ({"ink": "#fbfaf5"}, "look.ink", "ink #fbfaf5 on paper #fbfaf5", "1.00"),
    ({"paper": "#52666c"}, "look.paper", "soft #52666c on paper #52666c", "1.00"),
    ({"dark_sand": "#6fc4a8"}, "look.dark_sand", "dark_accent #6fc4a8 on dark_sand #6fc4a8", "1.00"),
]


@pytest.mark.parametrize(("look", "key", "pair", "ratio"), TOO_FAINT)
def test_text_that_would_be_too_faint_is_refused_with_the_contrast_found(
    look: dict[str, str], key: str, pair: str, ratio: str
) -> None:
    fault = next(fault for fault in faults_of({"look": look}) if fault.field == key)
    assert fault.message == f"Text in {pair} is too faint: a contrast of {ratio} to 1."
    assert "at least 4.5 to 1" in fault.accepted


def test_grey_at_the_threshold_may_be_a_button_with_white_words_and_the_next_may_not() -> None:
    # #767676 has 4.54 to 1 on white and is the lightest grey that passes; #777777 has 4.48.
    def refused(grey: str) -> set[str]:
        return {fault.field for fault in faults_of({"look": {"accent": grey, "on_accent": "#ffffff"}})}

    assert refused("#767676") == {"look.accent"}, "as words it is too faint on the tinted grounds"
    assert refused("#777777") == {"look.accent", "look.on_accent"}


@pytest.mark.parametrize("colour", ["#fff", "green", 3, ["#1d6b57"], "url(x)", "#1d6b57;}"])
def test_what_is_no_colour_is_refused(colour: object) -> None:
    [fault] = faults_of({"look": {"accent": colour}})
    assert fault.field == "look.accent"
    assert fault.accepted == "a colour as # and six hexadecimal digits, such as #1d6b57"


def test_a_misspelt_colour_is_named() -> None:
    [fault] = faults_of({"look": {"dark_papper": "#000000"}})
    assert fault.field == "look.dark_papper"


def test_the_ordinary_colours_are_those_of_the_style_sheet() -> None:
    css = (SEED.parents[1] / "static" / "slackwater.css").read_text(encoding="utf-8")
    tokens = css[css.index("@layer tokens {") : css.index("@layer base {")]
    first, rest = tokens.split("@media (prefers-color-scheme: dark) {")
    light, dark = (dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", block)) for block in (first, rest.split("@media")[0]))
    names = {"accent": "kelp", "on_accent": "on-kelp"}
    usual = {**FIXED_COLOURS, **{row.name: getattr(LookTerms(), row.name) for row in fields(LookTerms)}}
    for name, colour in usual.items():
        bare = name.removeprefix("dark_")
        assert colour == (dark if name.startswith("dark_") else light)[names.get(bare, bare)], name


# --- Ends of ranges -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "source",
    [
        {"fit": {"worn_kg": 0, "reserve_l": 60, "misfit_cap": 100}},
        {"fit": {"hand_wing_knots": [[40, 3], [60.5, 4.5], [80, 5], [120, 7]]}},
        {"tiers": [{"percent": 90, "at_least": 1}, {"percent": 0}]},
        {"trade_in": {"share": 1, "handling": 0, "yearly_loss": {"board": 0.9}}},
        {"fit": {"hand_wing_knots": [[1, 0.5], [300, 12]], "weights": {"board": 0.01, "mast": 100}}},
        {"fit": {"worn_kg": 30, "reserve_l": 0, "misfit_cap": 0.01}},
        {"tiers": [{"lessons": {"kind": "private", "number": 99}}]},
        {"deposit": {"refund_window_days": 3650}, "shop": {"name": "x" * 200}},
        {"quotes": {"draft_days": 1, "hold_unconfirmed_hours": 1, "hold_confirmed_days": 1}},
        {"quotes": {"price_good_days": 730, "hold_unconfirmed_hours": 168, "hold_confirmed_days": 730}},
        {"retention": {"contact_days": 1, "quote_days": 1}},
        {"retention": {"contact_days": 3650, "quote_days": 3650}},
        {"deposit": {"refund_window_days": 0}, "quotes": {"price_good_days": 0, "draft_days": 730}},
        {"shop": {"vat_percent": "13.5", "time_zone": "UTC"}},
    ],
)
def test_the_ends_of_every_range_are_accepted(source: dict[str, Any]) -> None:
    assert policy_from(source) != policy_from({})
