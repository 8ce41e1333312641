"""Texts with named placeholders and nothing more, and when a message is tried again."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.domain.messages import (
    GIVE_UP_AFTER,
    KINDS,
    Kind,
    Wording,
    fill,
    is_too_old,
    new_message_id,
    read_wording,
    sample_of,
    wait_after,
)
from tests.builders_mail import letter
from tests.builders_shop import NOON

FAULTS = (
    ("Hello", "{when} {link} {naem}", "body", "There is no {naem}"),
    ("{money}", "{when} {link}", "subject", "There is no {money}"),
    ("Hello", "{when} {link} {", "body", "A brace stands alone"),
    ("Hello", "{when} {link} {{name}}", "body", "A brace stands alone"),
    ("Hello", "{when} {link} {name.__class__}", "body", "A brace stands alone"),
    ("Hello", "{when} {link} {name!r:>9}", "body", "A brace stands alone"),
    ("Hello", "{when} and no more", "body", "Without {link}"),
    ("Hello\r\nBcc: everybody@learners.example", "{when} {link}", "subject", "one line"),
    ("Hello\u2028there", "{when} {link}", "subject", "one line"),
    ("", "{when} {link}", "subject", "A subject is needed"),
    ("x" * 151, "{when} {link}", "subject", "A subject is needed"),
    ("Hello", " \r\n ", "body", "A text is needed"),
    ("Hello", "{when} {link}" + "x" * 4000, "body", "A text is needed"),
    ("Hello", "{when} {link} \x00", "body", "cannot be written"),
)


@pytest.mark.parametrize(("subject", "body", "field", "message"), FAULTS)
def test_what_is_wrong_with_a_text_is_said_at_its_field(subject: str, body: str, field: str, message: str) -> None:
    _, faults = read_wording("booking_made", subject, body)
    assert [(fault.field, message in fault.message) for fault in faults if message in fault.message] == [(field, True)]


def test_an_unknown_placeholder_is_answered_with_those_there_are_and_all_faults_come_together() -> None:
    _, faults = read_wording("hold_confirmed", "{when}", "{a} {b} {until}")
    assert [fault.message for fault in faults] == [
        "There is no {when} in this message.",
        "There is no {a} in this message.",
        "There is no {b} in this message.",
        "Without {link} this message is of no use.",
    ]
    assert faults[0].accepted == "{name}, {shop}, {telephone}, {code}, {link}, {until}"


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_the_usual_words_stand_up_to_their_own_rules_and_leave_nothing_unfilled(kind: Kind) -> None:
    text, faults = read_wording(kind.name, kind.usual.subject, kind.usual.body)
    assert faults == ()
    assert text == kind.usual
    sample = sample_of(kind.name, text)
    assert "{" not in sample.subject + sample.body
    assert sample.body.endswith("\n\nTwo Herons Watersports\n01 555 0100\n"), "it is signed"
    without = fill(text, dict.fromkeys(kind.samples, ""))
    assert "\n\n\n" not in without.body


def test_a_text_is_filled_by_name_alone_and_values_are_not_looked_into() -> None:
    values = {"name": "{link} {0} {name.x}", "link": "https://shop.example"}
    assert fill(Wording("For {name}", "{name}: {link}"), values) == Wording(
        "For {link} {0} {name.x}", "{link} {0} {name.x}: https://shop.example\n"
    )
    with pytest.raises(ValueError, match="link"):
        fill(Wording("For {name}", "{link}"), {"name": "Some One"})


def test_a_line_whose_placeholders_come_out_empty_is_left_out_with_its_blank_line() -> None:
    text = Wording("x", "one\n\n{because}\n\ntwo, {because}\n{because}\nthree\n")
    assert fill(text, {"because": ""}).body == "one\n\ntwo, \nthree\n"
    assert fill(text, {"because": "a\r\nb"}).body == "one\n\na\nb\n\ntwo, a\nb\na\nb\nthree\n"


@given(st.text(), st.text())
def test_no_value_makes_a_second_line_of_a_subject(name: str, because: str) -> None:
    filled = fill(Wording("{name}: {because}", "{name}\n{because}"), {"name": name, "because": because})
    assert filled.subject.isprintable()
    assert filled.body.replace("\n", "").isprintable()


def test_a_message_id_has_the_host_of_the_shop_or_one_that_nobody_can_have() -> None:
    assert new_message_id("abc", "hello@twoherons.example") == "<abc@twoherons.example>"
    for address in ("", "hello", "hello@two herons.example", "hello@x>\r\n", "hello@strand\u00e9.example"):
        assert new_message_id("abc", address) == "<abc@slackwater.invalid>"


def test_waits_double_from_a_minute_to_two_hours() -> None:
    assert [wait_after(tries) / timedelta(minutes=1) for tries in range(1, 10)] == [1, 2, 4, 8, 16, 32, 64, 120, 120]
    assert wait_after(10_000) == timedelta(hours=2)


def test_sending_is_given_up_three_days_after_it_was_written_or_asked_for_again() -> None:
    old = letter(made_at=NOON - 2 * GIVE_UP_AFTER, next_at=NOON)
    assert not is_too_old(old, NOON), "asked for again by hand: it is tried"
    assert is_too_old(old, NOON + GIVE_UP_AFTER + timedelta(seconds=1))
    assert is_too_old(letter(made_at=old.made_at, next_at=NOON, tries=1), NOON), "tried, and it did not go"
    assert not is_too_old(letter(tries=40), NOON + GIVE_UP_AFTER)
