"""Calls promised and made, and when whom they were promised to is forgotten."""

from __future__ import annotations

import pytest
from sqlmodel import select

from server.domain.errors import InvalidInput, NotFound
from server.persistence.tables import CallRow
from server.usecases.calls import finish_promised_call, promise_call
from server.usecases.privacy import sweep
from server.usecases.quotes import issue_quote
from server.usecases.work import Shop
from tests.builders_shop import Clock, learner

TYPED = {"name": "Some One", "phone": "020 910 0123", "about": "the hand wing", "day": "2026-11-25", "at": "16:30"}


def promised(shop: Shop, **typed: str) -> int:
    with shop.writing("Maeve") as work:
        return promise_call(work, 1, **{**TYPED, **typed})


def row(shop: Shop, call_id: int) -> CallRow:
    with shop.reading() as work:
        return work.session.exec(select(CallRow).where(CallRow.id == call_id)).one()


def test_a_call_is_ticked_off_once_by_who_made_it(shop: Shop, clock: Clock) -> None:
    call = promised(shop)
    with shop.writing("Orla") as work:
        finish_promised_call(work, call)
    made = row(shop, call).done_at
    clock.forward(hours=1)
    with shop.writing("Maeve") as work:
        finish_promised_call(work, call)
    assert (row(shop, call).done_at, row(shop, call).done_by, row(shop, call).made_by) == (made, "Orla", "Maeve")
    with pytest.raises(NotFound), shop.writing() as work:
        finish_promised_call(work, call + 1)


def test_faults_of_the_call_and_of_the_code_come_together(shop: Shop) -> None:
    with pytest.raises(InvalidInput) as wrong:
        promised(shop, phone="", code="HKBN 04QB")
    assert [fault.field for fault in wrong.value.faults] == ["phone", "code"]


def test_the_person_is_forgotten_when_the_days_are_over_and_the_promise_stays(shop: Shop, clock: Clock) -> None:
    with shop.writing() as work:
        code = issue_quote(work, learner()).code
    done, open_still = promised(shop, code=code), promised(shop, code=code)
    with shop.writing("Maeve") as work:
        finish_promised_call(work, done)
    clock.forward(days=90, hours=4)
    with shop.writing("sweep") as work:
        assert sweep(work).contacts == 0, "it was due at half past four"
    clock.forward(hours=1)
    with shop.writing("sweep") as work:
        assert sweep(work).contacts == 2, "made or not, a call so long past is nobody's any more"
    forgotten, kept = row(shop, done), row(shop, open_still)
    assert (forgotten.name, forgotten.phone, forgotten.phone_key, forgotten.about) == ("", "", "", "")
    assert forgotten.done_by == "Maeve"
    assert (kept.name, kept.phone_key, kept.done_by) == ("", "", "")
    clock.forward(days=1000)
    with shop.writing("sweep") as work:
        assert sweep(work).quotes == 1
    assert row(shop, open_still).quote_id is None
