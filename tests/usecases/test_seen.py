"""What an open page asks for: whether it is outdated, what has changed and by whom, and that it was seen."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import datetime
from threading import Barrier

import pytest
from sqlalchemy import event
from sqlmodel import select

from server.domain.errors import NotFound
from server.domain.quotes import Quote
from server.domain.stock import Contact
from server.persistence.tables import QuoteRow
from server.usecases.quotes import issue_quote, mark_seen, read_quote, revised_since
from server.usecases.standing import standing_version
from server.usecases.stock import agree_to_quote, confirm_hold, release_hold
from server.usecases.work import Shop
from tests.builders_shop import Clock, learner

SOMEONE = Contact("Some One", "some.one@example.org")


def kept(shop: Shop, by: str = "customer", of: str | None = None, **answers: object) -> Quote:
    """A quote, or the next revision of one."""
    with shop.writing(by) as work:
        return issue_quote(work, learner(**answers), revises=of)


def version(shop: Shop, token: str) -> str:
    with shop.reading() as work:
        return standing_version(work, token)


def seen(shop: Shop) -> tuple[int | None, datetime | None]:
    with shop.reading() as work:
        row = work.session.exec(select(QuoteRow)).one()
        return row.seen_revision, row.seen_at


def look(shop: Shop, token: str, revision: int) -> None:
    with shop.writing() as work:
        mark_seen(work, token, revision)


def test_the_version_is_another_one_after_every_change_of_quote_or_hold_and_else_the_same(
    shop: Shop, clock: Clock
) -> None:
    token = kept(shop).token
    versions = [version(shop, token)]
    assert version(shop, token) == versions[0]
    with shop.writing() as work:
        agree_to_quote(work, token, SOMEONE, 1)
    versions.append(version(shop, token))
    with shop.writing("Maeve") as work:
        confirm_hold(work, token)
    versions.append(version(shop, token))
    kept(shop, "Maeve", token, mass_kg=81)
    versions.append(version(shop, token))
    with shop.writing() as work:
        release_hold(work, token, "taken back")
    versions.append(version(shop, token))
    with shop.writing() as work:
        agree_to_quote(work, token, SOMEONE, 2)
    versions.append(version(shop, token))
    assert len(set(versions)) == len(versions)
    clock.forward(days=30)  # The hold expires by the clock alone.
    assert version(shop, token) == versions[4] == "2"
    assert all(len(text) < 30 for text in versions)


def test_the_version_of_a_quote_that_is_not_there_is_not_told(shop: Shop) -> None:
    for token in ("guessed-it", "a" * 32, "no token"):
        with shop.reading() as work, pytest.raises(NotFound):
            standing_version(work, token)
        with shop.writing() as work, pytest.raises(NotFound):
            mark_seen(work, token, 1)


def test_the_version_is_told_by_one_small_question_that_reads_no_record(shop: Shop) -> None:
    token = kept(shop).token
    asked: list[str] = []
    with shop.reading() as work:
        event.listen(work.session.get_bind(), "before_cursor_execute", lambda *said: asked.append(said[2]))
        standing_version(work, token)
    asked = [text for text in asked if text.startswith("SELECT")]
    assert len(asked) == 1
    assert not any(".record" in text for text in asked)


def test_changes_are_told_since_any_older_revision_with_all_who_made_them(shop: Shop, clock: Clock) -> None:
    token = kept(shop).token
    kept(shop, "Maeve", token, mass_kg=85)
    clock.forward(minutes=5)
    newest = kept(shop, "customer", token, mass_kg=85, usual_wind_kn=20)
    with shop.reading() as work:
        quote = read_quote(work, token)
        assert quote == newest
        last, first = revised_since(work, quote), revised_since(work, quote, 1)
        assert [revised_since(work, quote, number) for number in (0, 3, 4, -1)] == [None] * 4
    assert last is not None
    assert first is not None
    assert (last.revision, last.since, last.at, last.makers) == (3, 2, clock.now, ("customer",))
    assert (first.since, first.makers) == (1, ("Maeve", "customer"))
    assert "mass_kg" not in {change.field for change in last.changes}
    told = {change.field: (change.before, change.after) for change in first.changes}
    assert told["mass_kg"] == ("80 kg", "85 kg")
    assert told["usual_wind_kn"] == ("15 knots", "20 knots")


def test_a_first_revision_has_changed_nothing(shop: Shop) -> None:
    quote = kept(shop)
    with shop.reading() as work:
        assert revised_since(work, quote) is None


def test_seen_keeps_the_highest_revision_and_its_first_moment(shop: Shop, clock: Clock) -> None:
    token = kept(shop).token
    kept(shop, "Maeve", token)
    assert seen(shop) == (None, None)
    for revision in (3, 0, -1):
        look(shop, token, revision)
    assert seen(shop) == (None, None)
    first = clock.now
    look(shop, token, 1)
    clock.forward(minutes=1)
    look(shop, token, 1)
    assert seen(shop) == (1, first)
    look(shop, token, 2)
    second = clock.now
    clock.forward(minutes=1)
    look(shop, token, 1)
    look(shop, token, 2)
    assert seen(shop) == (2, second)


def test_many_pages_that_see_at_once_leave_the_highest(shop: Shop) -> None:
    token = kept(shop).token
    for _ in range(3):
        kept(shop, "Maeve", token)
    together = Barrier(4)

    def sees(revision: int) -> None:
        together.wait(10)
        look(shop, token, revision)

    with ThreadPoolExecutor(4) as many:
        list(many.map(sees, (4, 2, 3, 1)))
    assert seen(shop)[0] == 4
