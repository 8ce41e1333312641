"""One profile for all properties, and a shop with the seed catalogue for every test: its folder, its clock and its front door."""

from __future__ import annotations

import gc

gc.disable()  # Nobody looks for rubbish while all is imported and collected: a sixth of the start.
import os
import shutil
from collections.abc import Generator, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, settings
from jinja2 import BytecodeCache
from jinja2.bccache import Bucket
from pydantic import SecretStr
from sqlalchemy import Engine

from server.app import create_app
from server.domain.catalogue import Catalogue
from server.persistence.engine import Place, engine_for, sessions, sqlite_file
from server.persistence.folder import read_folder
from server.persistence.migrate import migrate
from server.settings import Settings
from server.usecases.catalogue import replace_catalogue
from server.usecases.opening import SEED
from server.usecases.work import Shop
from tests.builders_accounts import CHEAP, signed_in_as
from tests.builders_http import ADDRESS, Client
from tests.builders_shop import Clock, FolderCopy
from tests.pace import examples, memory
from tests.postgres import Cluster, binaries, cluster


class Compiled(BytecodeCache):
    """Templates compiled once for all applications of the tests."""

    def __init__(self) -> None:
        self.code: dict[str, bytes] = {}

    def load_bytecode(self, bucket: Bucket) -> None:
        if bucket.key in self.code:
            bucket.bytecode_from_string(self.code[bucket.key])

    def dump_bytecode(self, bucket: Bucket) -> None:
        self.code[bucket.key] = bucket.bytecode_to_string()


COMPILED = Compiled()
NEW_OBJECTS = 50_000
"""After how many new objects Python looks for rubbish: 700 by itself, which a page makes several times over."""

settings.register_profile("paced", max_examples=examples(), deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("paced")


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What was imported stays to the end: to look through it for rubbish again and again takes a sixth of all the time."""
    try:
        return (yield)
    finally:
        gc.collect()
        gc.freeze()
        gc.set_threshold(NEW_OBJECTS, *gc.get_threshold()[1:])
        gc.enable()


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """What a test has to say of the machine it ran on stands at the end, whichever process it ran in."""
    for report in terminalreporter.getreports("passed"):
        for name, words in report.user_properties:
            if name == "told at the end":
                terminalreporter.write_line(str(words))


@pytest.fixture(scope="session")
def seeded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the newest schema and the seed catalogue, made once; tests work on copies of it."""
    data = tmp_path_factory.mktemp("seeded")
    _seed(Place(data))
    return data


def _seed(place: Place) -> None:
    engine = engine_for(place)
    migrate(engine)
    with Shop(sessions(engine), Clock()).writing("seed") as work:
        replace_catalogue(work, read_folder(SEED, Catalogue({}), None))
    engine.dispose()


@pytest.fixture
def clock() -> Clock:
    """A clock that stands still until it is set."""
    return Clock()


@pytest.fixture(scope="session")
def lasting(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Path, Engine]]:
    """A data folder and the engine over it, for one test after another: an engine of its own would put every query together anew."""
    with TemporaryDirectory(prefix="slackwater-", dir=memory() or tmp_path_factory.mktemp("data")) as folder:
        engine = engine_for(Place(Path(folder)))
        yield Path(folder), engine
        engine.dispose()


@pytest.fixture
def data(lasting: tuple[Path, Engine], seeded: Path) -> Path:
    """A data folder with the seed catalogue in it and nothing that a test before has left."""
    folder, engine = lasting
    engine.dispose()
    shutil.rmtree(folder)
    folder.mkdir()
    shutil.copyfile(sqlite_file(seeded), sqlite_file(folder))
    engine.connect().close()
    engine.dispose()  # It knows this file now, does not take it for one put in another's place, and has let go of it.
    return folder


@pytest.fixture(scope="session")
def postgres() -> Iterator[Cluster]:
    """A PostgreSQL server; where its programs are not installed the tests say so, and under CI they fail."""
    if binaries() is None:
        words = "no PostgreSQL server: apt-get install postgresql"
        if os.environ.get("CI") == "true":
            pytest.fail(words)
        pytest.skip(words)
    with cluster() as server:
        yield server


@pytest.fixture(scope="session")
def seeded_postgres(postgres: Cluster, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A database with the newest schema and the seed catalogue, made once; tests work on copies of it."""
    name = postgres.create_database()
    _seed(Place(tmp_path_factory.mktemp("seeding"), postgres.url(name)))
    return name


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Engine]:
    """A database without any table, once as an SQLite file and once in PostgreSQL."""
    server: Cluster | None = request.getfixturevalue("postgres") if request.param == "postgres" else None
    name = server.create_database() if server else ""
    engine = engine_for(Place(tmp_path, server.url(name)) if server else Place(tmp_path))
    yield engine
    engine.dispose()
    if server:
        server.drop_database(name)


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    """The test's own database with the seed catalogue, once as an SQLite file and once in PostgreSQL."""
    if request.param == "sqlite":
        yield Place(request.getfixturevalue("data"))
        return
    template: str = request.getfixturevalue("seeded_postgres")
    server: Cluster = request.getfixturevalue("postgres")
    name = server.create_database(template)
    folder = tmp_path / "beside"
    folder.mkdir()
    yield Place(folder, server.url(name))
    server.drop_database(name)


@pytest.fixture
def engine(place: Place, lasting: tuple[Path, Engine]) -> Iterator[Engine]:
    """An engine over the test's own database."""
    if not place.url:
        yield lasting[1]
        return
    made = engine_for(place)
    yield made
    made.dispose()


@pytest.fixture
def shop(engine: Engine, clock: Clock) -> Shop:
    """A shop over the test's own database."""
    return Shop(sessions(engine), clock)


@pytest.fixture
def folder(tmp_path: Path) -> FolderCopy:
    """A copy of the seed catalogue's folder, to be changed."""
    return FolderCopy.of(SEED, tmp_path / "catalogue")


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory, seeded: Path) -> FastAPI:
    """The application, built once: its hundred routes are read at their first request, which takes longer than most tests."""
    folder = tmp_path_factory.mktemp("built")
    shutil.copyfile(sqlite_file(seeded), sqlite_file(folder))
    made = create_app(Settings(data=folder, base_address=ADDRESS, public_burst=0), COMPILED)
    made.state.shop.close()
    return made


@pytest.fixture
def app(built: FastAPI, place: Place, engine: Engine, clock: Clock) -> FastAPI:
    """The application over the test's own database, not throttled; nothing of it is kept but what its place keeps."""
    url = SecretStr(place.url)
    built.state.settings = Settings(data=place.data, database_url=url, base_address=ADDRESS, public_burst=0)
    built.state.shop = Shop(sessions(engine), clock, address=ADDRESS)
    built.state.passwords = CHEAP
    return built


@pytest.fixture
def client(app: FastAPI) -> Iterator[Client]:
    """A program that talks to the application."""
    with Client(app) as made:
        yield made


@pytest.fixture
def staff(app: FastAPI) -> Iterator[Client]:
    """Staff at the desk, signed in."""
    with Client(app) as made:
        yield signed_in_as(made, app, "Maeve", "staff")


@pytest.fixture
def owner(app: FastAPI) -> Iterator[Client]:
    """The owner at the desk, signed in."""
    with Client(app) as made:
        yield signed_in_as(made, app, "Orla", "owner")
