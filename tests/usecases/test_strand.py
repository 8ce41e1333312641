"""Today at the strand over a real database: readings, who goes with what, and lessons called off in one step."""

from __future__ import annotations

import pytest

from server.domain.errors import Conflict, InvalidInput, Outdated
from server.domain.strand import Verdict
from server.persistence.lessons import load_bookings_of
from server.usecases.assessments import list_assessments
from server.usecases.messages import message_texts
from server.usecases.strand import NOT_ALL_SUIT, LessonToday, SpotToday, call_off_today, decline, today_at_strand
from server.usecases.work import Shop
from tests.builders_shop import Clock
from tests.builders_strand import kept_quote, lesson_today, read_at_strand


def today(shop: Shop) -> tuple[SpotToday, ...]:
    with shop.reading("Maeve") as work:
        return today_at_strand(work)


def only_lesson(shop: Shop) -> LessonToday:
    [spot] = today(shop)
    [found] = spot.lessons
    return found


def verdicts(shop: Shop) -> list[Verdict]:
    return [learner.verdict for learner in only_lesson(shop).learners if learner.verdict is not None]


def readings(shop: Shop) -> dict[str, int]:
    return {spot.name: spot.reading.id for spot in today(shop) if spot.reading is not None}


def test_each_learner_of_the_day_has_a_verdict_by_weight_or_by_the_kit_of_their_quote(shop: Shop) -> None:
    _, code = kept_quote(shop, mass_kg=95)
    there = ({"mass_kg": "60"}, {"mass_kg": "95"}, {"mass_kg": "", "code": code}, {"mass_kg": ""})
    lesson_today(shop, *there, kind="group", ago=-60)
    assert verdicts(shop) == [], "nothing is said before wind and tide were typed"
    read_at_strand(shop)
    light, heavy, quoted, unknown = verdicts(shop)
    assert (light.state, heavy.state, quoted.state, unknown.state) == ("go", "go", "go", "ask")
    assert light.wing_m2 is not None
    assert heavy.wing_m2 is not None
    assert light.wing_m2 < heavy.wing_m2
    assert quoted.window != heavy.window, "on their own kit, not on the usual one"


def test_under_the_least_weight_the_instructor_decides(shop: Shop) -> None:
    lesson_today(shop, {"mass_kg": "30"}, ago=-60)
    read_at_strand(shop)
    [found] = verdicts(shop)
    assert (found.state, found.reasons[0].words) == (
        "ask",
        "Under 35 kg we size no kit: book a lesson or hire. The instructor decides.",
    )


def test_the_newest_reading_of_today_counts_for_its_spot_alone(shop: Shop, clock: Clock) -> None:
    read_at_strand(shop, mean_kn="5", gust_kn="5")
    clock.forward(days=1)
    lesson_today(shop, {}, ago=-60)
    assert verdicts(shop) == [], "yesterday's wind says nothing"
    read_at_strand(shop, mean_kn="30", gust_kn="40")
    clock.forward(minutes=5)
    read_at_strand(shop)
    read_at_strand(shop, spot="Portnafinn Bay", mean_kn="30", gust_kn="40")
    assert [found.state for found in verdicts(shop)] == ["go"]


def test_lessons_are_called_off_in_one_step_and_their_learners_told(shop: Shop) -> None:
    [alone] = lesson_today(shop, {"email": "one@example.org"}, ago=-60)
    pair = lesson_today(shop, {}, {}, kind="group", ago=-120)
    tow = lesson_today(shop, {}, kind="tow", ago=-60)
    read_at_strand(shop, from_deg="E")
    [spot] = today(shop)
    meant = [lesson.one.time.id for lesson in spot.to_call_off]
    assert sorted(meant) == sorted({alone.time.id, pair[0].time.id}), "behind the boat no wind blows them out"
    done = call_off_today(shop, "Maeve", meant, readings(shop))
    assert (sorted(done.done), done.left) == (sorted(meant), ())
    with shop.reading() as work:
        states = {row.id: row.state for row in load_bookings_of(work.session, [*meant, tow[0].time.id])}
        [told] = [one for one in message_texts(work, f"booking:{alone.id}") if one.name == "lesson_called_off"]
    assert set(states.values()) == {"called_off_by_shop", "booked"}
    assert states[tow[0].id] == "booked"
    assert "blows off the land at Tullaveen Strand" in told.text.body
    assert today(shop)[0].to_call_off == ()


def test_nothing_is_called_off_on_a_reading_that_is_not_the_newest_any_more(shop: Shop) -> None:
    [booking] = lesson_today(shop, {}, ago=-60)
    read_at_strand(shop, from_deg="E")
    seen = readings(shop)
    read_at_strand(shop, from_deg="NE")
    for known in (seen, {}):
        with pytest.raises(Outdated):
            call_off_today(shop, "Maeve", [booking.time.id], known)
    read_at_strand(shop)
    with pytest.raises(Outdated):
        call_off_today(shop, "Maeve", [booking.time.id], readings(shop))
    with pytest.raises(InvalidInput):
        call_off_today(shop, "Maeve", [], readings(shop))
    assert only_lesson(shop).one.time.final is None


def test_what_speaks_of_one_learner_is_not_told_to_the_others(shop: Shop) -> None:
    # 12 kn hold a lesson, but lift neither of the two with the largest hand wing.
    lesson_today(shop, {"mass_kg": "125"}, {"mass_kg": "140"}, kind="group", ago=-60)
    read_at_strand(shop, mean_kn="12", gust_kn="14")
    found = only_lesson(shop)
    assert len(found.because) == 2
    assert found.told == NOT_ALL_SUIT
    call_off_today(shop, "Maeve", [found.one.time.id], readings(shop))
    assert only_lesson(shop).one.time.because == NOT_ALL_SUIT


def test_over_their_own_window_they_may_decline_and_the_lesson_stays_on(shop: Shop) -> None:
    lesson_today(shop, {"mass_kg": "40"}, ago=-60)
    read_at_strand(shop, mean_kn="23", gust_kn="24")
    [found] = verdicts(shop)
    assert found.may_decline
    assert today(shop)[0].to_call_off == ()


@pytest.mark.parametrize(
    ("mass_kg", "wind_kn", "because", "noted"),
    [
        ("40", "23", "", "Declined: Over their window"),
        ("40", "23", "She says no", "Declined: She says no"),
        ("72", "16", "I would rather not", None),
        ("", "16", "Very light", "Declined: Very light"),
        ("", "16", "", None),
        ("40", "", "Gusts at the beach", "Declined: Gusts at the beach"),
        ("40", "", "", None),
        ("40", "23", "x" * 301, None),
    ],
)
def test_declining_asks_for_a_wind_over_their_window_or_a_reason_where_none_is_known(
    shop: Shop, mass_kg: str, wind_kn: str, because: str, noted: str | None
) -> None:
    [booking] = lesson_today(shop, {"mass_kg": mass_kg}, ago=-60)
    if wind_kn:
        read_at_strand(shop, mean_kn=wind_kn, gust_kn=str(int(wind_kn) + 1))
    with shop.writing("Maeve") as work:
        if noted is None:
            with pytest.raises((Conflict, InvalidInput)):
                decline(work, booking, because)
        else:
            assert decline(work, booking, because).note.startswith(noted)


def test_a_day_without_lessons_still_shows_the_shops_own_spot(shop: Shop) -> None:
    [spot] = today(shop)
    assert (spot.name, spot.lessons) == ("Tullaveen Strand", ())
    with shop.reading() as work:
        assert list_assessments(work, 1) == []
