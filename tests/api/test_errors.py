"""Whatever is sent, the interface answers in one shape and never breaks: bad bodies, bad numbers, bad texts, bad addresses."""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.app import create_app
from server.domain.learner import FIELDS
from server.domain.slots import CORE_SLOTS
from server.settings import Settings
from tests.builders_http import Client, faults_of, fields_of
from tests.builders_shop import learner
from tests.pace import IS_WHOLE, examples

POSTS = ("/api/fit", "/api/kits", "/api/wind", "/api/quotes")
WITH_SKUS = ("/api/wind", "/api/quotes")


@pytest.fixture(scope="module")
def asked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Client]:
    """A program over a shop that may be written to by any of these requests."""
    data: Path = tmp_path_factory.mktemp("asked")
    with Client(create_app(Settings(data=data, public_burst=0))) as client:
        yield client


def body_of(path: str, answers: Any) -> Any:
    """Answers as the body of a path."""
    return {"answers": answers} if path in WITH_SKUS else answers


def sent(path: str, answers: bytes) -> bytes:
    """Answers that are already bytes, as the body of a path."""
    return b'{"answers":' + answers + b"}" if path in WITH_SKUS else answers


NO_JSON = {
    "nothing": b"",
    "spaces": b"  \n",
    "a word": b"hello",
    "half an object": b'{"mass_kg": 80',
    "two objects": b"{}{}",
    "a name twice": b'{"mass_kg": 80, "mass_kg": 81}',
    "names without quotes": b"{mass_kg: 80}",
    "invalid UTF-8": b'{"spot": "\xff\xfe"}',
    "half a letter of UTF-8": b'{"spot": "\xc3"}',
    "UTF-16": '{"mass_kg": 80}'.encode("utf-16"),
    "a NUL": b'{"mass_kg": 80}\x00',
    "a byte order mark": b'\xef\xbb\xbf{"mass_kg": 80}',
    "not a number": b'{"mass_kg": NaN}',
    "infinity": b'{"mass_kg": Infinity}',
    "infinity below zero": b'{"mass_kg": -Infinity}',
    "a number of five thousand digits": b'{"budget": ' + b"9" * 5000 + b"}",
    "a form": b"mass_kg=80&to_feet=quick",
    "a list nested without end": b'{"keeps": ' + b"[" * 30000 + b"]" * 30000 + b"}",
    "an object nested without end": b'{"keeps": ' + b'{"a":' * 10000 + b"1" + b"}" * 10000 + b"}",
}


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize("name", NO_JSON)
def test_a_body_that_cannot_be_read_is_bad_input(asked: Client, path: str, name: str) -> None:
    [fault] = faults_of(asked.post(path, content=sent(path, NO_JSON[name])), 422)
    assert fault["field"] == "body"
    assert fault["accepted"]


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize("body", [b"null", b"[]", b"1", b'"mass_kg"', b"true"])
def test_a_body_that_is_no_object_is_bad_input(asked: Client, path: str, body: bytes) -> None:
    assert fields_of(faults_of(asked.post(path, content=body), 422)) == ["body"]


@pytest.mark.parametrize("path", POSTS)
def test_nesting_of_any_depth_is_bad_input(asked: Client, path: str) -> None:
    depths = [*range(1, 20), *range(300, 340), *range(480, 520), *range(880, 1010)]
    for depth in depths if IS_WHOLE else depths[::3]:
        deep = b"[" * depth + b"]" * depth
        answer = asked.post(path, content=sent(path, b'{"mass_kg": 80, "keeps": ' + deep + b"}"))
        assert answer.status_code == 422


WRONG: dict[str, tuple[dict[str, Any], str]] = {
    "a mass too small": ({"mass_kg": 34.9}, "mass_kg"),
    "a mass too large": ({"mass_kg": 160.1}, "mass_kg"),
    "a mass in words": ({"mass_kg": "80"}, "mass_kg"),
    "a mass that is true": ({"mass_kg": True}, "mass_kg"),
    "a mass in a list": ({"mass_kg": [80]}, "mass_kg"),
    "a mass of thirty digits": ({"mass_kg": 10**29}, "mass_kg"),
    "a mass below zero": ({"mass_kg": -80}, "mass_kg"),
    "a mass left out": ({"mass_kg": None}, "mass_kg"),
    "feet of another word": ({"to_feet": "fast"}, "to_feet"),
    "feet in a list": ({"to_feet": ["quick"]}, "to_feet"),
    "a stage in an object": ({"foil_stage": {"a": 1}}, "foil_stage"),
    "water of a number": ({"water": 1}, "water"),
    "wind too strong": ({"usual_wind_kn": 36}, "usual_wind_kn"),
    "a depth below zero": ({"min_depth_m": -1}, "min_depth_m"),
    "a spot of another name": ({"spot": "Narnia"}, "spot"),
    "a spot of half a letter": ({"spot": "\ud800"}, "spot"),
    "a spot with a NUL": ({"spot": "Tullaveen\0Strand"}, "spot"),
    "a spot too long": ({"spot": "x" * 61}, "spot"),
    "a zone of another name": ({"zone": "Atlantis"}, "zone"),
    "delivery by air": ({"delivery": "drone"}, "delivery"),
    "a budget of half a cent": ({"budget": 0.5}, "budget"),
    "a budget below nothing": ({"budget": -1}, "budget"),
    "a budget beyond all": ({"budget": 2**63}, "budget"),
    "an age in words": ({"under_18": "maybe"}, "under_18"),
    "a swim of a number": ({"swims_100m": 1}, "swims_100m"),
    "extras of another word": ({"extras": ["paddle"]}, "extras"),
    "extras in one text": ({"extras": "pump"}, "extras"),
    "extras without end": ({"extras": ["pump"] * 21}, "extras"),
    "a question nobody asked": ({"shoe_size": 43}, "shoe_size"),
    "a question of half a letter": ({"\udcff": 1}, "\udcff"),
    "a question of a thousand letters": ({"x" * 1000: 1}, "x" * 60),
    "gear in an object": ({"keeps": {"slot": "board"}}, "keeps"),
    "gear of a text": ({"keeps": ["board"]}, "keeps[0]"),
    "gear without end": ({"keeps": [{"slot": "hand_wing", "area_m2": 5}] * 21}, "keeps"),
    "gear of no slot": ({"keeps": [{"area_m2": 5}]}, "keeps[0].slot"),
    "gear of an extra slot": ({"keeps": [{"slot": "pump"}]}, "keeps[0].slot"),
    "gear of a slot in a list": ({"keeps": [{"slot": ["board"]}]}, "keeps[0].slot"),
    "a hand wing in cm2": ({"keeps": [{"slot": "hand_wing", "area_m2": 55000}]}, "keeps[0].area_m2"),
    "a hand wing with a volume": ({"keeps": [{"slot": "hand_wing", "volume_l": 100}]}, "keeps[0].volume_l"),
    "two boards kept": ({"keeps": [{"slot": "board"}, {"slot": "board"}]}, "keeps[1].slot"),
    "a trade without its price": (
        {"trades": [{"slot": "mast", "months": 1, "condition": "good"}]},
        "trades[0].price_new",
    ),
    "a trade of half a month": (
        {"trades": [{"slot": "mast", "months": 0.5, "condition": "good", "price_new": 1}]},
        "trades[0].months",
    ),
    "a trade of another fault": (
        {"trades": [{"slot": "mast", "months": 1, "condition": "good", "price_new": 1, "faults": ["rusty"]}]},
        "trades[0].faults",
    ),
    "a code that is none": ({"deposit_codes": ["HKBN"]}, "deposit_codes[0]"),
    "a code of half a letter": ({"deposit_codes": ["\ud800"]}, "deposit_codes"),
    "a code of a number": ({"deposit_codes": [1]}, "deposit_codes"),
    "one code in a text": ({"deposit_codes": "HKBN04QA"}, "deposit_codes"),
}


@pytest.mark.parametrize("path", POSTS)
@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_answer_is_named_with_what_is_accepted(asked: Client, path: str, name: str) -> None:
    answers, field = WRONG[name]
    faults = asked.faults(path, body_of(path, learner(**answers)))
    assert set(fields_of(faults)) <= {field, f"{field}[0]"}
    assert field in fields_of(faults)
    assert all(fault["accepted"] for fault in faults)


def test_under_35_kg_the_words_lead_to_a_lesson(asked: Client) -> None:
    [fault] = asked.faults("/api/fit", learner(mass_kg=30))
    assert "lesson or hire" in fault["message"]


def test_all_faults_come_back_together(asked: Client) -> None:
    wrong = {"mass_kg": 1, "fitness": "none", "budget": -1, "keeps": [{"slot": "x"}], "colour": "red"}
    fields = fields_of(asked.faults("/api/fit", wrong))
    assert set(fields) == {
        *("mass_kg", "fitness", "budget", "keeps[0].slot", "colour"),
        *("to_feet", "board_background", "foil_stage"),
    }


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/api", 404),
        ("GET", "/api/", 404),
        ("GET", "/api/nothing", 404),
        ("POST", "/api/nothing", 404),
        ("GET", "/api/%ff", 404),
        ("POST", "/api/fit/", 404),
        ("GET", "/api/parts/", 404),
        ("GET", "/api/quotes/", 404),
        ("GET", "/api/fit", 405),
        ("PUT", "/api/kits", 405),
        ("POST", "/api/parts", 405),
        ("DELETE", "/api/quotes/guessed", 405),
        ("PATCH", "/api/quotes", 405),
        ("GET", "/api/quotes/guessed", 404),
        ("GET", "/api/parts?slot=keel", 422),
    ],
)
def test_errors_of_every_status_have_one_shape(asked: Client, method: str, path: str, status: int) -> None:
    answer = asked.request(method, path)
    faults_of(answer, status)
    assert ("allow" in answer.headers) == (status == 405)


@pytest.mark.parametrize("path", POSTS)
def test_a_body_too_large_is_refused_whether_it_tells_its_length_or_not(asked: Client, path: str) -> None:
    large = b'{"mass_kg": 80, "spot": "' + b"x" * 65_536 + b'"}'

    async def in_pieces() -> Any:
        for place in range(0, len(large), 1000):
            yield large[place : place + 1000]

    faults_of(asked.post(path, content=large), 413)
    faults_of(asked.post(path, content=in_pieces()), 413)


@pytest.mark.parametrize("length", [b"\xb2", b"-1", b"many", b"9" * 5000, b"1e3", b""])
def test_a_length_that_is_no_number_is_refused(asked: Client, length: bytes) -> None:
    headers = {b"Content-Length": length}
    faults_of(asked.post("/api/fit", content=json.dumps(learner()).encode(), headers=headers), 413)


def test_a_body_in_pieces_is_read_whole(asked: Client) -> None:
    async def in_pieces() -> Any:
        for letter in json.dumps(learner()).encode():
            yield bytes([letter])

    assert asked.post("/api/fit", content=in_pieces()).json() == asked.told("/api/fit", learner())


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "application/json; charset=utf-8", ""]
)
def test_json_is_read_whatever_it_is_called(asked: Client, kind: str) -> None:
    answer = asked.post("/api/fit", content=json.dumps(learner()).encode(), headers={"Content-Type": kind})
    assert answer.status_code == 200


# --- anything at all

texts = st.text(st.characters(codec=None), max_size=12)  # Lone surrogates too: JSON can spell them.
numbers = st.integers(-(10**29), 10**29) | st.floats(allow_nan=False, allow_infinity=False)
values: st.SearchStrategy[Any] = st.recursive(
    st.none() | st.booleans() | numbers | texts | st.sampled_from(["board", "quick", "hand_wing", "good", "HKBN04QA"]),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(texts | st.sampled_from(["slot", "area_m2"]), inner, max_size=3)
    ),
    max_leaves=10,
)
rows = st.lists(
    st.fixed_dictionaries(
        {"slot": st.sampled_from(CORE_SLOTS)},
        optional=dict.fromkeys(("volume_l", "width_cm", "track", "area_cm2", "area_m2", "mount", "months"), values),
    ),
    max_size=3,
)


def holds(path: str, status: int) -> bool:
    """Whether a status is one that a body may be answered with."""
    return status in {"/api/quotes": (201, 409, 422), "/api/wind": (200, 409, 422)}.get(path, (200, 422))


@settings(max_examples=examples(120))
@given(st.sampled_from(POSTS), st.dictionaries(st.sampled_from(FIELDS) | texts, values | rows, max_size=4))
def test_no_answers_whatever_break_it(asked: Client, path: str, changes: dict[str, Any]) -> None:
    answer = asked.post_json(path, body_of(path, copy.deepcopy(learner()) | changes))
    assert holds(path, answer.status_code), answer.text
    if answer.status_code >= 400:
        faults_of(answer, answer.status_code)


@settings(max_examples=examples(80))
@given(st.sampled_from(POSTS), values)
def test_no_json_whatever_breaks_it(asked: Client, path: str, value: Any) -> None:
    for body in (value, {"answers": value}, {"answers": learner(), "skus": value}):
        answer = asked.post_json(path, body)
        assert holds(path, answer.status_code), answer.text


@settings(max_examples=examples(80))
@given(
    st.dictionaries(st.sampled_from(["name", "email", "phone", "revision"]) | texts, values, max_size=4),
    st.sampled_from([{}, {"name": "A Learner", "email": "learner@example.org", "revision": 1}]),
)
def test_no_agreement_whatever_breaks_it(asked: Client, agreement: dict[str, Any], usual: dict[str, Any]) -> None:
    faults_of(asked.post_json("/api/quotes/guessed/agree", {"name": "\ud800"} | agreement), 422)
    answer = asked.post_json("/api/quotes/guessed/agree", usual | agreement)
    faults_of(answer, answer.status_code)
    assert answer.status_code in (404, 422)


pieces_of_json = st.text('{}[]",:0123456789eE+-.truefalsn\\u d8', max_size=40)


@settings(max_examples=examples(120))
@given(st.sampled_from(POSTS), st.binary(max_size=60) | pieces_of_json.map(str.encode))
def test_no_bytes_whatever_break_it(asked: Client, path: str, body: bytes) -> None:
    faults_of(asked.post(path, content=body), 422)


@settings(max_examples=examples(60))
@given(st.binary(max_size=40), st.text(max_size=20))
def test_no_address_whatever_breaks_it(asked: Client, token: bytes, slot: str) -> None:
    assert asked.get("/api/quotes/x" + "".join(f"%{byte:02X}" for byte in token)).status_code == 404
    assert asked.get("/api/parts", params={"slot": f"x{slot}"}).status_code == 422


@settings(max_examples=examples(40))
@given(st.binary(max_size=210))
def test_no_key_whatever_breaks_it(asked: Client, key: bytes) -> None:
    headers = {b"Idempotency-Key": key}
    answer = asked.post("/api/quotes", content=json.dumps({"answers": learner()}).encode(), headers=headers)
    assert answer.status_code in (201, 422)


def test_a_number_too_large_for_any_is_named_by_its_field(asked: Client) -> None:
    body = (
        b'{"mass_kg": 1e400, "to_feet": "quick", "fitness": "fair", "board_background": "some", "foil_stage": "none"}'
    )
    [fault] = faults_of(asked.post("/api/fit", content=body), 422)
    assert fault["field"] == "mass_kg"
    assert "finite" in fault["message"]
