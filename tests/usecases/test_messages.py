"""The outbox: written with what it tells, sent once by whoever leases it, tried again, given up, and forgotten."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest

from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.messages import KINDS, WORDINGS, Kind, Message
from server.persistence.messages import lease, next_due
from server.usecases.messages import (
    LEASE,
    Tally,
    give_up,
    held_up,
    mark_sent,
    message_texts,
    outbox,
    read_message,
    restore_wording,
    send_again,
    send_due,
    send_test,
    tell,
    wording_of,
    write_wording,
)
from server.usecases.privacy import sweep
from server.usecases.work import Shop
from tests.builders_mail import Goes, Post, post
from tests.builders_shop import Clock
from tests.postgres import free_port

TO = "nuala@learners.example"


@pytest.fixture(scope="module")
def running() -> Iterator[Post]:
    with post() as here:
        yield here


@pytest.fixture
def server(running: Post) -> Post:
    """The mail server with nothing in it."""
    running.arrived.clear()
    running.goes_wrong.clear()
    return running


def told(shop: Shop, *, to_email: str = TO, name: str = "booking_made", about: str = "booking:1") -> str:
    with shop.writing("Maeve") as work:
        values = {**WORDINGS[name].samples, "link": "/bookings/sample"}
        message_id = tell(work, name, to_name="Nuala", to_email=to_email, about=about, values=values)
        work.commit()
    return message_id


def only(shop: Shop) -> Message:
    with shop.reading() as work:
        [message] = outbox(work)
    return message


def test_a_message_is_written_with_what_it_tells_or_not_at_all(shop: Shop) -> None:
    values = WORDINGS["booking_made"].samples
    with shop.writing("Maeve") as work:
        assert tell(work, "booking_made", to_name="A", to_email=TO, about="booking:1", values=values)
    with shop.writing("Maeve") as work:
        assert tell(work, "booking_made", to_name="A", to_email="", about="booking:1", values=values) == ""
        work.commit()
        assert outbox(work) == []
        with pytest.raises(ValueError, match="code, instructor"):
            tell(work, "booking_made", to_name="A", to_email=TO, about="", values={"link": "/x"})


def test_what_is_told_is_filled_in_and_links_are_whole(shop: Shop) -> None:
    shop.address = "https://shop.example"
    message_id = told(shop)
    with shop.reading() as work:
        [message] = message_texts(work, "booking:1")
        assert message_texts(work, "booking:2") == []
    assert (message.message_id, message.to_email, message.state) == (message_id, TO, "waiting")
    assert message_id.endswith("@twoherons.example>")
    assert message.text.subject == "Your lesson: Saturday 5 December 2026, 10:30"
    assert message.text.body.startswith("Dear Nuala,\n")
    assert "\nhttps://shop.example/bookings/sample\n" in message.text.body
    assert message.text.body.endswith("Two Herons Watersports\n+353 20 910 0142\n")


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_every_kind_can_be_told(shop: Shop, kind: Kind) -> None:
    assert told(shop, name=kind.name)


def test_a_message_goes_out_once_however_many_send(shop: Shop, server: Post) -> None:
    ids = [told(shop, to_email=f"learner{number}@learners.example") for number in range(12)]
    with ThreadPoolExecutor(3) as pool:
        tallies = list(pool.map(lambda _: send_due(shop, server.mailer()), range(3)))
    assert sorted(server.ids()) == sorted(ids)
    assert sum(tally.sent for tally in tallies) == len(ids)
    assert send_due(shop, server.mailer()).is_nothing
    with shop.reading() as work:
        assert {message.state for message in outbox(work)} == {"sent"}


WAYS: tuple[tuple[list[Goes], list[Tally], int], ...] = (
    (["busy", "busy"], [Tally(failed=1), Tally(failed=1), Tally(sent=1)], 1),
    (["drops"], [Tally(failed=1), Tally(sent=1)], 1),
    (["takes_and_drops"], [Tally(failed=1), Tally(sent=1)], 2),
    (["unknown"], [Tally(given_up=1)], 0),
    (["spam"], [Tally(given_up=1)], 0),
)


@pytest.mark.parametrize(("goes", "tallies", "arrives"), WAYS)
def test_it_is_tried_again_until_it_is_sent_or_refused_under_the_same_name(
    shop: Shop, clock: Clock, server: Post, goes: list[Goes], tallies: list[Tally], arrives: int
) -> None:
    message_id = told(shop)
    server.goes_wrong[TO] = list(goes)
    for tries, tally in enumerate(tallies, start=1):
        assert send_due(shop, server.mailer()) == tally
        assert send_due(shop, server.mailer()).is_nothing, "it is not tried again at once"
        clock.forward(minutes=2 ** (tries - 1))
    assert send_due(shop, server.mailer()).is_nothing
    assert server.ids() == [message_id] * arrives
    message = only(shop)
    assert message.state == ("sent" if arrives else "given_up")
    assert (message.last_error == "") is bool(arrives)
    assert message.tries == len(tallies)


def test_where_the_server_cannot_be_reached_one_is_tried_and_the_rest_waits(shop: Shop, server: Post) -> None:
    for _ in range(3):
        told(shop)
    assert send_due(shop, server.mailer(port=1)) == Tally(failed=1)
    with shop.reading() as work:
        assert sorted(message.tries for message in outbox(work)) == [0, 0, 1]
    assert send_due(shop, server.mailer()) == Tally(sent=2)


def test_after_three_days_it_is_given_up_with_the_last_reason(shop: Shop, clock: Clock, server: Post) -> None:
    told(shop)
    began, rounds = clock.now, 0
    while only(shop).state == "waiting":
        server.goes_wrong[TO] = ["busy"]
        clock.now = only(shop).next_at
        assert not send_due(shop, server.mailer()).is_nothing
        rounds += 1
    assert timedelta(days=3) < clock.now - began <= timedelta(days=3, hours=2)
    assert rounds > 30
    assert only(shop).last_error.startswith("It waited") or only(shop).last_error.startswith("451")
    assert server.arrived == []


def test_what_waited_for_days_for_a_server_to_be_named_is_not_sent(shop: Shop, clock: Clock, server: Post) -> None:
    told(shop)
    clock.forward(days=3, minutes=1)
    assert send_due(shop, server.mailer()) == Tally(given_up=1)
    assert server.arrived == []
    with shop.writing("Maeve") as work:
        send_again(work, only(shop).id)
    assert send_due(shop, server.mailer()) == Tally(sent=1)


def test_a_lease_that_ran_out_is_taken_again_and_a_running_one_is_not(shop: Shop, clock: Clock, server: Post) -> None:
    message_id = told(shop)
    number = only(shop).id
    with shop.writing("sender") as work:
        assert lease(work.session, number, work.now, work.now + LEASE) is not None
        assert lease(work.session, number, work.now, work.now + LEASE) is None
        assert next_due(work.session, work.now) is None
        work.commit()
    with shop.writing("Maeve") as work, pytest.raises(Conflict):
        send_again(work, number)
    assert send_due(shop, server.mailer()).is_nothing
    clock.forward(minutes=40)
    assert send_due(shop, server.mailer()) == Tally(sent=1)
    assert server.ids() == [message_id]


def test_stopped_while_it_is_being_sent_it_is_not_sent_by_another_at_once(shop: Shop, clock: Clock) -> None:
    told(shop)
    number = only(shop).id
    with shop.writing("sender") as work:
        assert lease(work.session, number, work.now, work.now + LEASE) is not None
        work.commit()
    with shop.writing("Maeve") as work:
        give_up(work, number)
    with shop.writing("Maeve") as work, pytest.raises(Conflict, match="being sent"):
        send_again(work, number)
    clock.forward(minutes=6)
    with shop.writing("Maeve") as work:
        send_again(work, number)
    assert only(shop).state == "waiting"


def test_sent_again_it_is_a_new_message_and_given_up_it_is_the_same(shop: Shop, server: Post) -> None:
    first = told(shop)
    number = only(shop).id
    with shop.writing("Maeve") as work:
        give_up(work, number)
    assert (only(shop).state, only(shop).last_error) == ("given_up", "Stopped by Maeve.")
    with shop.writing("Maeve") as work:
        send_again(work, number)
    assert send_due(shop, server.mailer()) == Tally(sent=1)
    with shop.writing("Maeve") as work:
        send_again(work, number)
    with shop.writing("Maeve") as work:
        with pytest.raises(Conflict, match="copy of it waits"):
            send_again(work, number)
        again, old = outbox(work)
    assert send_due(shop, server.mailer()) == Tally(sent=1)
    assert old.message_id == first != again.message_id
    assert again.text == old.text
    assert server.ids() == [first, again.message_id]


def test_marked_as_sent_it_is_not_sent_and_none_that_is_not_there_is(shop: Shop, server: Post) -> None:
    told(shop)
    number = only(shop).id
    with shop.writing("Maeve") as work:
        mark_sent(work, number)
        give_up(work, number)
        assert read_message(work, number).state == "sent"
    assert send_due(shop, server.mailer()).is_nothing
    for act in (mark_sent, give_up, send_again, read_message):
        with pytest.raises(NotFound), shop.writing("Maeve") as work:
            act(work, number + 1)


def test_the_owners_words_are_in_force_until_the_usual_ones_are_put_back(shop: Shop) -> None:
    usual = WORDINGS["booking_made"].usual
    with shop.writing("Orla") as work:
        write_wording(work, "booking_made", "Hello {name}", "At {when}: {link}")
    told(shop)
    assert only(shop).text.subject == "Hello Nuala"
    with shop.writing("Orla") as work, pytest.raises(InvalidInput):
        write_wording(work, "booking_made", "Hello {nobody}", "At {when}: {link}")
    with shop.writing("Orla") as work:
        assert wording_of(work, "booking_made").subject == "Hello {name}"
        restore_wording(work, "booking_made")
        assert wording_of(work, "booking_made") == usual
        with pytest.raises(NotFound):
            write_wording(work, "no_such", "Hello", "there")


def test_a_test_takes_the_way_of_every_other_message(shop: Shop, server: Post) -> None:
    with shop.writing("Orla") as work:
        with pytest.raises(InvalidInput) as wrong:
            send_test(work, "lesson_final", "{x}", "{when}", "nobody")
        assert [fault.field for fault in wrong.value.faults] == ["subject", "email"]
        message_id = send_test(work, "lesson_final", "On: {lesson}", "At {when}", "orla@twoherons.example")
    assert send_due(shop, server.mailer()) == Tally(sent=1)
    assert server.ids() == [message_id]
    assert server.arrived[0]["Subject"] == "Test: On: First flights"


def test_messages_are_forgotten_when_the_days_are_over(shop: Shop, clock: Clock) -> None:
    for _ in range(3):
        told(shop)
    with shop.writing("Maeve") as work:
        waits, stopped, sent = (message.id for message in outbox(work))
        mark_sent(work, sent)
    clock.forward(days=60)
    with shop.writing("Maeve") as work:
        give_up(work, stopped)
    for days, left in ((30, [waits, stopped, sent]), (1, [stopped]), (60, [])):
        clock.forward(days=days)
        with shop.writing("sweep") as work:
            sweep(work)
        with shop.reading() as work:
            assert [message.id for message in outbox(work)] == left


def test_a_day_without_a_mail_server_is_said_costs_few_tries_and_then_each_goes_out_once(
    shop: Shop, clock: Clock, server: Post
) -> None:
    ids = [told(shop, to_email=f"learner{number}@learners.example") for number in range(3)]
    away, began, tries = server.mailer(port=free_port()), clock.now, 0
    while clock.now < began + timedelta(days=1):
        tries += send_due(shop, away).failed
        clock.forward(minutes=40)
    assert tries <= 3 * 15, "never more often than every two hours in the end"
    with shop.reading() as work:
        held = held_up(work)
    assert held is not None
    assert (held.number, held.since) == (3, began)
    assert "cannot be reached" in held.because
    clock.forward(hours=2)
    assert send_due(shop, server.mailer()) == Tally(sent=3)
    assert sorted(server.ids()) == sorted(ids)
    with shop.reading() as work:
        assert held_up(work) is None


def test_what_a_clock_that_was_ahead_put_off_is_sent_once_it_is_right(shop: Shop, clock: Clock, server: Post) -> None:
    told(shop)
    clock.forward(days=1)
    assert send_due(shop, server.mailer(port=free_port())).failed == 1
    clock.forward(days=-1)
    assert send_due(shop, server.mailer()) == Tally(sent=1)
