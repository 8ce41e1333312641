"""What differs between two revisions of a quote."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.changes import Change, changes_between
from server.domain.errors import InvalidInput
from server.domain.kits import Fitter
from server.domain.pricing import Line
from server.domain.quotes import Quote, freeze
from tests.domain.builders import LIVELY, TODAY, answers, extra, said, sized, trade_shelf

MAST = {"slot": "mast", "length_cm": 72, "track": "slide", "mount": "cone"}
BOARD = {"slot": "board", "price_new": 1_100_00, "months": 18, "condition": "good"}


@cache
def _shelf() -> Any:
    shelf = trade_shelf()
    more = [extra("helmet", "HELMET-1", 79_00), sized("hand_wing", 5.5, "OTHER-5.5"), sized("mast", 72, "OTHER-72")]
    parts = {**shelf.catalogue.parts, **{part.sku: part for part in more}}
    return replace(
        shelf,
        catalogue=replace(shelf.catalogue, parts=parts),
        free={**shelf.free, **{part.sku: 3 for part in more}},
    )


def quote(revision: int = 1, put: tuple[str, ...] = (), **given_answers: Any) -> Quote:
    """A quote of the recommended kit, with parts of these SKUs in place of those of their slots."""
    shelf = _shelf()
    fitter = Fitter.of(answers(shelf.catalogue, **given_answers), shelf, TODAY)
    kit = fitter.recommended()
    assert kit is not None
    if put:
        by_slot = {**kit.bought, **{shelf.catalogue.parts[sku].slot: shelf.catalogue.parts[sku] for sku in put}}
        kit = fitter.kit_of([part.sku for part in by_slot.values()])
    at = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
    return freeze(fitter, kit, said(**given_answers), code="C", token="t" * 8, revision=revision, issued_at=at)


def by_field(before: Quote, after: Quote) -> dict[str, Change]:
    """The changes by their fields, of which each is there once."""
    changes = changes_between(before, after)
    found = {change.field: change for change in changes}
    assert len(found) == len(changes)
    return found


TOLD: dict[str, tuple[dict[str, Any], dict[str, Any], dict[str, tuple[object, object]]]] = {
    "another size": ({}, {"put": ("HAND_WING-4.5",)}, {"hand_wing": ("5.5 m²", "4.5 m²")}),
    "another part of the same size is told by its name": (
        {"put": ("HAND_WING-5.5",)},
        {"put": ("OTHER-5.5",)},
        {"hand_wing": ("5.5 m², Part HAND_WING-5.5", "5.5 m², Part OTHER-5.5")},
    ),
    "a kept part": ({"put": ("MAST-72",)}, {"keeps": [MAST]}, {"mast": ("72 cm", "72 cm, your own")}),
    "measures of a kept part": (
        {"keeps": [MAST]},
        {"keeps": [{**MAST, "mass_kg": 2.5}]},
        {
            "mast": (
                "72 cm, your own (length 72.0, mount cone, track slide)",
                "72 cm, your own (length 72.0, mass 2.5, mount cone, track slide)",
            )
        },
    ),
    "weight": ({}, {"mass_kg": 80.5}, {"mass_kg": ("80 kg", "80.5 kg")}),
    "wind told of for the first time": ({}, {"usual_wind_kn": 18}, {"usual_wind_kn": ("15 knots", "18 knots")}),
    "a choice": ({}, {"foil_stage": "towed"}, {"foil_stage": ("none", "towed")}),
    "an aim": ({}, {**LIVELY}, {"setup": ("steady", "lively"), "foil_stage": ("none", "long flights")}),
    "yes and no": ({"swims_100m": True}, {"swims_100m": "no"}, {"swims_100m": ("yes", "no")}),
    "a budget": ({}, {"budget": 5_000_00}, {"budget": ("", 5_000_00)}),
    "an extra": ({}, {"extras": ["helmet"]}, {"helmet": ("", 79_00)}),
    "an extra that nobody has in stock": ({}, {"extras": ["wetsuit"]}, {"extras": ("", "wetsuit")}),
    "gear traded in": ({}, {"trades": [BOARD]}, {"trades-0-slot": ("", "board")}),
    "the age of gear traded in": (
        {"trades": [BOARD]},
        {"trades": [{**BOARD, "months": 30}]},
        {"trades-0-months": ("18 months", "30 months")},
    ),
    "what was paid for it": (
        {"trades": [BOARD]},
        {"trades": [{**BOARD, "price_new": 900_00}]},
        {"trades-0-price_new": (1_100_00, 900_00)},
    ),
    "delivery": (
        {"delivery": "deliver", "zone": "Far islands"},
        {"delivery": "collect", "zone": "Far islands"},
        {"delivery": ("deliver", "collect"), "delivery_fee": (55_00, "free")},
    ),
}


@pytest.mark.parametrize("case", TOLD)
def test_what_differs_is_told_as_it_was_and_is(case: str) -> None:
    was, now, told = TOLD[case]
    before, after = quote(**was), quote(2, **now)
    changes = by_field(before, after)
    assert {field: (changes[field].before, changes[field].after) for field in told if field in changes} == told
    due = before.kit.price.due, after.kit.price.due
    assert (("balance" in changes) and (changes["balance"].before, changes["balance"].after)) == (
        due if due[0] != due[1] else False
    )


@pytest.mark.parametrize(
    "same",
    [
        {"mass_kg": 80.0},
        {"delivery": "deliver"},
        {"swims_100m": "yes", "under_18": False},
        {"extras": []},
        {"usual_wind_kn": 15, "water": "sea", "spot": None},
    ],
    ids=str,
)
def test_an_answer_in_other_words_or_as_it_was_taken_to_be_is_no_change(same: dict[str, Any]) -> None:
    assert changes_between(quote(), quote(2, **same)) == ()


def test_a_row_of_gear_is_told_once_and_an_extra_not_as_an_answer_too() -> None:
    fields = by_field(quote(), quote(2, trades=[BOARD], extras=["helmet"]))
    assert {"trades-0-slot", "helmet", "trade_in"} <= fields.keys()
    assert not {"trades-0-months", "trades-0-price_new", "extras"} & fields.keys()


def with_price(kept: Quote, **changed: Any) -> Quote:
    """A quote whose price has other figures."""
    return replace(kept, kit=replace(kept.kit, price=replace(kept.kit.price, **changed)))


def test_sums_of_the_price_are_told_in_cents_and_what_is_taken_off_with_a_minus() -> None:
    kept = quote()
    other = with_price(kept, deposit_back=115_00, voucher=50_00, agreed_off=20_00, tier=None)
    due = kept.kit.price.due
    changes = by_field(kept, other)
    assert (changes["deposit_back"].before, changes["deposit_back"].after) == ("", -115_00)
    assert changes["voucher"].after == -50_00
    assert changes["agreed_off"].after == -20_00
    assert changes["tier"].after == ""
    assert str(changes["tier"].before).endswith("%")
    assert (changes["balance"].before, changes["balance"].after) == (due, due - 165_00)


@pytest.mark.parametrize(("moved", "is_told"), [(0, False), (1, False), (2, True), (-500, True)])
def test_the_price_of_a_part_that_stayed_is_told_where_it_moved_by_more_than_rounding(
    moved: int, is_told: bool
) -> None:
    kept = quote()
    lines = kept.kit.price.lines
    other = with_price(kept, lines=(replace(lines[0], charged=lines[0].charged + moved), *lines[1:]))
    assert (f"{lines[0].slot}-price" in by_field(kept, other)) is is_told


def test_lines_written_by_hand_are_told_by_their_labels_even_where_two_say_the_same() -> None:
    kept = quote()
    repair = Line("", "Repair of a bladder", "by_hand", 30_00, 30_00)
    other = with_price(kept, lines=(*kept.kit.price.lines, repair, replace(repair, list=40_00, charged=40_00)))
    told = [change for change in changes_between(kept, other) if change.field == "by_hand"]
    assert [(change.what, change.before, change.after) for change in told] == [
        ("Repair of a bladder", "", 30_00),
        ("Repair of a bladder", "", 40_00),
    ]


@cache
def _drawn(mass: float, put: str, given_answers: tuple[tuple[str, Any], ...]) -> Quote:
    told = dict(given_answers)
    told["keeps"] = [MAST] if told["keeps"] else []
    told["trades"] = [{**BOARD, "months": months} for months in told["trades"]]
    puts = (put,) if put and not (put.startswith("MAST") and told["keeps"]) else ()
    try:
        return quote(put=puts, mass_kg=mass, **told)
    except InvalidInput:  # A part that does not suit this learner; then the recommended kit.
        return quote(mass_kg=mass, **told)


QUOTES = st.builds(
    lambda mass, put, **given_answers: _drawn(
        mass, put, tuple(sorted(given_answers.items(), key=lambda item: item[0]))
    ),
    st.sampled_from([75, 80, 92.5]),
    st.sampled_from(["", "OTHER-5.5", "HAND_WING-5.5", "MAST-72"]),
    foil_stage=st.sampled_from(["none", "long_flights"]),
    extras=st.sampled_from([(), ("helmet",), ("helmet", "wetsuit")]),
    keeps=st.sampled_from(["", "mast"]),
    trades=st.sampled_from([(), (18,), (30, 6)]),
    delivery=st.sampled_from([None, "collect", "deliver"]),
    budget=st.sampled_from([None, 5_000_00]),
)


@given(QUOTES, QUOTES)
def test_the_other_way_round_the_same_changes_are_told_with_both_sides_swapped(one: Quote, other: Quote) -> None:
    there = changes_between(one, other)
    back = changes_between(other, one)
    assert there == tuple(replace(change, before=change.after, after=change.before) for change in back)
    assert all(change.before != change.after for change in there)
    assert changes_between(one, one) == ()
    assert there or one.kit.price.due == other.kit.price.due
