"""Requests out of the ordinary: each is answered, refused in the one shape, and a refusal changes nothing."""

from __future__ import annotations

import random
from collections import Counter
from pathlib import Path

import httpx
import pytest
import time_machine

from server.persistence.engine import Place
from server.usecases.opening import open_shop
from server.web.guard import CONTENT_POLICY, FILE_POLICY
from tests.bench.fuzz import fuzz
from tests.bench.fuzz.forms import forms_of
from tests.bench.fuzz.judging import fault_of, watching
from tests.bench.fuzz.scenes import UNMADE, must_mostly_be_made
from tests.bench.fuzz.values import MARK
from tests.bench.harness import Outcome, count_stock
from tests.pace import examples
from tests.pages.reader import read


def test_no_request_breaks_the_server_and_no_refusal_changes_a_row(data: Path) -> None:
    outcome = fuzz(Place(data), examples(480), seed=3, described=examples(60))
    assert outcome.violations == []
    assert outcome.done["answers of 500"] == 0
    assert outcome.done["requests"] >= examples(480)


PAGE = "<!doctype html><html lang=en><title>T</title><p>%s</p></html>"
SAFE = {
    "Content-Security-Policy": CONTENT_POLICY,
    "X-Content-Type-Options": "nosniff",
    "Content-Type": "text/html; charset=utf-8",
}
JSON = {**SAFE, "Content-Type": "application/json"}
SAVED = {**SAFE, "Content-Type": "text/csv", "Content-Disposition": 'attachment; filename="parts.csv"'}


@pytest.mark.parametrize(
    ("status", "headers", "said", "found"),
    [
        (422, SAFE, PAGE % "One answer is not right yet", ""),
        (500, SAFE, PAGE % "Sorry", "a fault of the server"),
        (200, {"Content-Type": "text/html"}, PAGE % "", "an answer without its safe headers"),
        (200, SAFE, PAGE % f"{MARK}>", "what was typed became an element of the page"),
        (422, SAFE, PAGE % "SELECT id FROM quote", "an error that tells of the insides"),
        (200, {**SAVED, "Content-Security-Policy": FILE_POLICY}, "sku,price", ""),
        (200, SAVED, "sku,price", "an answer without its safe headers"),
        (404, SAFE, "nothing", "a fragment of no shape"),
        (200, SAFE, PAGE % "<b><i></b></i>", "HTML that is not valid"),
        (422, JSON, '{"errors": [{"field": "a", "message": "b", "accepted": ""}]}', ""),
        (422, JSON, '{"detail": "no"}', "an error of no shape"),
    ],
)
def test_what_must_not_be_answered_is_found(status: int, headers: dict[str, str], said: str, found: str) -> None:
    request = httpx.Request("GET", "http://127.0.0.1/quotes/x")
    fault = fault_of(httpx.Response(status, headers=headers, text=said, request=request), in_full=True)
    assert fault.startswith(found)
    assert bool(fault) == bool(found)


SEED_PAGE = """<!doctype html><title>T</title><p id="seed">GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ</p>
<form method="post" action="/account/factor/confirm"><input name="code" autocomplete="one-time-code"></form>"""


@pytest.mark.parametrize(("moment", "code"), [(59, "287082"), (1_111_111_109, "081804"), (2_000_000_000, "279037")])
def test_a_code_is_made_of_the_seed_on_the_page(moment: int, code: str) -> None:
    """RFC 6238, appendix B, for SHA-1, of which an authenticator shows the last six digits."""
    [form] = forms_of(read(SEED_PAGE), "/account/factor", "")
    with time_machine.travel(moment, tick=False):
        assert form.right(random.Random(1), {}).body == f"code={code}".encode()


@pytest.mark.parametrize(("unmade", "is_told"), [(1, False), (6, False), (7, True)])
def test_too_many_states_that_cannot_be_made_are_told(unmade: int, is_told: bool) -> None:
    outcome = Outcome(done=Counter({"states": 30, UNMADE: unmade}))
    must_mostly_be_made(outcome, Counter())
    assert bool(outcome.violations) == is_told


def test_whatever_is_written_is_seen(data: Path) -> None:
    shop = open_shop(Place(data))
    with watching(Place(data)) as watch:
        watch.touched()
        assert watch.touched() == set()
        before = watch.counts()
        count_stock(shop, 7)
        assert watch.touched() == {"stock_entry", "deed"}  # Who counted is recorded.
        assert watch.counts()["stock_entry"] > before["stock_entry"]
    shop.close()
