"""Something faulty: what holds by law on which day, and how far a case has come."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from server.domain.faulty import Case, guarantee_of, progress_of
from server.domain.sales import Mark
from tests.builders_returns import AT, kit_sold


@pytest.mark.parametrize(
    ("noticed", "words"),
    [
        ("2027-06-08", "within the first year"),
        ("2027-06-09", "within two years"),
        ("2028-06-08", "within two years"),
        ("2028-06-09", "after two years"),
    ],
)
def test_the_guarantee_is_two_years_and_presumed_for_one(noticed: str, words: str) -> None:
    # Directive (EU) 2019/771, Articles 10(1) and 11(1); the board was received on 8 June 2026.
    board = kit_sold().items[0]
    holds = guarantee_of(board, 24, date.fromisoformat(noticed))
    assert holds is not None
    assert words in holds.says
    assert (holds.presumed_until, holds.until) == (date(2027, 6, 8), date(2028, 6, 8))
    assert guarantee_of(replace(board, received_on=None), 24, date(2026, 6, 9)) is None


def test_a_case_is_the_fold_of_what_was_done_about_it() -> None:
    case = Case(4, 1, "fault", date(2026, 6, 15), {"items": [1], "text": "loose track"})
    marks = [
        Mark("fault", AT, "Maeve", about={"case": 4, "items": [1]}),
        Mark("claim", AT, "Maeve", about={"case": 4, "claim": "sent", "reference": "R 17", "credited": 0}),
        Mark("fault", AT, "Maeve", about={"case": 9, "remedy": "repair"}),
    ]
    so_far = progress_of(case, marks)
    assert (so_far.remedy, so_far.claim, so_far.may_settle) == (None, "sent", False)
    marks += [
        Mark("fault", AT, "Bo", about={"case": 4, "remedy": "replacement", "serial": "S-2"}),
        Mark("claim", AT, "Bo", about={"case": 4, "claim": "accepted", "credited": 400_00}),
    ]
    done = progress_of(case, marks)
    assert (done.remedy, done.claim, done.credited, done.may_settle) == ("replacement", "accepted", 400_00, True)
    assert [step.says for step in done.steps] == [
        "Sent to the maker, their reference R 17",
        "Replaced by a new one, serial number S-2",
        "The maker accepts it, credits 400.00",
    ]
