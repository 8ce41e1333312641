"""Two drafts joined: made once, undone on both sides, gone with the other; and the kit is the same whoever asks."""

from __future__ import annotations

import pytest

from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.shared import Shared
from server.persistence.tables import DraftRow
from server.usecases.learner import read_draft, save_answers, start_draft
from server.usecases.privacy import sweep
from server.usecases.shared import Pair, own_parts_of, part_drafts, put_shared, read_pair, share_draft, share_kit
from server.usecases.work import Shop
from tests.builders_shop import WING_OF_ONES_OWN, Clock, learner, number_of


def started(shop: Shop, **answers: object) -> str:
    """The address of a new draft with answers."""
    with shop.writing() as work:
        return start_draft(work, learner(**answers) if answers else {}).token


def shared_with(shop: Shop, token: str, **answers: object) -> str:
    """The address of the second rider, with answers."""
    with shop.writing() as work:
        other = share_draft(work, token).token
    if answers:
        with shop.writing() as work:
            save_answers(work, other, learner(**answers))
    return other


def pair_at(shop: Shop, token: str) -> Pair:
    with shop.reading() as work:
        return read_pair(work, token)


def test_the_second_rider_has_an_empty_draft_joined_both_ways(shop: Shop) -> None:
    token = started(shop, mass_kg=80)
    other = shared_with(shop, token)
    assert other != token
    pair, back = pair_at(shop, token), pair_at(shop, other)
    assert pair.other is not None
    assert (pair.other.token, pair.other.answers, pair.other.picks) == (other, {}, ())
    assert back.other == pair.draft
    assert (pair.is_first, back.is_first) == (True, False)
    assert pair.draft.answers == learner(mass_kg=80)


def test_sharing_again_from_either_side_finds_the_other(shop: Shop, clock: Clock) -> None:
    token = started(shop)
    clock.forward(minutes=5)
    other = shared_with(shop, token)
    assert shared_with(shop, token) == other
    assert shared_with(shop, other) == token
    with shop.reading() as work:
        assert number_of(work.session, DraftRow) == 2


def test_answering_keeps_the_two_joined_and_their_order(shop: Shop, clock: Clock) -> None:
    token = started(shop)
    other = shared_with(shop, token)
    for one in (other, token, other):
        clock.forward(days=1)
        with shop.writing() as work:
            save_answers(work, one, learner())
    pair = pair_at(shop, other)
    assert pair.other is not None
    assert pair.other.token == token
    assert not pair.is_first


@pytest.mark.parametrize("parting", ["first", "second"])
def test_parting_undoes_it_on_both_sides_and_keeps_both_drafts(shop: Shop, parting: str) -> None:
    token = started(shop, mass_kg=80)
    other = shared_with(shop, token, mass_kg=70)
    with shop.writing() as work:
        assert part_drafts(work, token if parting == "first" else other).joined is None
    for one, mass in ((token, 80), (other, 70)):
        pair = pair_at(shop, one)
        assert pair.other is None
        assert pair.draft.joined is None
        assert pair.draft.answers["mass_kg"] == mass
    with shop.writing() as work:
        assert part_drafts(work, token).joined is None


def test_who_parts_does_not_part_others(shop: Shop) -> None:
    token = started(shop)
    first_other = shared_with(shop, token)
    with shop.writing() as work:
        part_drafts(work, token)
    second_other = shared_with(shop, token)
    assert second_other != first_other
    with shop.writing() as work:
        part_drafts(work, first_other)
    pair = pair_at(shop, token)
    assert pair.other is not None
    assert pair.other.token == second_other


@pytest.mark.parametrize("is_swept", [False, True])
def test_a_draft_that_is_too_old_or_deleted_counts_as_not_joined(shop: Shop, clock: Clock, is_swept: bool) -> None:
    token = started(shop)
    other = shared_with(shop, token)
    clock.forward(days=29)
    with shop.writing() as work:
        save_answers(work, token, learner())
    clock.forward(days=2)
    if is_swept:
        with shop.writing() as work:
            assert sweep(work).drafts == 1
    with shop.reading() as work, pytest.raises(NotFound):
        read_draft(work, other)
    assert pair_at(shop, token).other is None
    again = shared_with(shop, token)
    assert again not in (token, other)
    found = pair_at(shop, token).other
    assert found is not None
    assert found.token == again


def test_no_draft_shares_nothing(shop: Shop) -> None:
    for use in (share_draft, part_drafts, read_pair):
        with shop.writing() as work, pytest.raises(NotFound):
            use(work, "guessed-address")


def test_both_riders_see_the_same_kit_once_both_have_answered(shop: Shop) -> None:
    token = started(shop, mass_kg=80)
    other = shared_with(shop, token)
    with shop.reading() as work:
        assert share_kit(work, read_pair(work, token)) is None
    shared_with(shop, token, mass_kg=68)
    with shop.reading() as work:
        mine, theirs = share_kit(work, read_pair(work, token)), share_kit(work, read_pair(work, other))
    assert mine is not None
    assert theirs is not None
    assert isinstance(mine.shared, Shared)
    assert isinstance(theirs.shared, Shared)
    assert (mine.place, theirs.place) == (0, 1)
    assert mine.shared.parts == theirs.shared.parts
    assert mine.shared.price == theirs.shared.price
    assert own_parts_of(mine)[:5] == own_parts_of(theirs)[:5]
    assert own_parts_of(mine)[5] != own_parts_of(theirs)[5]


def test_the_shared_kit_that_was_seen_is_put_on_ones_own_page_alone(shop: Shop) -> None:
    token = started(shop, mass_kg=80)
    other = shared_with(shop, token, mass_kg=68)
    with shop.reading() as work:
        together = share_kit(work, read_pair(work, other))
        assert together is not None
        seen = own_parts_of(together)
    with shop.writing() as work:
        assert put_shared(work, other, seen).picks == seen
    assert pair_at(shop, token).draft.picks == ()
    assert pair_at(shop, other).other is not None


def test_a_kit_that_has_changed_since_is_not_put(shop: Shop) -> None:
    token = started(shop, mass_kg=80)
    other = shared_with(shop, token, mass_kg=68)
    with shop.reading() as work:
        together = share_kit(work, read_pair(work, token))
        assert together is not None
        seen = own_parts_of(together)
    with shop.writing() as work:
        save_answers(work, other, {"mass_kg": 104})
    with shop.writing() as work, pytest.raises(Conflict, match="has changed"):
        put_shared(work, token, seen)
    with shop.writing() as work:
        part_drafts(work, token)
    with shop.writing() as work, pytest.raises(Conflict, match="has changed"):
        put_shared(work, token, seen)
    assert pair_at(shop, token).draft.picks == ()


def test_a_kit_on_gear_of_the_other_cannot_be_put_where_that_gear_is_not(shop: Shop) -> None:
    mast = {"slot": "mast", "length_cm": 72, "track": "deep-box", "mount": "cone"}
    token = started(shop, mass_kg=80, keeps=[mast])
    other = shared_with(shop, token, mass_kg=78)
    with shop.reading() as work:
        mine, theirs = share_kit(work, read_pair(work, token)), share_kit(work, read_pair(work, other))
        assert mine is not None
        assert theirs is not None
        assert isinstance(mine.shared, Shared)
        assert mine.shared.kept_by == {"mast": 0}
        assert len(own_parts_of(mine)) == 5
        with pytest.raises(InvalidInput, match="mast is missing"):
            own_parts_of(theirs)


def test_each_ones_own_hand_wing_stays_theirs(shop: Shop) -> None:
    token = started(shop, mass_kg=80, keeps=[WING_OF_ONES_OWN])
    other = shared_with(shop, token, mass_kg=78)
    with shop.reading() as work:
        mine, theirs = share_kit(work, read_pair(work, token)), share_kit(work, read_pair(work, other))
        assert mine is not None
        assert theirs is not None
        assert (len(own_parts_of(mine)), len(own_parts_of(theirs))) == (5, 6)
