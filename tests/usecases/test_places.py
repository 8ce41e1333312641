"""Places changed one by one: each a step that is undone byte for byte, and what something names stays."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date

import pytest

from server.domain.catalogue import Zone
from server.domain.errors import Conflict, InvalidInput, NotFound
from server.usecases.catalogue import catalogue_files
from server.usecases.deposits import take_deposit
from server.usecases.lessons import make_times
from server.usecases.naming import PlaceKind, what_names
from server.usecases.places import (
    cells_of,
    digest_of,
    name_of,
    named_place,
    places_of,
    put_first,
    put_place,
    read_place,
    remove_place,
    winds_at,
)
from server.usecases.policies import change_policy, terms_of
from server.usecases.steps import list_steps, undo_step
from server.usecases.work import Shop, Work

FERRY = Zone("Ferry islands", 75_00, 60_00, "6-8")


def files(shop: Shop) -> Mapping[str, bytes]:
    with shop.reading() as work:
        return catalogue_files(work)


def names(shop: Shop, of: PlaceKind) -> list[str]:
    with shop.reading() as work:
        return list(places_of(work.catalogue, of))


def test_what_is_typed_is_what_the_files_hold(shop: Shop) -> None:
    with shop.reading() as work:
        for of in ("zone", "lesson", "spot"):
            for name, place in places_of(work.catalogue, of).items():
                assert (name_of(place), read_place(of, cells_of(place))) == (name, place)


def test_each_change_is_a_step_and_all_are_undone(shop: Shop) -> None:
    steeper = {"fee": "45,50"}
    changes: tuple[Callable[[Work], int], ...] = (
        lambda work: put_place(work, "zone", FERRY),
        lambda work: put_place(work, "zone", replace(FERRY, zone="Ferries"), "Ferry islands", digest_of(FERRY)),
        lambda work: put_first(work, "spot", "Lough Corravane"),
        lambda work: remove_place(work, "zone", "Ferries"),
        lambda work: put_place(
            work,
            "lesson",
            read_place("lesson", {**cells_of(named_place(work, "lesson", "group")), **steeper}),
            "group",
            digest_of(named_place(work, "lesson", "group")),
        ),
    )
    states = [files(shop)]
    for change in changes:
        with shop.writing("Orla") as work:
            change(work)
        states.append(files(shop))
    assert names(shop, "spot")[0] == "Lough Corravane"
    with shop.reading() as work:
        assert work.catalogue.lessons["group"].fee == 45_50
        steps = list_steps(work)
    assert [step.about for step in steps] == [
        "kind of lesson group changed",
        "zone Ferries removed",
        "spot Lough Corravane put first",
        "zone Ferries changed",
        "zone Ferry islands added",
    ]
    for step, before in zip(steps, states[-2::-1], strict=True):
        with shop.writing("Orla") as work:
            undo_step(work, step.version)
        assert files(shop) == before


def reasons(shop: Shop, of: PlaceKind, name: str) -> tuple[str, ...]:
    with shop.reading() as work:
        return what_names(work, of, name)


def test_what_something_names_is_not_taken_away_and_keeps_its_name(shop: Shop) -> None:
    assert reasons(shop, "zone", "Ireland") == ("The policy names it as the home zone.",)
    assert any("includes it with" in words for words in reasons(shop, "lesson", "private"))
    assert reasons(shop, "lesson", "tow") == ("The policy names it as needing no wind.",)
    assert reasons(shop, "lesson", "group") == reasons(shop, "spot", "Lough Corravane") == ()
    with shop.writing("Maeve") as work:
        typed = {"day": "2026-12-05", "at": "10:30", "instructor": "Maeve", "spot": "Lough Corravane", "weeks": "2"}
        make_times(work, {**typed, "kind": "group", "places": "4", "minutes": "120"})
    assert reasons(shop, "lesson", "group") == ("2 lesson times are of this kind.",)
    assert reasons(shop, "spot", "Lough Corravane") == ("2 lesson times are held there.",)
    before = files(shop)
    with (
        pytest.raises(Conflict, match="Lough Corravane stays: 2 lesson times are held there"),
        shop.writing("Orla") as work,
    ):
        remove_place(work, "spot", "Lough Corravane")
    with shop.writing("Orla") as work:
        there = named_place(work, "zone", "Ireland")
        assert isinstance(there, Zone)
        with pytest.raises(InvalidInput, match="Ireland keeps its name: the policy names it"):
            put_place(work, "zone", replace(there, zone="Here"), "Ireland", digest_of(there))
    assert files(shop) == before


def test_a_policy_to_come_and_a_lesson_paid_for_name_too(shop: Shop) -> None:
    with shop.writing("Orla") as work:
        version = work.catalogue.policy.version
        terms = terms_of(work, version)
        later = {**terms, "lessons": {**terms["lessons"], "without_wind": ["tow", "group"]}}
        to_come = change_policy(work, later, date(2026, 12, 24), "", version)
        take_deposit(work, "group", 60_00, "booked", date(2026, 12, 1))
    assert reasons(shop, "lesson", "group") == (
        f"Version {to_come} of the policy names it as needing no wind.",
        "1 lesson of this kind is still to be taken.",
    )


def test_what_cannot_be_is_said(shop: Shop) -> None:
    with shop.writing("Orla") as work:
        with pytest.raises(NotFound):
            remove_place(work, "zone", "Nowhere")
        with pytest.raises(InvalidInput, match="stands there already"):
            put_place(work, "zone", replace(FERRY, zone="Ireland"))
        with pytest.raises(Conflict, match="meanwhile"):
            put_place(work, "zone", FERRY, "Northern Ireland", "0000000000000000")
        with pytest.raises(InvalidInput) as faulty:
            read_place("spot", {"name": "A pond", "water": "pond", "mean_01": "50", "gust_ratio": "1,2"})
    fields = [fault.field for fault in faulty.value.faults]
    assert fields[:3] == ["water", "safe_share", "mean_01"]


def test_a_spot_that_is_not_saved_yet_shows_its_winds(shop: Shop) -> None:
    with shop.reading() as work:
        windy = {f"mean_{month:02d}": "16" for month in range(1, 13)}
        calm = dict.fromkeys(windy, "6")
        rest = {"name": "The Narrows", "water": "sea", "gust_ratio": "1.2", "safe_share": "0.7"}
        days = []
        for means in (windy, calm):
            spot = read_place("spot", {**rest, **means})
            days.append(sum(winds_at(work, spot)[0].months["new"]))  # type: ignore[arg-type]
    assert days[0] > 2 * days[1] > 0
