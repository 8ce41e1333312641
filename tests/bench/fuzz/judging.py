"""What every answer must hold to, whatever was asked, and what a refusal may write: nothing, but where it is said why."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, closing, contextmanager
from typing import Any

import httpx
import psycopg
from html5lib.html5parser import ParseError
from sqlalchemy.engine import make_url
from sqlmodel import SQLModel

from server.persistence.engine import Place
from server.web.guard import CONTENT_POLICY, FILE_POLICY
from tests.bench.fuzz.routes import Route
from tests.bench.fuzz.values import MARK
from tests.pages.reader import parsed, parsed_fragment

TABLES = tuple(table.name for table in SQLModel.metadata.sorted_tables)
WRONG_CODE = "Codes that lead nowhere are counted for the account that tries them, so that nobody guesses."
WRONG_PROOF = "A wrong password or one-time code is counted, and recorded for the owner."
WRITES: Mapping[str, tuple[frozenset[str], str]] = {
    "POST /drafts/{token}/{step}": (frozenset({"draft"}), "What can be read of a step is kept."),
    "POST /desk/worksheets/{token}": (frozenset({"draft", "worksheet"}), "What can be read of a worksheet is kept."),
    "POST /sign-in": (frozenset({"sign_in_failure", "deed"}), WRONG_PROOF),
    "POST /sign-in/code": (frozenset({"sign_in_failure", "deed"}), WRONG_PROOF),
    "POST /account/password": (frozenset({"sign_in_failure", "deed"}), WRONG_PROOF),
    "POST /account/factor": (frozenset({"sign_in_failure", "deed"}), WRONG_PROOF),
    "POST /account/factor/confirm": (frozenset({"sign_in_failure", "deed"}), WRONG_PROOF),
    "POST /account/sessions/end": (frozenset({"sign_in_failure", "deed"}), WRONG_PROOF),
    "POST /console/people/data.zip": (frozenset({"deed"}), "That somebody's data was taken out is recorded."),
    "POST /desk/find": (frozenset({"sign_in_failure"}), WRONG_CODE),
    "POST /desk/calls": (frozenset({"sign_in_failure"}), WRONG_CODE),
    "POST /desk/worksheets": (frozenset({"sign_in_failure"}), WRONG_CODE),
    "POST /desk/lessons/{number}/book": (frozenset({"sign_in_failure"}), WRONG_CODE),
    "POST /desk/bookings/{number}/quote": (frozenset({"sign_in_failure"}), WRONG_CODE),
}
"""What a refused request to a route writes, and why; to any other it writes nothing. A GET is held to the same."""
OF_A_CODE = ("/desk/quotes/{code}", "/desk/holds/{code}", "/desk/deposits/{code}")
"""Where a code stands in the address; a wrong one is counted there too."""


BEHIND_THE_DOOR = ("/desk", "/console", "/staff", "/messages", "/account")
USED = frozenset({"account_session"})
"""Of whoever is signed in it is noted once a minute that they are there, since a session ends when nobody uses it."""


def may_write(route: Route | None) -> frozenset[str]:
    """The tables that a refused request to a route may write."""
    if route is None:
        return frozenset()
    used = USED if route.path.startswith(BEHIND_THE_DOOR) else frozenset()
    if route.path.startswith(OF_A_CODE):
        return used | {"sign_in_failure"}
    return used | WRITES[route.said][0] if route.said in WRITES else used


INSIDES = re.compile(
    r"Traceback \(most|\bFile \"/|sqlalchemy|psycopg|sqlite3\.|IntegrityError|OperationalError|DataError|\bSELECT .{1,400}\bFROM\b"
    r"|\bINSERT INTO\b|\bUPDATE \w+ SET\b|pydantic|starlette|jinja2|/site-packages/|\.py\b",
    re.DOTALL,
)
SIGNS_OF_INSIDES = (
    *(
        "Traceback (most",
        'File "/',
        "sqlalchemy",
        "psycopg",
        "sqlite3.",
        "IntegrityError",
        "OperationalError",
        "DataError",
    ),
    *("SELECT ", "INSERT INTO", "UPDATE ", "pydantic", "starlette", "jinja2", "/site-packages/", ".py"),
)
"""One of these stands in whatever tells of the insides; to look for each takes a tenth of the time of the expression."""
OPENS = re.compile(r"\s*<[a-z!]")


def insides_in(text: str) -> list[str]:
    """What a text tells of the program's insides."""
    return INSIDES.findall(text)[:3] if any(sign in text for sign in SIGNS_OF_INSIDES) else []


def fault_of(answer: httpx.Response, *, in_full: bool) -> str:
    """What is wrong with an answer, whatever was asked; empty where nothing is. In full its HTML is read as the standard says."""
    if answer.status_code >= 500:
        return "a fault of the server"
    headers = answer.headers
    is_saved = headers.get("content-disposition", "").startswith("attachment")
    is_file = is_saved or headers.get("content-type") == "image/jpeg"
    policy = FILE_POLICY if is_file else CONTENT_POLICY
    if headers.get("content-security-policy") != policy or headers.get("x-content-type-options") != "nosniff":
        return "an answer without its safe headers"
    if answer.request.method == "HEAD":
        return "a body for HEAD" if answer.content else ""
    kind = headers.get("content-type", "")
    if kind.startswith("text/html"):
        return _fault_of_html(answer, in_full=in_full)
    if answer.status_code < 400 or "HX-Redirect" in headers:  # Asked without a session: the page goes to the sign-in.
        return ""
    return _fault_of_errors(answer, kind)


def _fault_of_html(answer: httpx.Response, *, in_full: bool) -> str:
    html = answer.text
    if MARK in html:
        return "what was typed became an element of the page"
    is_page = html.startswith("<!doctype")
    if answer.status_code >= 400 and (insides := insides_in(html)):
        return f"an error that tells of the insides: {insides}"
    if is_page and not ("<title>" in html and "</html>" in html):
        return "a page of no shape"
    is_asked_in_part = "true" in answer.request.headers.get_list("HX-Request", split_commas=True)
    if not is_page and html and not (is_asked_in_part and OPENS.match(html)):
        return "a fragment of no shape"
    if f"{answer.request.url.path}/".startswith("/api/"):
        return "HTML from the interface"
    if not in_full or not html:
        return ""
    try:
        parsed(html) if is_page else parsed_fragment(html)
    except ParseError as error:
        # What was typed is shown as it was typed, signs that no page should hold among it.
        return "" if "codepoint" in str(error) else f"HTML that is not valid: {error}"
    return ""


def _fault_of_errors(answer: httpx.Response, kind: str) -> str:
    try:
        told = answer.json()
        rows = told["errors"]
        is_right = set(told) == {"errors"} and len(rows) > 0 and all(_is_fault(row) for row in rows)
    except (ValueError, KeyError, TypeError):
        is_right = False
    if not is_right or kind != "application/json":
        return "an error of no shape"
    told = [row["message"] for row in rows]
    return next((f"an error that tells of the insides: {words}" for words in told if insides_in(words)), "")


def _is_fault(row: Any) -> bool:
    texts = isinstance(row, dict) and all(isinstance(text, str) for text in row.values())
    return texts and set(row) == {"field", "message", "accepted"} and bool(row["message"])


class Watch:
    """Sees every row that is written, by triggers that note the table's name, and counts the rows of all tables beside it."""

    def __init__(self, connection: Any, *, is_postgres: bool) -> None:
        self.connection, self.is_postgres, self.last, self.version = connection, is_postgres, 0, 0
        counts = ", ".join(f'(SELECT count(*) FROM "{name}")' for name in TABLES)
        self.counting = f"SELECT {counts}"

    def begin(self) -> None:
        """Put up the triggers."""
        serial = "BIGINT GENERATED ALWAYS AS IDENTITY" if self.is_postgres else "INTEGER"
        self._do(f"CREATE TABLE touched (id {serial} PRIMARY KEY, name TEXT NOT NULL)")
        if self.is_postgres:
            self._do(
                "CREATE FUNCTION note_touched() RETURNS trigger LANGUAGE plpgsql AS "
                "$$BEGIN INSERT INTO touched (name) VALUES (TG_TABLE_NAME); RETURN NULL; END$$"
            )
        for name in TABLES:
            for verb in ("INSERT", "UPDATE", "DELETE"):
                does = (
                    "EXECUTE FUNCTION note_touched()"
                    if self.is_postgres
                    else f"BEGIN INSERT INTO touched (name) VALUES ('{name}'); END"
                )
                self._do(f'CREATE TRIGGER "touched_{name}_{verb}" AFTER {verb} ON "{name}" FOR EACH ROW {does}')

    def _do(self, statement: str) -> Any:
        return self.connection.execute(statement)

    def touched(self) -> set[str]:
        """The tables that were written since this was last asked."""
        if not self.is_postgres:
            version = self._do("PRAGMA data_version").fetchone()[0]
            if version == self.version:  # Nobody has committed anything.
                return set()
            self.version = version
        rows = self._do(f"SELECT id, name FROM touched WHERE id > {self.last} ORDER BY id").fetchall()
        self.last = rows[-1][0] if rows else self.last
        return {name for _, name in rows}

    def counts(self) -> dict[str, int]:
        """How many rows every table has."""
        return dict(zip(TABLES, self._do(self.counting).fetchone(), strict=True))


@contextmanager
def watching(place: Place) -> Iterator[Watch]:
    """A watch over a place, past the program."""
    with ExitStack() as ending:
        if place.url:
            address = make_url(place.url).set(drivername="postgresql").render_as_string(hide_password=False)
            connection: Any = ending.enter_context(psycopg.connect(address, autocommit=True))
        else:
            connection = ending.enter_context(closing(sqlite3.connect(place.sqlite_file, isolation_level=None)))
        watch = Watch(connection, is_postgres=bool(place.url))
        watch.begin()
        yield watch


def resident_kib(process: int) -> int:
    """How much memory a process holds, in KiB, as Linux tells it."""
    with open(f"/proc/{process}/status", encoding="ascii") as lines:
        return next(int(line.split()[1]) for line in lines if line.startswith("VmRSS:"))
