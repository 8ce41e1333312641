"""Repricing under a draft policy is pricing afresh, quote by quote; and what it comes to together."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from server.domain.agreed import NOTHING_AGREED, Agreed, FreeLine, bounds_of, trade_key
from server.domain.catalogue import Catalogue, Part, Shelf
from server.domain.kits import Fitter
from server.domain.learner import read_answers
from server.domain.policy import DEFAULT_TIERS, IncludedLessons, Policy, ShopTerms, Tier, TradeInTerms
from server.domain.pricing import margin_of
from server.domain.quotes import quoted_part
from server.domain.refitting import refit
from server.domain.repricing import Quoted, Repriced, reprice
from server.domain.slots import CORE_SLOTS
from tests.domain.builders import SHOP, TODAY, extra, said, shelf, sized, trade_shelf, whole_kit
from tests.domain.random_shelves import POLICIES, case

NOON = datetime(2026, 11, 20, 12, tzinfo=UTC)
NINE = replace(DEFAULT_TIERS[0], percent=9)
BOARD_TO_TRADE = {"slot": "board", "price_new": 900_00, "months": 14, "condition": "good"}


def quoted(parts: list[Part], code: str = "HKBN04QA", agreed: Agreed = NOTHING_AGREED, **answers: Any) -> Quoted:
    """A quote of these parts for a learner of 80 kg."""
    return Quoted(code, NOON, said(**answers), {part.slot: quoted_part(part) for part in parts}, agreed)


def extras() -> list[Part]:
    """What the usual tiers include."""
    return [extra(slot, slot.upper()) for slot in DEFAULT_TIERS[0].extras]


tiers = st.lists(
    st.builds(
        Tier,
        st.sampled_from(["Whole", "Some", "Foil"]),
        st.sampled_from([CORE_SLOTS, CORE_SLOTS[1:5], ("board", "hand_wing")]),
        st.integers(1, 6),
        st.integers(0, 60),
        st.sampled_from([(), ("pump",), ("pump", "helmet")]),
        st.sampled_from([None, IncludedLessons("private", 2), IncludedLessons("group", 1)]),
    ),
    max_size=3,
).map(tuple)
shares = st.integers(0, 100).map(lambda percent: Decimal(percent) / 100)
policies = st.builds(
    Policy,
    shop=st.builds(ShopTerms, vat_percent=st.sampled_from([Decimal(0), Decimal("13.5"), Decimal(23)])),
    tiers=tiers,
    trade_in=st.builds(TradeInTerms, share=shares, handling=shares, expected_loss=shares),
    markdown_wins_ties=st.booleans(),
    margin_floor_percent=st.sampled_from([Decimal(0), Decimal(30), Decimal(60)]),
    refund_window_days=st.sampled_from([0, 10, 45]),
    staff_discount_percent=st.sampled_from([Decimal(0), Decimal(5), Decimal(40)]),
)
agreements = st.builds(
    Agreed,
    discount=st.sampled_from([0, 50_00, 900_00]),
    lines=st.sampled_from([(), (FreeLine("repair", "Patch", 40_00, 10_00),), (FreeLine("delivery", "Van", 5_00),)]),
)


@given(seed=st.integers(0, 400), draft=policies, agreed=agreements, trades=st.sampled_from([[], [BOARD_TO_TRADE]]))
def test_repricing_under_a_draft_equals_pricing_each_kit_afresh_under_it(
    seed: int, draft: Policy, agreed: Agreed, trades: list[dict[str, Any]]
) -> None:
    drawn = case(seed)
    kit = drawn.choice.recommended or drawn.choice.nearest
    assume(kit is not None and not drawn.said.keeps)
    assert kit is not None
    answers = said(trades=trades, extras=list(drawn.said.extras), deposit_codes=[one.code for one in drawn.lessons])
    parts = {slot: quoted_part(part) for slot, part in kit.bought.items()}
    paid = {one.code: one for one in drawn.lessons}
    found = reprice([Quoted("HKBN04QA", NOON, answers, parts, agreed)], drawn.shelf, draft, TODAY, paid)
    (one,) = found.quotes
    for policy, priced in ((drawn.shelf.catalogue.policy, one.before), (draft, one.after)):
        catalogue = replace(drawn.shelf.catalogue, policy=policy)
        read = read_answers(answers, catalogue)
        bounds = bounds_of(agreed, policy) if agreed.changes_price else None
        fitter = Fitter.of(read, Shelf(catalogue, drawn.shelf.free), TODAY, drawn.lessons, agreed, bounds)
        afresh = fitter.kit(kit.bought).price
        assert (priced.due, priced.discount) == (afresh.due, afresh.discount)
        assert (priced.trade_in, priced.deposit_back) == (afresh.trade_in, afresh.deposit_back)
        assert priced.delivery == afresh.delivery
        assert priced.margin == replace(margin_of(afresh, read, catalogue, agreed), costs=())


@given(seed=st.integers(0, 60), policy=st.sampled_from(POLICIES))
def test_refitting_under_a_draft_equals_the_kit_recommended_afresh_under_it(seed: int, policy: Policy) -> None:
    drawn = case(seed)
    given_answers = said(mass_kg=drawn.said.mass_kg, foil_stage=drawn.said.foil_stage)
    (one,) = refit([Quoted("HKBN04QA", NOON, given_answers, {})], drawn.shelf, policy, TODAY).learners
    catalogue = replace(drawn.shelf.catalogue, policy=policy)
    kit = Fitter.of(read_answers(given_answers, catalogue), Shelf(catalogue, drawn.shelf.free), TODAY).recommended()
    assert one.after == (None if kit is None else tuple(kit.bought[slot] for slot in CORE_SLOTS))


def repriced_one(quote: Quoted, draft: Policy, on: Shelf) -> Repriced:
    (one,) = reprice([quote], on, draft, TODAY, {}).quotes
    return one


def test_a_smaller_discount_is_what_the_customer_pays_more() -> None:
    """5,244.00 of parts at 22 and at 9 per cent: 1,153.68 and 471.96 off, by hand."""
    on = shelf(*whole_kit(), *extras())
    one = repriced_one(quoted(whole_kit()), Policy(tiers=(NINE,)), on)
    assert (one.before.discount, one.after.discount) == (1_153_68, 471_96)
    assert one.change == 1_153_68 - 471_96


def test_the_totals_are_the_sums_of_the_quotes_and_the_tiers_add_up_to_them() -> None:
    on = shelf(*whole_kit(), *extras())
    foil = [part for part in whole_kit() if part.slot in DEFAULT_TIERS[2].slots]
    quotes = [quoted(whole_kit()), quoted(foil, "0AB1CD23"), quoted(whole_kit()[:1], "9AB1CD23", delivery="collect")]
    found = reprice(quotes, on, Policy(tiers=(NINE,)), TODAY, {})
    assert found.after.due == sum(one.after.due for one in found.quotes)
    for name in ("quotes", "due", "revenue", "margin", "under_floor"):
        assert sum(getattr(row.before, name) for row in found.by_tier()) == getattr(found.before, name)
        assert sum(getattr(row.after, name) for row in found.by_tier()) == getattr(found.after, name)
    assert [row.name for row in found.by_tier()] == ["Whole kit", "Foil only", ""]
    assert (found.gaining, found.losing, found.switching) == (0, 1, 0)


def test_another_name_is_no_other_discount() -> None:
    renamed = Policy(tiers=(replace(DEFAULT_TIERS[0], name="Everything"), *DEFAULT_TIERS[1:]))
    found = reprice([quoted(whole_kit())], shelf(*whole_kit(), *extras()), renamed, TODAY, {})
    assert (found.switching, found.changed) == (0, 0)
    assert [row.name for row in found.by_tier()] == ["Everything"]


def test_the_most_changed_come_first_whichever_way_they_change() -> None:
    cheap = [replace(part, price=part.price // 2) for part in whole_kit()]
    on = shelf(*whole_kit(), *extras())
    listed = replace(
        on.catalogue,
        parts={**on.catalogue.parts, **{f"{part.sku}-C": replace(part, sku=f"{part.sku}-C") for part in cheap}},
    )
    quotes = [
        quoted([replace(part, sku=f"{part.sku}-C") for part in cheap], "0AB1CD23"),
        quoted(whole_kit()),
        quoted(whole_kit()[:1], "9AB1CD23"),
    ]
    found = reprice(quotes, Shelf(listed, on.free), Policy(tiers=(NINE,)), TODAY, {})
    assert [one.code for one in found.most_changed(5)] == ["HKBN04QA", "0AB1CD23"]


def test_a_part_that_is_gone_costs_what_was_quoted_and_its_quote_counts_in_no_margin() -> None:
    gone = whole_kit(board=sized("board", 117, "OLD-117", price=2_000_00))
    found = reprice([quoted(gone)], shelf(*whole_kit(), *extras()), Policy(tiers=()), TODAY, {})
    (one,) = found.quotes
    # Own arithmetic: 5,244.00 less the usual board's 1,899.00, and 2,000.00 for the old one.
    assert one.after.due == 5_345_00
    assert one.before.margin is None
    assert one.after.margin is None
    assert (found.of_unknown_cost, found.after.revenue, found.after.under_floor) == (1, 0, 0)


def test_a_quote_whose_answers_are_not_accepted_is_counted_and_left_out() -> None:
    found = reprice([quoted(whole_kit(), mass_kg=20)], shelf(*whole_kit()), Policy(), TODAY, {})
    assert (found.quotes, found.unreadable) == ((), 1)
    assert refit([quoted(whole_kit(), mass_kg=20)], shelf(*whole_kit()), Policy(), TODAY).unreadable == 1


def test_a_floor_is_each_policys_own() -> None:
    one = repriced_one(quoted(whole_kit()), Policy(margin_floor_percent=Decimal(90)), shelf(*whole_kit(), *extras()))
    assert (one.before.is_under_floor, one.after.is_under_floor) == (False, True)


def test_what_the_shop_valued_by_hand_stays_its_value() -> None:
    read = read_answers(said(trades=[BOARD_TO_TRADE]), SHOP)
    agreed = Agreed(values=((trade_key(read.trades[0]), 300_00),))
    one = repriced_one(
        quoted(whole_kit(), agreed=agreed, trades=[BOARD_TO_TRADE]),
        Policy(trade_in=TradeInTerms(handling=Decimal("0.9"))),
        shelf(*whole_kit(), *extras()),
    )
    assert one.before.trade_in == 300_00


def test_more_worn_mass_asks_for_a_larger_front_foil_counted_by_slot() -> None:
    heavier = replace(Policy(), fit=replace(Policy().fit, worn_kg=15.0))
    found = refit([quoted(whole_kit()), quoted(whole_kit(), "0AB1CD23")], trade_shelf(), heavier, TODAY)
    ((swap, number),) = found.by_slot()["front_foil"]
    assert (swap.before and swap.before.sku, swap.after and swap.after.sku) == ("FRONT_FOIL-1600", "FRONT_FOIL-2050")
    assert (number, found.losing, found.gaining) == (2, 0, 0)


@pytest.mark.parametrize(("cap", "losing"), [(0.01, 1), (2.5, 0)])
def test_a_learner_who_finds_no_sound_kit_any_more_is_counted(cap: float, losing: int) -> None:
    stricter = replace(Policy(), fit=replace(Policy().fit, misfit_cap=cap))
    on: Catalogue = shelf(*whole_kit()).catalogue
    found = refit([quoted(whole_kit())], Shelf(on, dict.fromkeys(on.parts, 1)), stricter, TODAY)
    assert found.losing == losing
