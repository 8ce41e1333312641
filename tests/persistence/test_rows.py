"""From row to domain value and back nothing is lost: parts, moments, lessons, drafts, quotes, policy, the whole catalogue."""

from __future__ import annotations

import json
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.exc import StatementError

from server.domain.catalogue import Catalogue, Gear, Part
from server.domain.deposits import Entry, PaidLesson
from server.domain.drafts import Draft
from server.domain.errors import Unreadable
from server.domain.policy import Policy, policy_from
from server.domain.prices import Markdown, PricePoint
from server.domain.quotes import freeze
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS
from server.domain.stock import Movement
from server.persistence.catalogue import (
    load_catalogue,
    part_from,
    row_from,
    save_price_points,
)
from server.persistence.deposits import load_lessons, save_lesson
from server.persistence.engine import Place
from server.persistence.folder import read_folder
from server.persistence.learner import load_draft, save_draft
from server.persistence.policies import terms_as_text, terms_in_force
from server.persistence.quotes import quote_from, record_from
from server.persistence.stock import load_on_hand, save_movements
from server.persistence.tables import DraftRow
from server.usecases.fit import fitter_for
from server.usecases.opening import SEED, open_shop
from server.usecases.work import Shop
from tests.builders_shop import NOON, WING_OF_ONES_OWN, learner

in_columns = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=20)
"""What PostgreSQL takes for a text of its own; within JSON every sign may stand."""
texts = st.text(max_size=20)
cents = st.integers(1, 100_000_00)
days = st.dates(date(2000, 1, 1), date(2100, 1, 1))
measures = st.dictionaries(texts, st.floats(allow_nan=False, allow_infinity=False) | texts, max_size=6)
markdowns = st.none() | st.builds(Markdown, cents, st.none() | days)
parts = st.builds(
    Part,
    sku=texts,
    name=texts,
    maker=texts,
    gtin=texts,
    price=cents,
    cost=cents,
    gear=st.builds(Gear, st.sampled_from(CORE_SLOTS + EXTRA_SLOTS), measures),
    sold=st.booleans(),
    markdown=markdowns,
    retired=st.booleans(),
)
zones = st.integers(-14 * 60, 14 * 60).map(lambda minutes: timezone(timedelta(minutes=minutes)))
WITHOUT_A_ZONE = NOON.replace(tzinfo=None)
moments = st.datetimes(WITHOUT_A_ZONE.replace(year=2000), WITHOUT_A_ZONE.replace(year=2100), timezones=zones)


@given(parts)
def test_a_part_comes_back_from_its_row(part: Part) -> None:
    assert part_from(row_from(part)) == part


@given(parts)
def test_a_row_comes_back_from_its_part(part: Part) -> None:
    row = row_from(part)
    assert row_from(part_from(row)).model_dump() == row.model_dump()


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30)
@given(moments)
def test_a_moment_comes_back_as_the_same_instant_in_utc(shop: Shop, moment: datetime) -> None:
    with shop.writing() as work:
        save_draft(work.session, Draft("one", moment, moment))
        work.session.expunge_all()
        row = work.session.get_one(DraftRow, "one")
    assert row.started_at == moment
    assert row.started_at.tzinfo is UTC


def test_a_moment_without_a_zone_is_refused(shop: Shop) -> None:
    with shop.writing() as work, pytest.raises(StatementError, match="a moment needs a time zone"):
        save_draft(work.session, Draft("one", WITHOUT_A_ZONE, NOON))


def test_a_question_with_a_moment_without_a_zone_is_refused(shop: Shop) -> None:
    with shop.reading() as work, pytest.raises(StatementError, match="a moment needs a time zone"):
        load_draft(work.session, "one", WITHOUT_A_ZONE)


json_values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=30)
@given(
    st.dictionaries(texts, json_values, max_size=4),
    st.lists(texts, max_size=6),
    st.none() | in_columns,
    st.none() | in_columns,
)
def test_a_draft_comes_back(
    shop: Shop, answers: dict[str, Any], picks: list[str], revises: str | None, joined: str | None
) -> None:
    draft = Draft("one", NOON, NOON + timedelta(hours=1), answers, tuple(picks), "lb", revises, joined)
    with shop.writing() as work:
        save_draft(work.session, draft)
        work.session.expunge_all()
        assert load_draft(work.session, "one", NOON) == draft


def test_a_paid_lesson_comes_back_with_its_ledger_in_order(shop: Shop) -> None:
    lesson = PaidLesson(
        "16JD16JD",
        "private",
        date(2026, 11, 20),
        "taken",
        (
            Entry("16JD16JD", "paid", 11500, date(2026, 11, 1)),
            Entry("16JD16JD", "given_back", 11500, date(2026, 11, 21), "QUOTE"),
            Entry("16JD16JD", "charged_again", 11500, date(2026, 11, 22), "QUOTE"),
        ),
    )
    with shop.writing() as work:
        save_lesson(work.session, lesson, work.now, "test")
        work.commit()
    with shop.reading() as work:
        assert load_lessons(work.session, ["16JD16JD", "NOTHERE0"]) == {"16JD16JD": lesson}
        assert load_lessons(work.session, []) == {}


@pytest.mark.parametrize(
    "answers",
    [
        learner(),
        learner(foil_stage="long_flights", keeps=[WING_OF_ONES_OWN], spot="Tullaveen Strand"),
        learner(
            mass_kg=136,
            extras=["helmet", "wetsuit"],
            trades=[{"slot": "board", "price_new": 90000, "months": 14, "condition": "good", "faults": ["cracked"]}],
        ),
    ],
    ids=["a whole kit", "a kept hand wing", "a trade and unmet demand"],
)
def test_a_quote_comes_back_from_its_record(shop: Shop, answers: dict[str, Any]) -> None:
    with shop.reading() as work:
        fitter = fitter_for(work, answers)
        kit = fitter.recommended()
        assert kit is not None
        quote = freeze(fitter, kit, answers, code="16JD16JD", token="t", revision=1, issued_at=work.now)
    assert quote_from(record_from(quote)) == quote


@pytest.mark.parametrize("record", ["", "{}", "[]", '{"code": "16JD16JD"}', "\x00"])
def test_a_record_of_another_kind_is_unreadable_and_says_so(record: str) -> None:
    with pytest.raises(Unreadable, match="cannot be read"):
        quote_from(record)


decimals = st.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9)


@given(st.dictionaries(texts, decimals | st.integers() | st.booleans() | texts | st.lists(decimals, max_size=3)))
def test_the_terms_of_a_policy_keep_every_decimal_exact(terms: dict[str, Any]) -> None:
    def as_written(value: Any) -> Any:
        if isinstance(value, list):
            return [as_written(inner) for inner in value]
        return str(value) if isinstance(value, Decimal) else value

    assert json.loads(terms_as_text(terms)) == {name: as_written(value) for name, value in terms.items()}


def test_terms_hold_nothing_that_is_no_term() -> None:
    with pytest.raises(TypeError, match="date is no term"):
        terms_as_text({"shop": {"since": date(2026, 11, 25)}})


def test_a_policy_read_from_the_database_is_the_one_in_the_file(shop: Shop) -> None:
    found = read_folder(SEED, Catalogue({}), None)
    with shop.reading() as work:
        terms = terms_in_force(work.session, work.now)
        assert terms is not None
        assert policy_from(terms) == found.policy
        assert work.catalogue.policy.trade_in.share == Decimal("0.50")


def test_a_catalogue_comes_back_as_the_folder_says_it(shop: Shop) -> None:
    found = read_folder(SEED, Catalogue({}), None)
    with shop.reading() as work:
        loaded = load_catalogue(work.session, work.now)
        pieces = load_on_hand(work.session)
    assert loaded.parts == found.parts
    assert list(loaded.spots.values()) == found.spots
    assert list(loaded.lessons.values()) == found.lessons
    assert list(loaded.zones.values()) == found.zones
    assert {sku: pieces.get(sku, 0) for sku in found.on_hand} == found.on_hand
    assert {point for points in loaded.history.values() for point in points} >= set(found.history)
    assert loaded.version == 1
    assert loaded.policy.version == 1


def test_before_the_first_catalogue_there_is_an_empty_one_with_ordinary_terms(tmp_path: Path) -> None:
    with open_shop(Place(tmp_path), seeded=False).reading() as work:
        assert load_catalogue(work.session, work.now) == Catalogue({})
        assert work.catalogue.policy == Policy()
        assert terms_in_force(work.session, work.now) is None


def test_the_price_history_of_a_part_comes_back_by_day_and_a_day_is_put_right(shop: Shop) -> None:
    late, early = PricePoint("DUN-72", date(2026, 3, 1), 5), PricePoint("DUN-72", date(2020, 1, 1), 7)
    with shop.writing() as work:
        save_price_points(work.session, [late, early])
        save_price_points(work.session, [PricePoint("DUN-72", date(2020, 1, 1), 8)])
        history = load_catalogue(work.session, work.now).history["DUN-72"]
    assert list(history)[:2] == [PricePoint("DUN-72", date(2020, 1, 1), 8), late]


def test_what_is_on_hand_is_the_sum_of_the_ledger(shop: Shop) -> None:
    with shop.writing() as work:
        before = load_on_hand(work.session)["DUN-82"]
        save_movements(
            work.session, [Movement("DUN-82", "count", 4), Movement("DUN-82", "count", -6)], work.now, "test"
        )
        work.session.flush()
        assert load_on_hand(work.session)["DUN-82"] == before - 2
