"""`/api/openapi.json`: a description that is valid, names every route and error, and that real answers hold to exactly."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.openapi.models import OpenAPI
from jsonschema import Draft202012Validator

from server.domain.learner import FIELDS
from server.usecases.deposits import take_deposit
from server.usecases.work import Shop
from tests.builders_http import Client
from tests.builders_shop import NOON, STRONG, WING_OF_ONES_OWN, learner

ROUTES: dict[str, dict[str, tuple[str | None, dict[str, str]]]] = {
    "/api/fit": {"post": ("Answers", {"200": "Fit"})},
    "/api/kits": {"post": ("Answers", {"200": "Kits"})},
    "/api/wind": {"post": ("WindRequest", {"200": "Wings"})},
    "/api/quotes": {"post": ("QuoteRequest", {"201": "Quote"})},
    "/api/quotes/{token}": {"get": (None, {"200": "Quote"})},
    "/api/quotes/{token}/agree": {"post": ("AgreeRequest", {"200": "Quote"})},
    "/api/parts": {"get": (None, {"200": "Parts"})},
}
ERRORS = {
    ("/api/fit", "post"): {"413", "422", "429"},
    ("/api/kits", "post"): {"413", "422", "429"},
    ("/api/wind", "post"): {"409", "413", "422", "429"},
    ("/api/quotes", "post"): {"409", "413", "422", "429"},
    ("/api/quotes/{token}/agree", "post"): {"404", "409", "410", "413", "422", "429"},
    ("/api/quotes/{token}", "get"): {"404", "422", "429"},
    ("/api/parts", "get"): {"422", "429"},
}


@pytest.fixture
def document(client: Client) -> dict[str, Any]:
    """The description as it is served."""
    answer = client.get("/api/openapi.json")
    assert answer.status_code == 200
    told: dict[str, Any] = answer.json()
    return told


def validator(document: dict[str, Any], name: str, *, closed: bool = False) -> Draft202012Validator:
    """A validator of a named schema; closed, it takes no name that the schemas do not list."""
    schemas = {key: shut(schema) if closed else schema for key, schema in document["components"]["schemas"].items()}
    return Draft202012Validator({"$ref": f"#/components/schemas/{name}", "components": {"schemas": schemas}})


def shut(schema: Any) -> Any:
    """A schema in which no object takes names it does not list."""
    if isinstance(schema, list):
        return [shut(inner) for inner in schema]
    if not isinstance(schema, dict):
        return schema
    inner = {name: shut(value) for name, value in schema.items()}
    if "properties" in schema and "additionalProperties" not in schema:
        inner["additionalProperties"] = False
    return inner


def references_in(value: Any) -> Iterator[str]:
    """Every reference in a document."""
    if isinstance(value, dict):
        if isinstance(value.get("$ref"), str):
            yield value["$ref"]
        for inner in value.values():
            yield from references_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from references_in(inner)


def test_it_is_a_valid_document_of_openapi_3_1(document: dict[str, Any]) -> None:
    assert OpenAPI.model_validate(document).openapi == "3.1.0"
    for schema in document["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema)  # OpenAPI 3.1 schemas are JSON Schema 2020-12.
    references = set(references_in(document))
    known = {f"#/components/schemas/{name}" for name in document["components"]["schemas"]}
    assert references <= known
    assert {f"#/components/schemas/{name}" for name in ("Answers", "Kit", "Breakdown", "Errors")} <= references


def test_it_describes_every_route_with_its_body_answer_and_errors(document: dict[str, Any]) -> None:
    assert {path: set(methods) for path, methods in document["paths"].items()} == {
        path: set(methods) for path, methods in ROUTES.items()
    }
    for path, methods in ROUTES.items():
        for method, (body, answers) in methods.items():
            said = document["paths"][path][method]
            bodies = set(references_in(said.get("requestBody", {})))
            assert bodies == ({f"#/components/schemas/{body}"} if body else set())
            told = {status: set(references_in(answer)) for status, answer in said["responses"].items()}
            errors = {status: {"#/components/schemas/Errors"} for status in ERRORS[path, method]}
            assert told == {status: {f"#/components/schemas/{name}"} for status, name in answers.items()} | errors


def test_it_speaks_of_nothing_that_is_the_shops_own_affair(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    names = {name for schema in schemas.values() for name in schema.get("properties", {})}
    assert not names & {"cost", "margin", "on_hand", "gtin"}


def real_answers(client: Client, shop: Shop) -> Iterator[tuple[str, Any]]:
    """Real answers of every shape."""
    with shop.writing() as work:
        codes = [take_deposit(work, kind, 60_00, "taken", NOON.date()).code for kind in ("private", "group")]
    bodies = [
        learner(),
        learner(budget=100_000_00, **STRONG),
        learner(keeps=[WING_OF_ONES_OWN, {"slot": "board", "volume_l": 110, "width_cm": 76, "track": "twin-track"}]),
        learner(mass_kg=136, deposit_codes=codes, extras=["helmet", "wetsuit"], zone="European Union"),
        learner(trades=[{"slot": "board", "price_new": 90000, "months": 3, "condition": "good", "faults": []}]),
    ]
    for body in bodies:
        yield "Fit", client.told("/api/fit", body)
        yield "Kits", client.told("/api/kits", body)
        yield "Wings", client.told("/api/wind", {"answers": body, "spot": "Tullaveen Strand"})
        quote = client.told("/api/quotes", {"answers": body}, 201)
        yield "Quote", quote
        yield "Quote", client.get(f"/api/quotes/{quote['url'].rsplit('/', 1)[1]}").json()
    agreement = {"name": "A Learner", "email": "learner@example.org", "revision": 1}
    yield "Quote", client.told(f"/api/quotes/{quote['url'].rsplit('/', 1)[1]}/agree", agreement)
    for mass in (144, 150):
        yield "Kits", client.told("/api/kits", learner(mass_kg=mass))
    yield "Parts", client.get("/api/parts").json()
    yield "Errors", client.post_json("/api/fit", {}).json()
    yield "Errors", client.get("/api/nothing").json()


def test_real_answers_hold_to_it_and_tell_nothing_it_does_not_name(
    client: Client, shop: Shop, document: dict[str, Any]
) -> None:
    seen = set()
    for name, answer in real_answers(client, shop):
        for closed in (False, True):
            errors = validator(document, name, closed=closed).iter_errors(answer)
            faults = [f"{error.json_path}: {error.message[:200]}" for error in errors]
            assert faults == [], name
        seen.add(name)
    assert seen == {"Fit", "Kits", "Wings", "Quote", "Parts", "Errors"}


BODIES: dict[str, tuple[dict[str, Any], bool]] = {
    "the least": (learner(), True),
    "nulls": (learner(water=None, keeps=None, budget=None), True),
    "everything": (
        learner(
            wing_handling="none",
            water="sea",
            usual_wind_kn=15.5,
            spot="Tullaveen Strand",
            min_depth_m=2,
            keeps=[{"slot": "hand_wing", "area_m2": 6.0}],
            trades=[
                {
                    "slot": "mast",
                    "price_new": 1,
                    "months": 2,
                    "condition": "poor",
                    "faults": ["cracked"],
                    "invoice": "A1",
                }
            ],
            extras=["pump"],
            delivery="collect",
            zone="Ireland",
            budget=1,
            deposit_codes=[],
            under_18=False,
            swims_100m="yes",
        ),
        True,
    ),
    "a mass too small": (learner(mass_kg=34), False),
    "a mass in words": (learner(mass_kg="80"), False),
    "a missing answer": ({name: value for name, value in learner().items() if name != "fitness"}, False),
    "another word": (learner(water="river"), False),
    "a question nobody asked": (learner(shoe_size=43), False),
    "half a cent": (learner(budget=0.5), False),
    "gear of no slot": (learner(keeps=[{"area_m2": 5}]), False),
    "a measure of another slot": (learner(keeps=[{"slot": "hand_wing", "volume_l": 100}]), False),
    "a trade without its age": (learner(trades=[{"slot": "mast", "price_new": 1, "condition": "good"}]), False),
}


@pytest.mark.parametrize("name", BODIES)
def test_it_accepts_the_bodies_that_the_interface_accepts(client: Client, document: dict[str, Any], name: str) -> None:
    body, is_right = BODIES[name]
    assert validator(document, "Answers").is_valid(body) is is_right
    assert (client.post_json("/api/fit", body).status_code == 200) is is_right
    request = {"answers": body, "skus": None}
    assert validator(document, "QuoteRequest").is_valid(request) is is_right
    assert (client.post_json("/api/quotes", request).status_code == 201) is is_right


def test_it_names_every_question(document: dict[str, Any]) -> None:
    assert list(document["components"]["schemas"]["Answers"]["properties"]) == list(FIELDS)
