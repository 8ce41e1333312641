"""Requests drawn from the interface's own description, right ones and wrong ones; answers must be as described."""

from __future__ import annotations

import random
from typing import Any

import requests
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import seed as seeded
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.core.failures import FailureGroup
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from tests.bench.fuzz.routes import Routes
from tests.bench.harness import Outcome

BEFORE_EVERY_ROUTE = (414, 431)  # Refused before any route is looked for, so no route's description has them.


def from_the_description(
    address: str, number: int, seed: int, draw: random.Random, routes: Routes, outcome: Outcome
) -> None:
    """So many requests, as many right ones as wrong ones to each operation; what is not answered as described is noted."""
    schema = schemathesis.openapi.from_url(f"{address}/api/openapi.json")
    operations = [found.ok() for found in schema.get_all_operations() if isinstance(found, Ok)]
    each = max(1, number // (2 * len(operations)))
    checks = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
    with requests.Session() as session:
        for operation in operations:
            for mode in (GenerationMode.POSITIVE, GenerationMode.NEGATIVE):

                @seeded(seed)
                @settings(
                    max_examples=each,
                    database=None,
                    deadline=None,
                    phases=[Phase.generate],
                    suppress_health_check=list(HealthCheck),
                )
                @given(operation.as_strategy(generation_mode=mode))
                def ask(case: Any) -> None:
                    known = routes.parts["/quotes/{token}"]
                    if "token" in case.path_parameters and known and draw.random() < 0.7:
                        case.path_parameters["token"] = draw.choice(known)
                    answer = case.call(base_url=address, session=session)
                    outcome.done["requests"] += 1
                    outcome.done["from the description"] += 1
                    outcome.statuses[answer.status_code] += 1
                    routes.count(routes.at(case.method, answer.request.path_url), answer.status_code)
                    if answer.status_code in BEFORE_EVERY_ROUTE:
                        return
                    try:
                        case.validate_response(answer, checks=checks)
                    except FailureGroup as failures:
                        words = [str(failure) for failure in failures.exceptions]
                        outcome.must(False, "not as described", words, case.as_curl_command())

                try:
                    ask()
                except Unsatisfiable:
                    outcome.done["operations that take nothing wrong"] += 1
