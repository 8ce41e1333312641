"""After the handover: questions to the desk, sessions counted, letters that ask how it goes, the next step, recalls."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from server.domain.aftercare import MOST_OPEN_QUESTIONS
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.domain.recall import read_recall
from server.domain.sales import Sale
from server.domain.serials import serial_words
from server.outside.photos import Photo
from server.persistence.sales import add_items
from server.usecases.aftercare import (
    answer_question,
    ask_question,
    find_recalled,
    forget_questions,
    next_steps_of,
    owned_of,
    questions_about,
    questions_to_answer,
    record_session,
    sessions_of,
    spares_of,
    take_session_back,
    tell_follow_ups,
    write_again,
    write_no_more,
)
from server.usecases.messages import message_texts
from server.usecases.photos import photos_of
from server.usecases.serials import correct_serial
from server.usecases.work import Shop
from tests.builders_handover import owned
from tests.builders_pieces import bought_piece
from tests.builders_shop import Clock


def letters(shop: Shop, sale: Sale, kind: str) -> list[str]:
    with shop.reading() as work:
        return [one.text.body for one in message_texts(work, f"sale:{sale.id}") if one.name == kind]


def test_letters_that_ask_how_it_goes_are_written_once_each_and_end_when_they_are_not_wanted(
    shop: Shop, clock: Clock
) -> None:
    one, other = owned(shop), owned(shop)
    for days, expected in ((6, 0), (1, 2), (0, 0)):
        clock.forward(days=days)
        with shop.writing("sweep") as work:
            assert tell_follow_ups(work) == expected
    assert "for a week now" in letters(shop, one, "follow_up")[0]
    for verb in (write_no_more, write_again, write_no_more):
        with shop.writing() as work:
            verb(work, other)
    clock.forward(weeks=20)  # Weeks 4 and 12 are both due: only the latest is written.
    with shop.writing("sweep") as work:
        assert tell_follow_ups(work) == 1
    assert "for 12 weeks now" in letters(shop, one, "follow_up")[0]
    assert len(letters(shop, other, "follow_up")) == 1


def test_a_question_lands_on_the_list_once_is_answered_once_and_there_are_not_too_many(
    shop: Shop, clock: Clock
) -> None:
    sale = owned(shop)
    for place in range(MOST_OPEN_QUESTIONS):
        with shop.writing() as work:
            photos = [Photo(b"a picture", 4, 3)] if place == 0 else []
            ask_question(work, sale, sale.goods[0].number, f"Is this {place} loose?", photos, f"question-{place}")
    with shop.writing() as work:
        assert ask_question(work, sale, None, "Is this 0 loose?", (), "question-0").text == "Is this 0 loose?"
    with shop.writing() as work, pytest.raises(InvalidInput) as caught:
        ask_question(work, sale, 77, "One more?", (), "question-more")
    assert [fault.field for fault in caught.value.faults] == ["text", "item"]
    with shop.writing("Maeve") as work:
        waiting = questions_to_answer(work)
        assert len(waiting) == MOST_OPEN_QUESTIONS
        number = waiting[0].question.id
        answer_question(work, number, "Tighten it by the maker's paper.")
    with shop.writing("Bo") as work:
        answer_question(work, number, "Tighten it by the maker's paper.")
        with pytest.raises(Conflict, match="Maeve"):
            answer_question(work, number, "Something else.")
    assert len(letters(shop, sale, "question_answered")) == 1
    with shop.reading() as work:
        assert questions_about(work, sale)[-1].answered_by == "Maeve"
    for weeks, left in ((360, MOST_OPEN_QUESTIONS), (8, 0)):  # The policy keeps sales for seven years.
        clock.forward(weeks=weeks)
        with shop.writing("sweep") as work:
            forget_questions(work)
            assert len(questions_about(work, sale)) == left
            assert len(photos_of(work, f"question:{number}")) == min(left, 1)


def test_sessions_are_counted_down_and_never_below_none(shop: Shop) -> None:
    sale = owned(shop)
    with shop.reading() as work:
        support, lessons = sessions_of(work, sale)
    assert (support.left, lessons.left) == (2, lessons.promised)
    for key in ("session-1", "session-1", "session-2"):
        with shop.writing("Maeve") as work:
            sale = record_session(work, sale.id, "support", "", key)
    with shop.reading() as work:
        assert sessions_of(work, sale)[0].left == 0
    with shop.writing("Maeve") as work, pytest.raises(Conflict):
        record_session(work, sale.id, "support", "", "session-3")
    for _ in range(2):
        with shop.writing("Maeve") as work:
            sale = take_session_back(work, sale.id, "session-2", "Too much wind.", "session-back-1")
    with shop.reading() as work:
        assert sessions_of(work, sale)[0].left == 1
    with shop.writing("Maeve") as work:
        with pytest.raises(NotFound):
            take_session_back(work, sale.id, "session-2", "Once more.", "session-back-2")
        with pytest.raises(InvalidInput):
            record_session(work, sale.id, "support", "", "session-4", work.today + timedelta(days=1))


def test_a_serial_number_is_corrected_with_a_reason_and_stands_once_on_a_part_of_a_kind(shop: Shop) -> None:
    sale, other = owned(shop), owned(shop)
    part = next(item for item in sale.items if item.slot == "fuselage")
    twice = f"{part.sku}-{1000 + other.id}".replace("-", " ").lower()
    with shop.writing("Maeve") as work, pytest.raises(InvalidInput) as caught:
        correct_serial(work, sale.id, part.number, twice, False, "", "serial-key-1")
    assert [fault.field for fault in caught.value.faults] == ["serial", "why"]
    for _ in range(2):
        with shop.writing("Maeve") as work:
            sale = correct_serial(work, sale.id, part.number, "B  17", False, "It was misread.", "serial-key-1")
    assert [mark.why for mark in sale.marks if mark.kind == "serial"] == ["It was misread."]
    assert serial_words(sale, sale.item(part.number) or part) == "B 17"
    with shop.writing("Maeve") as work:
        sale = correct_serial(work, sale.id, part.number, "", True, "There is none.", "serial-key-2")
    assert serial_words(sale, sale.item(part.number) or part) == "none on it"
    assert serial_words(replace(sale, marks=()), sale.item(part.number) or part) == "not written down"


def test_the_kit_owned_has_warranties_spares_and_a_next_step_that_joins_it(shop: Shop) -> None:
    sale = owned(shop)
    with shop.reading() as work:
        parts = owned_of(work, sale)
        steps = next_steps_of(work, sale)
        spares = spares_of(work, parts)
    received = sale.received_on
    assert received is not None
    assert {one.warranty_until for one in parts if one.item.is_with_customer} == {
        received.replace(year=received.year + 2)
    }
    makers = {one.maker for one in parts}
    assert spares
    assert all(
        any(maker in spare.gear.text("fits") for maker in makers) or "PUMP" in spare.gear.text("fits")
        for spare in spares
    )
    assert steps
    for step in steps:
        then, now = step.beside.kit, step.beside.instead_of
        assert then.gear_in(step.slot).size < now.gear_in(step.slot).size
        assert not then.refusals
        assert step.trade_in <= next(item.charged for item in sale.items if item.slot == step.slot)


def test_a_recall_finds_every_owner_of_a_range_and_asks_those_whose_number_nobody_knows(shop: Shop) -> None:
    sale, other = owned(shop), owned(shop)
    sku = next(item.sku for item in sale.items if item.slot == "fuselage")
    with shop.reading() as work:
        number = 1000 + sale.id
        found = find_recalled(work, read_recall("", sku.lower(), f"{sku}-{number}", f"{sku}-{number}", ""))
        both = find_recalled(work, read_recall("", sku, f"{sku}-0900", f"{sku}-1900", ""))
        whole = find_recalled(work, read_recall("", sku, "", "", ""))
        with pytest.raises(InvalidInput):
            find_recalled(work, read_recall("Nobody at all", "", "", "", ""))
    assert [one.sale_id for one in found.owners] == [sale.id]
    assert {one.sale_id for one in both.owners} == {one.sale_id for one in whole.owners} == {sale.id, other.id}
    assert not found.unknown


def test_a_recall_finds_used_pieces_of_a_maker_however_its_letters_are_written(shop: Shop) -> None:
    piece = bought_piece(shop, maker="Île Haute Wings")
    with shop.reading() as work:
        for maker in ("ÎLE HAUTE WINGS", "île haute wings"):
            assert [one.id for one in find_recalled(work, read_recall(maker, "", "", "", "")).pieces] == [piece.id]


def test_of_hundreds_of_boards_a_range_finds_every_one_in_it(shop: Shop) -> None:
    sale = owned(shop)
    board = next(item for item in sale.items if item.slot == "board")
    with shop.writing() as work:
        serials = [f"{board.sku}-{number:04d}" for number in range(1, 401)]
        many = [replace(board, number=100 + place, serial=serial) for place, serial in enumerate(serials)]
        add_items(work.session, sale.id, [*many, replace(board, number=99, serial="")])
        found = find_recalled(work, read_recall("", board.sku, f"{board.sku}-0099", f"{board.sku} 350", ""))
    assert [one.serial for one in found.owners] == serials[98:350]
    assert [one.serial for one in found.unknown] == [""]
