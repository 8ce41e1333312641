"""Reading JSON bodies strictly, and answering in one shape: `{"errors": [{"field", "message", "accepted"}]}`."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Annotated, Any, NoReturn

from fastapi import Depends, Request
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput
from server.domain.learner import SEEN

MOST_DIGITS = 400
JSON_OBJECT = "a JSON object in UTF-8 with each name once"


class Json(Response):
    """A JSON answer in plain ASCII, so that whatever was sent can be named in an error."""

    media_type = "application/json"

    def render(self, content: Any) -> bytes:
        return json.dumps(content, ensure_ascii=True, allow_nan=False, separators=(",", ":")).encode()


def errors(faults: Iterable[Fault], status: int) -> Json:
    """Faults as an answer with a status."""
    rows = [{"field": f.field, "message": f.message, "accepted": f.accepted} for f in faults]
    return Json({"errors": rows}, status_code=status)


class _OurWords(ValueError):
    """What is wrong with a body, in words that may be shown; other errors of the parser speak of its inside."""


def _no_constant(name: str) -> NoReturn:
    raise _OurWords(f"{name} is not a number in JSON")


def _whole(text: str) -> int:
    if len(text) > MOST_DIGITS:
        raise _OurWords("a number is too large")
    return int(text)


def _each_name_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read = dict(pairs)
    if len(read) != len(pairs):
        raise _OurWords("a name stands there twice")
    return read


def read_json_object(body: bytes) -> dict[str, Any]:
    """The object in a body; raises `InvalidInput` for anything that is not one."""
    try:
        value = json.loads(
            body.decode("utf-8"),
            parse_constant=_no_constant,
            parse_int=_whole,
            object_pairs_hook=_each_name_once,
        )
    except (ValueError, RecursionError) as error:
        words = str(error) if isinstance(error, _OurWords) else "it cannot be parsed"
        raise InvalidInput([Fault("body", f"This is not JSON that can be read: {words}.", JSON_OBJECT)]) from error
    if not isinstance(value, dict):
        raise InvalidInput([Fault("body", "This is not a JSON object.", JSON_OBJECT)])
    return value


async def _json_object(request: Request) -> dict[str, Any]:
    return read_json_object(await request.body())


JsonObject = Annotated[dict[str, Any], Depends(_json_object)]


def _learners_own(answers: dict[str, Any]) -> dict[str, Any]:
    """Answers that say nothing that only an instructor may say; raises `InvalidInput`."""
    if SEEN in answers:
        words = "What was seen on the water is for the instructor to say, after a lesson."
        raise InvalidInput([Fault(SEEN, words, "answers without it")])
    return answers


async def _answers_object(request: Request) -> dict[str, Any]:
    return _learners_own(read_json_object(await request.body()))


AnswersObject = Annotated[dict[str, Any], Depends(_answers_object)]
"""A body that is a learner's answers and nothing else."""


MOST_SKUS = 20


def answers_and_skus(body: dict[str, Any], *also: str) -> tuple[dict[str, Any], list[str] | None]:
    """The answers and the SKUs of a body that may hold these and the other fields named, and nothing else."""
    fields = ("answers", "skus", *also)
    faults = [Fault(name[:60], "There is no such field.", ", ".join(fields)) for name in body if name not in fields]
    answers, skus = body.get("answers"), body.get("skus")
    if not isinstance(answers, dict):
        faults.append(Fault("answers", "The answers are missing.", "an object with the learner's answers"))
    are_skus = isinstance(skus, list) and len(skus) <= MOST_SKUS and all(isinstance(sku, str) for sku in skus)
    if skus is not None and not are_skus:
        faults.append(Fault("skus", "This is not a list of SKUs.", f"a list of at most {MOST_SKUS} texts, or nothing"))
    if faults or not isinstance(answers, dict):
        raise InvalidInput(faults)
    return _learners_own(answers), skus
