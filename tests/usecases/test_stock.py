"""Setting parts aside: all or none, nothing twice, and by the clock."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from sqlmodel import select

from server.domain.errors import InvalidInput, Lapsed, NeedsTheShop, NotFound, NotFree, Outdated, TooMany
from server.domain.quotes import Quote
from server.domain.stock import Contact, free, held, on_hand
from server.persistence.stock import load_free, load_held, load_movements, load_on_hand
from server.persistence.tables import HoldRow
from server.usecases.messages import message_texts
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote, read_quote
from server.usecases.stock import agree_to_quote, book_movement, confirm_hold, list_open_holds, open_hold, release_hold
from server.usecases.work import Shop
from tests.builders_shop import Clock, learner, number_of

SOMEONE = Contact("Some One", "some.one@example.org")
OTHER = Contact("Other One", "", "+353 20 910 0199")


def kept(shop: Shop, **given: object) -> Quote:
    """A quote for the recommended kit."""
    with shop.writing() as work:
        return issue_quote(work, learner(**given))


def agreed(shop: Shop, quote: Quote, who: Contact = SOMEONE) -> None:
    """Ask to hold a quote's newest revision."""
    with shop.writing() as work:
        agree_to_quote(work, quote.token, who, quote.revision)


def free_of(shop: Shop, sku: str) -> int:
    """What can be promised of a part now."""
    with shop.reading() as work:
        return load_free(work.session, work.now).get(sku, 0)


def core_skus(quote: Quote) -> list[str]:
    """The parts of the kit itself."""
    return [part.sku for part in quote.kit.parts.values()]


def test_agreeing_sets_every_part_aside_for_the_hours_of_a_request(shop: Shop, clock: Clock) -> None:
    quote = kept(shop)
    before = {sku: free_of(shop, sku) for sku in core_skus(quote)}
    agreed(shop, quote)
    assert {sku: free_of(shop, sku) for sku in before} == {sku: pieces - 1 for sku, pieces in before.items()}
    with shop.reading() as work:
        hold = open_hold(work, quote.token)
        assert hold is not None
        assert hold.expires_at == clock.now + timedelta(hours=2)
        assert set(core_skus(quote)) <= set(hold.skus)
        assert quote.state_on(work.today, hold) == "agreed"


def test_agreeing_again_changes_nothing(shop: Shop, clock: Clock) -> None:
    quote = kept(shop)
    agreed(shop, quote)
    clock.forward(minutes=30)
    with shop.writing() as work:
        _, again = agree_to_quote(work, quote.token, OTHER, quote.revision)
    assert again.expires_at == clock.now + timedelta(minutes=90)
    with shop.reading() as work:
        assert number_of(work.session, HoldRow) == 1


def test_a_hold_frees_itself_by_the_clock_and_the_ledger_follows_with_the_sweep(shop: Shop, clock: Clock) -> None:
    quote = kept(shop)
    sku = core_skus(quote)[0]
    before = free_of(shop, sku)
    agreed(shop, quote)
    clock.forward(hours=2)
    assert free_of(shop, sku) == before
    with shop.writing() as work:
        assert sweep(work).holds == 1
    assert free_of(shop, sku) == before
    with shop.reading() as work:
        assert [entry.kind for entry in load_movements(work.session, sku)][-2:] == ["hold", "release"]
        assert load_held(work.session, work.now).get(sku, 0) == 0


def test_a_confirmed_hold_lasts_the_days_of_the_policy(shop: Shop, clock: Clock) -> None:
    quote = kept(shop)
    agreed(shop, quote)
    with shop.writing("desk") as work:
        hold = confirm_hold(work, quote.token)
        again = confirm_hold(work, quote.token)
        told = message_texts(work, f"quote:{quote.token}")
    assert hold.expires_at == clock.now + timedelta(days=7)
    assert hold == again
    assert [one.name for one in told] == ["hold_confirmed"], "confirming twice tells once"
    assert f"/quotes/{quote.token}" in told[0].text.body
    clock.forward(days=6, hours=23)
    with shop.reading() as work:
        assert open_hold(work, quote.token) is not None
    clock.forward(hours=1)
    with shop.reading() as work:
        assert open_hold(work, quote.token) is None


def test_a_request_taken_back_frees_its_parts_at_once(shop: Shop) -> None:
    quote = kept(shop)
    before = free_of(shop, core_skus(quote)[0])
    agreed(shop, quote)
    with shop.writing() as work:
        release_hold(work, quote.token, "taken back")
    assert free_of(shop, core_skus(quote)[0]) == before
    with shop.writing() as work, pytest.raises(NotFound):
        release_hold(work, quote.token, "twice")


def test_the_last_board_is_promised_once_and_the_second_is_offered_the_nearest(shop: Shop) -> None:
    first, second = kept(shop), kept(shop)
    board = first.kit.parts["board"].sku
    with shop.writing("desk") as work:
        for sku in core_skus(first):
            book_movement(work, sku, "count", 1 if sku == board else 5, "one board left")
    agreed(shop, first)
    with shop.writing() as work, pytest.raises(NotFree) as refused:
        agree_to_quote(work, second.token, OTHER, 1)
    (fault,) = refused.value.faults
    assert board in fault.message
    assert "is gone. The nearest in stock is" in fault.message
    for part in second.kit.parts.values():
        if part.slot != "board":
            with shop.reading() as work:
                assert load_held(work.session, work.now)[part.sku] == 1, "a refused request set something aside"


def test_an_included_extra_that_is_gone_follows_and_does_not_stand_in_the_way(shop: Shop) -> None:
    quote = kept(shop)
    pump = next(line.sku for line in quote.kit.price.lines if line.slot == "pump")
    with shop.writing("desk") as work:
        book_movement(work, pump, "count", 0, "sold out")
    agreed(shop, quote)
    with shop.reading() as work:
        hold = open_hold(work, quote.token)
        assert hold is not None
        assert pump not in hold.skus


def test_only_the_newest_revision_can_be_agreed_to(shop: Shop) -> None:
    quote = kept(shop)
    with shop.writing() as work:
        newer = issue_quote(work, learner(mass_kg=90), revises=quote.token)
    with shop.writing() as work, pytest.raises(Outdated, match="newest is revision 2"):
        agree_to_quote(work, quote.token, SOMEONE, 1)
    agreed(shop, newer)


def test_a_newer_revision_agreed_to_takes_the_place_of_the_older_ones_hold(shop: Shop) -> None:
    quote = kept(shop)
    agreed(shop, quote)
    with shop.writing() as work:
        newer = issue_quote(work, learner(mass_kg=100), revises=quote.token)
    agreed(shop, newer)
    with shop.reading() as work:
        assert [row.hold.revision for row in list_open_holds(work)] == [2]
        assert sum(load_held(work.session, work.now).values()) == len(list_open_holds(work)[0].hold.skus)


def test_a_lapsed_quote_cannot_be_agreed_to_but_an_agreed_one_stays_agreed(shop: Shop, clock: Clock) -> None:
    quote, other = kept(shop), kept(shop)
    clock.forward(days=13, hours=11)
    agreed(shop, quote)
    with shop.writing("desk") as work:
        confirm_hold(work, quote.token)
    clock.forward(days=2)
    with shop.writing() as work, pytest.raises(Lapsed, match="2026-12-09"):
        agree_to_quote(work, other.token, SOMEONE, 1)
    with shop.writing() as work:
        agree_to_quote(work, quote.token, SOMEONE, 1)


def test_who_does_not_swim_yet_agrees_only_together_with_the_shop(shop: Shop) -> None:
    quote = kept(shop, swims_100m=False)
    with shop.writing() as work, pytest.raises(NeedsTheShop, match="talk to us"):
        agree_to_quote(work, quote.token, SOMEONE, 1)


def test_a_kit_that_is_not_sound_is_agreed_to_only_together_with_the_shop(shop: Shop) -> None:
    with shop.writing() as work:
        large = next(part.sku for part in work.catalogue.sold_in("hand_wing") if part.gear.size == 7.0)
        small = issue_quote(work, learner(mass_kg=50))
        skus = [part.sku for slot, part in small.kit.parts.items() if slot != "hand_wing"]
    with shop.writing() as work:
        quote = issue_quote(work, learner(mass_kg=50), [*skus, large])
    assert not quote.kit.is_sound
    with shop.writing() as work, pytest.raises(NeedsTheShop, match="talk to us"):
        agree_to_quote(work, quote.token, SOMEONE, 1)


SAME_PERSON = [
    (Contact("A", "some.one@example.org"), Contact("B", "SOME.ONE@example.org")),
    (Contact("A", "", "020 910 0199"), Contact("A", "", "(020) 910-0199")),
    (Contact("A", "a@example.org", "0209100199"), Contact("A", "b@example.org", "020 910 0199")),
    (Contact("A", "", "+353 20 910 0199"), Contact("A", "", "020 910 0199")),
    (Contact("A", "", "00353 20 9100199"), Contact("A", "", "+353 (0)20 910 0199")),
]


@pytest.mark.parametrize(("first", "second"), SAME_PERSON)
def test_at_most_two_requests_are_open_for_one_address_or_number(shop: Shop, first: Contact, second: Contact) -> None:
    quotes = [kept(shop) for _ in range(3)]
    with shop.writing("desk") as work:
        for sku in core_skus(quotes[0]):
            book_movement(work, sku, "count", 5, "plenty")
    agreed(shop, quotes[0], first)
    agreed(shop, quotes[1], second)
    with shop.writing() as work, pytest.raises(TooMany, match="2 requests open"):
        agree_to_quote(work, quotes[2].token, second, 1)
    with shop.writing() as work:
        release_hold(work, quotes[0].token, "taken back")
    agreed(shop, quotes[2], second)


def test_a_count_books_the_difference_and_nothing_where_it_agrees(shop: Shop) -> None:
    with shop.writing("desk") as work:
        before = load_on_hand(work.session)["EEL-105"]
        booked = book_movement(work, "EEL-105", "count", before + 3, "found")
        assert booked is not None
        assert booked.change == 3
        assert book_movement(work, "EEL-105", "count", before + 3, "again") is None


MOVES = [("delivery", 4, 4), ("counter_sale", 1, -1), ("damage", 1, -1), ("demo", 1, -1), ("returned", 2, 2)]


@pytest.mark.parametrize(("kind", "pieces", "change"), MOVES)
def test_what_happens_to_stock_is_an_entry_and_the_fold_is_what_is_on_hand(
    shop: Shop, kind: str, pieces: int, change: int
) -> None:
    with shop.writing("desk") as work:
        before = load_on_hand(work.session)["STC-55"]
        book_movement(work, "STC-55", kind, pieces, "why")  # type: ignore[arg-type]
    with shop.reading() as work:
        entries = load_movements(work.session, "STC-55")
        assert entries[-1].kind == kind
        assert on_hand(entries)["STC-55"] == load_on_hand(work.session)["STC-55"] == before + change


WRONG_MOVES = [("NOBODY", "delivery", 1, "sku"), ("STC-55", "hold", 1, "kind"), ("STC-55", "delivery", 0, "pieces")]


@pytest.mark.parametrize(("sku", "kind", "pieces", "field"), [*WRONG_MOVES, ("STC-55", "damage", 9999, "pieces")])
def test_what_cannot_have_happened_is_refused_by_name(shop: Shop, sku: str, kind: str, pieces: int, field: str) -> None:
    with shop.writing("desk") as work, pytest.raises(InvalidInput) as refused:
        book_movement(work, sku, kind, pieces, "")  # type: ignore[arg-type]
    assert [fault.field for fault in refused.value.faults] == [field]


def test_what_is_free_is_never_below_zero_even_if_more_is_held_than_there_is(shop: Shop) -> None:
    quote = kept(shop)
    agreed(shop, quote)
    board = quote.kit.parts["board"].sku
    with shop.writing("desk") as work:
        book_movement(work, board, "count", 0, "stolen")
    assert free_of(shop, board) == 0
    assert free(0, 1) == 0


def test_the_ledgers_fold_is_what_the_database_adds_up(shop: Shop) -> None:
    for mass in (60, 75, 90):
        agreed(shop, kept(shop, mass_kg=mass), Contact("Many", f"{mass}@example.org"))
    with shop.reading() as work:
        open_ids = [row.hold.id for row in list_open_holds(work)]
        for sku in load_on_hand(work.session):
            entries = load_movements(work.session, sku)
            assert on_hand(entries)[sku] == load_on_hand(work.session)[sku]
            assert held(entries, open_ids).get(sku, 0) == load_held(work.session, work.now).get(sku, 0)


def test_who_asked_is_forgotten_when_the_days_are_over_and_the_ledger_stays(shop: Shop, clock: Clock) -> None:
    quote = kept(shop)
    agreed(shop, quote)
    clock.forward(hours=3)
    with shop.writing() as work:
        assert sweep(work).contacts == 0
    clock.forward(days=91)
    with shop.writing() as work:
        assert sweep(work).contacts == 1
    with shop.reading() as work:
        row = work.session.exec(select(HoldRow)).one()
        assert (row.name, row.email, row.phone, row.email_key, row.phone_key) == ("", "", "", "", "")
        assert [entry.kind for entry in load_movements(work.session, core_skus(quote)[0])][-2:] == ["hold", "release"]


def test_a_quote_that_came_to_nothing_is_deleted_after_the_policys_days_and_a_confirmed_one_is_not(
    shop: Shop, clock: Clock
) -> None:
    nothing, confirmed = kept(shop), kept(shop)
    agreed(shop, confirmed)
    with shop.writing("desk") as work:
        confirm_hold(work, confirmed.token)
    clock.forward(days=415)
    with shop.writing() as work:
        assert sweep(work).quotes == 1
    with shop.reading() as work:
        assert read_quote(work, confirmed.token).code == confirmed.code
    with shop.reading() as work, pytest.raises(NotFound):
        read_quote(work, nothing.token)


def test_what_is_offered_for_a_gone_part_suits_the_learner_and_fits_the_rest(shop: Shop) -> None:
    quote = kept(shop)
    gone = quote.kit.parts["board"].sku
    with shop.writing("desk") as work:
        book_movement(work, gone, "count", 0, "sold")
    with shop.writing() as work, pytest.raises(NotFree) as refused:
        agree_to_quote(work, quote.token, SOMEONE, 1)
    offered = re.findall(r"The nearest in stock is .*? \((\S+)\)", refused.value.faults[0].message)
    assert len(offered) == 1
    skus = [offered[0] if sku == gone else sku for sku in core_skus(quote)]
    with shop.writing() as work:
        issue_quote(work, learner(), skus)


def test_what_is_offered_where_every_part_is_gone_makes_one_kit_together(shop: Shop) -> None:
    quote = kept(shop)
    with shop.writing("desk") as work:
        for sku in core_skus(quote):
            book_movement(work, sku, "count", 0, "sold")
    with shop.writing() as work, pytest.raises(NotFree) as refused:
        agree_to_quote(work, quote.token, SOMEONE, 1)
    assert len(refused.value.faults) == 6
    messages = " ".join(fault.message for fault in refused.value.faults)
    offered = re.findall(r"The nearest in stock is .*? \((\S+)\)", messages)
    assert len(offered) == 6
    with shop.writing() as work:
        issue_quote(work, learner(), offered)


def test_where_nothing_fits_the_rest_the_customer_is_asked_to_talk(shop: Shop) -> None:
    quote = kept(shop)
    with shop.writing("desk") as work:
        for part in work.catalogue.sold_in("mast"):
            book_movement(work, part.sku, "count", 0, "sold")
    with shop.writing() as work, pytest.raises(NotFree, match="No other mast in stock suits you and fits the rest"):
        agree_to_quote(work, quote.token, SOMEONE, 1)


def test_who_holds_the_last_piece_may_still_change_their_quote_with_it(shop: Shop) -> None:
    quote = kept(shop)
    with shop.writing("desk") as work:
        for sku in core_skus(quote):
            book_movement(work, sku, "count", 1, "the last")
    agreed(shop, quote)
    with shop.writing() as work:
        changed = issue_quote(work, learner(extras=["helmet"]), core_skus(quote), revises=quote.token)
    assert core_skus(changed) == core_skus(quote)
    with shop.writing() as work, pytest.raises(NotFree):
        issue_quote(work, learner(), core_skus(quote))
    agreed(shop, changed)
    with shop.reading() as work:
        assert all(load_held(work.session, work.now)[sku] == 1 for sku in core_skus(quote))
