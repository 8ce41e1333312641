"""Drafts: two tabs fill one draft, an answer can be taken back, and what is too old is gone by the clock."""

from __future__ import annotations

import re

import pytest

from server.domain.errors import NotFound
from server.persistence.tables import DraftRow
from server.usecases.learner import draft_from_quote, put_parts, read_draft, save_answers, start_draft
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from tests.builders_shop import Clock, learner, number_of


def started(shop: Shop) -> str:
    """The address of a new draft."""
    with shop.writing() as work:
        return start_draft(work).token


def is_there(shop: Shop, token: str) -> bool:
    with shop.reading() as work:
        try:
            return read_draft(work, token).token == token
        except NotFound:
            return False


def test_a_draft_begins_empty_under_an_address_nobody_can_guess(shop: Shop) -> None:
    tokens = {started(shop) for _ in range(20)}
    assert len(tokens) == 20
    assert all(re.fullmatch(r"[\w-]{32}", token) for token in tokens)  # 24 bytes in base 64.
    with shop.reading() as work:
        draft = read_draft(work, tokens.pop())
    assert (draft.answers, draft.picks, draft.revises) == ({}, (), None)


def test_answers_of_two_tabs_are_merged(shop: Shop) -> None:
    token = started(shop)
    for answers in ({"mass_kg": 80}, {"water": "lake"}, {"mass_kg": 82, "budget": 5000_00}):
        with shop.writing() as work:
            save_answers(work, token, answers)
    with shop.reading() as work:
        assert read_draft(work, token).answers == {"mass_kg": 82, "water": "lake", "budget": 5000_00}


def test_none_takes_an_answer_back_and_nothing_else_does(shop: Shop) -> None:
    token = started(shop)
    with shop.writing() as work:
        save_answers(
            work, token, {"mass_kg": 80, "keeps": [], "budget": 0, "under_18": False, "spot": "Tullaveen Strand"}
        )
    with shop.writing() as work:
        save_answers(work, token, {"mass_kg": None, "spot": None})
    with shop.reading() as work:
        assert read_draft(work, token).answers == {"keeps": [], "budget": 0, "under_18": False}


def test_the_unit_of_the_mass_stays_until_another_is_chosen(shop: Shop) -> None:
    token = started(shop)
    units = []
    for unit in (None, "lb", None, "kg"):
        with shop.writing() as work:
            units.append(save_answers(work, token, {}, unit).mass_unit)
    assert units == ["kg", "lb", "lb", "kg"]


def test_parts_put_in_by_hand_stay_until_they_are_put_back(shop: Shop) -> None:
    token = started(shop)
    with shop.writing() as work:
        put_parts(work, token, ["DUN-82", "TUR-M72T"])
    with shop.writing() as work:
        save_answers(work, token, {"mass_kg": 80})
    with shop.reading() as work:
        assert read_draft(work, token).picks == ("DUN-82", "TUR-M72T")
    with shop.writing() as work:
        put_parts(work, token, [])
    with shop.reading() as work:
        assert read_draft(work, token).picks == ()
        assert read_draft(work, token).answers == {"mass_kg": 80}


def test_a_draft_is_gone_once_it_was_not_changed_for_longer_than_the_policy_keeps(shop: Shop, clock: Clock) -> None:
    token = started(shop)
    clock.forward(days=30)
    assert is_there(shop, token)
    clock.forward(seconds=1)
    assert not is_there(shop, token)
    with shop.writing() as work, pytest.raises(NotFound, match="too old"):
        save_answers(work, token, {"mass_kg": 80})


def test_every_change_keeps_a_draft_for_as_long_again(shop: Shop, clock: Clock) -> None:
    token = started(shop)
    clock.forward(days=29)
    with shop.writing() as work:
        save_answers(work, token, {"mass_kg": 80})
    clock.forward(days=29)
    with shop.writing() as work:
        put_parts(work, token, [])
    clock.forward(days=29)
    assert is_there(shop, token)
    with shop.reading() as work:
        draft = read_draft(work, token)
    assert (draft.changed_at - draft.started_at).days == 58


def test_sweeping_deletes_what_is_gone_and_nothing_else(shop: Shop, clock: Clock) -> None:
    old = [started(shop) for _ in range(3)]
    clock.forward(days=20)
    young = started(shop)
    clock.forward(days=10)
    with shop.writing() as work:
        assert sweep(work).drafts == 0
    clock.forward(seconds=1)
    with shop.writing() as work:
        assert sweep(work).drafts == len(old)
    with shop.reading() as work:
        assert number_of(work.session, DraftRow) == 1
    assert is_there(shop, young)
    with shop.writing() as work:
        assert sweep(work).is_nothing


def test_an_address_that_nobody_was_given_holds_no_draft(shop: Shop) -> None:
    with shop.reading() as work, pytest.raises(NotFound, match="no draft"):
        read_draft(work, "guessed")


def test_a_draft_of_a_quote_has_its_answers_and_knows_what_it_revises(shop: Shop) -> None:
    with shop.writing() as work:
        quote = issue_quote(work, learner(budget=9000_00))
    with shop.writing() as work:
        token = draft_from_quote(work, quote.token).token
    with shop.reading() as work:
        draft = read_draft(work, token)
    assert draft.answers == learner(budget=9000_00)
    assert draft.revises == quote.token
    assert draft.token != quote.token


def test_there_is_no_draft_of_a_quote_that_is_not_there(shop: Shop) -> None:
    with shop.writing() as work, pytest.raises(NotFound, match="no quote"):
        draft_from_quote(work, "guessed")
    with shop.reading() as work:
        assert number_of(work.session, DraftRow) == 0
