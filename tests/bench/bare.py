"""What the stack can do at best: a FastAPI handler that reads one row of SQLite and fills a Jinja page of 15 KB, and nothing else.

Handler, session, server and compression are as in the program, so that what a page of ours costs beside it is its own.
`python -m tests.bench.bare FOLDER PORT` serves it.
"""

from __future__ import annotations

import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import uvicorn
from anyio.to_thread import current_default_thread_limiter
from fastapi import FastAPI
from jinja2 import DictLoader, Environment
from sqlmodel import Field, SQLModel
from starlette.responses import HTMLResponse, Response

from server.app import AT_ONCE
from server.persistence.engine import Place, engine_for, sessions
from server.web.packed import Packed

ROWS = 200
PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><title>{{ note.title }}</title></head><body><h1>{{ note.title }}</h1>
{% for number, word, share in lines %}
<p class="line"><b>{{ number }}</b> <span>{{ word }} of {{ note.title }}</span> <i>{{ share }} per cent</i></p>
{% endfor %}
</body></html>
"""


class Note(SQLModel, table=True):
    """A row to read."""

    __tablename__ = "bare_note"
    id: int | None = Field(default=None, primary_key=True)
    title: str


@asynccontextmanager
async def _as_in_the_program(_app: FastAPI) -> AsyncIterator[None]:
    current_default_thread_limiter().total_tokens = AT_ONCE
    yield


def create_bare(folder: Path) -> FastAPI:
    """The application over a folder in which its database is made."""
    engine = engine_for(Place(folder))
    SQLModel.metadata.create_all(engine, tables=[Note.__table__])  # type: ignore[attr-defined]
    make = sessions(engine)
    with make(True) as session:
        session.add_all([Note(title=f"Note {number} <of all>") for number in range(ROWS)])
        session.commit()
    template = Environment(loader=DictLoader({"page": PAGE}), autoescape=True).get_template("page")
    app = FastAPI(lifespan=_as_in_the_program)

    @app.get("/notes/{number}")
    def show(number: int) -> Response:
        with make(False) as session:
            note = session.get_one(Note, 1 + number % ROWS)
        lines = [(line, f"word {number + line}", (number * line) % 101) for line in range(150)]
        return HTMLResponse(template.render(note=note, lines=lines))

    app.add_middleware(Packed)
    return app


def main() -> None:
    """Serve it at a port of loopback."""
    folder, port = Path(sys.argv[1]), int(sys.argv[2])
    uvicorn.run(create_bare(folder), host="127.0.0.1", port=port, log_config=None, access_log=False)


if __name__ == "__main__":
    main()
