"""The only place where everything meets: `create_app(settings)`; importing this module builds nothing."""

from __future__ import annotations

import asyncio
import gc
import logging
import os
import signal
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager, contextmanager, suppress
from dataclasses import asdict
from socket import socket
from tempfile import TemporaryDirectory
from threading import Event, Thread
from traceback import format_tb
from types import FrameType
from typing import TYPE_CHECKING, Any

import uvicorn
from anyio.to_thread import current_default_thread_limiter
from fastapi import Depends, FastAPI
from fastapi.openapi.utils import get_openapi
from jinja2 import BytecodeCache
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from uvicorn.supervisors import Multiprocess

from server.domain.errors import OutOfReach
from server.outside.mail import Mailer
from server.persistence.engine import Place
from server.persistence.outages import look_through, outage_of
from server.security.passwords import Passwords
from server.settings import Settings
from server.usecases.aftercare import forget_questions, tell_follow_ups
from server.usecases.clock import WORDS, look_at_clock
from server.usecases.messages import send_due
from server.usecases.opening import open_shop
from server.usecases.privacy import sweep
from server.usecases.work import Shop
from server.web.api import catalogue as api_catalogue
from server.web.api import fit as api_fit
from server.web.api import quotes as api_quotes
from server.web.api import wind as api_wind
from server.web.api.openapi import components
from server.web.errors import Errors
from server.web.fresh import Fresh
from server.web.guard import ForgeryGuard, HeadAsGet, OneHost, RequestLog, SafeHeaders, SizeLimit, Throttle
from server.web.log import log_as_json
from server.web.measured import Measured, counting
from server.web.packed import Packed
from server.web.pages import accounts as page_accounts
from server.web.pages import assessments as page_assessments
from server.web.pages import beside as page_beside
from server.web.pages import bookings as page_bookings
from server.web.pages import called_up as page_called_up
from server.web.pages import calls as page_calls
from server.web.pages import catalogue as page_catalogue
from server.web.pages import catalogue_bulk as page_catalogue_bulk
from server.web.pages import catalogue_part as page_catalogue_part
from server.web.pages import console as page_console
from server.web.pages import contract as page_contract
from server.web.pages import corrections as page_corrections
from server.web.pages import counter as page_counter
from server.web.pages import deposits as page_deposits
from server.web.pages import desk as page_desk
from server.web.pages import expected as page_expected
from server.web.pages import faulty as page_faulty
from server.web.pages import files as page_files
from server.web.pages import fit as page_fit
from server.web.pages import glossary as page_glossary
from server.web.pages import handover as page_handover
from server.web.pages import health as page_health
from server.web.pages import learner as page_learner
from server.web.pages import lessons as page_lessons
from server.web.pages import look as page_look
from server.web.pages import messages as page_messages
from server.web.pages import news as page_news
from server.web.pages import numbers as page_numbers
from server.web.pages import orders as page_orders
from server.web.pages import owned as page_owned
from server.web.pages import paper as page_paper
from server.web.pages import papers as page_papers
from server.web.pages import people as page_people
from server.web.pages import photos as page_photos
from server.web.pages import pieces as page_pieces
from server.web.pages import places as page_places
from server.web.pages import policy as page_policy
from server.web.pages import policy_versions as page_policy_versions
from server.web.pages import prepared as page_prepared
from server.web.pages import privacy as page_privacy
from server.web.pages import questions as page_questions
from server.web.pages import quotes as page_quotes
from server.web.pages import record as page_record
from server.web.pages import returns as page_returns
from server.web.pages import sales as page_sales
from server.web.pages import serials as page_serials
from server.web.pages import sets as page_sets
from server.web.pages import shared as page_shared
from server.web.pages import steps as page_steps
from server.web.pages import strand as page_strand
from server.web.pages import swaps as page_swaps
from server.web.pages import till as page_till
from server.web.pages import units as page_units
from server.web.pages import used as page_used
from server.web.pages import worksheets as page_worksheets
from server.web.render import Pages, environment
from server.web.signed import owner, signed_in
from server.web.static import StaticFiles

if TYPE_CHECKING:
    from server.outside.metrics import Meters

SWEEP_SECONDS = 3600
SWEEP_AFTER_SECONDS = 5
"""The first pages of a large shop go first."""
SEND_SECONDS = 5
STOP_SECONDS = 20
AT_ONCE = 8
"""So many requests are worked on at once. Each thread that is ready to run takes its turn from the others and from the loop: with
15, as many as there are connections to the database, the slowest percent of the kit pages took twice as long and none came sooner."""
TOGETHER = "server.__main__:application"
HIDDEN_FROM_ROBOTS = (
    "/drafts/",
    "/quotes/",
    "/beside/",
    "/prepared/",
    "/bookings/",
    "/owned/",
    "/photos/",
    "/used/reservations/",
    "/desk",
    "/console",
    "/staff",
    "/messages/",
    "/api/",
)
NO_ROBOTS_IN = "".join(["User-agent: *\n", *(f"Disallow: {path}\n" for path in HIDDEN_FROM_ROBOTS)])
log = logging.getLogger("slackwater")
process_log = logging.getLogger("slackwater.process")


def create_app(settings: Settings, compiled: BytecodeCache | None = None) -> FastAPI:
    """The application over the data folder of the settings, which is made and seeded where it is empty.

    Templates compiled before come from `compiled`, where many applications are made in one process.
    """
    shop = open_shop(Place(settings.data, settings.database_url.get_secret_value()))
    shop.address = settings.address
    meters = _meters(settings)
    if meters:
        shop.timed = meters.working
    files = StaticFiles()
    pages = Pages(environment(files.address, compiled))
    app = FastAPI(
        title="Slackwater",
        version="1",
        docs_url=None,
        redoc_url=None,
        openapi_url="/api/openapi.json",
        redirect_slashes=False,  # It would redirect to the Host header's address, which anybody can write.
        lifespan=_lifespan,
    )
    app.state.shop, app.state.settings, app.state.pages = shop, settings, pages
    app.state.passwords, app.state.meters = Passwords(), meters

    # Routes are looked through in the order they are made in, so what is asked for most stands first.
    @app.get("/static/{name}", include_in_schema=False)
    async def static(request: Request, name: str) -> Response:
        return files.answer(request, name)

    @app.get("/robots.txt", include_in_schema=False)
    async def robots() -> Response:
        return Response(NO_ROBOTS_IN, media_type="text/plain")

    programs = (api_fit, api_wind, api_quotes, api_catalogue)
    people = (
        page_fit,
        page_quotes,
        page_paper,
        page_beside,
        page_shared,
        page_learner,
        page_privacy,
        page_units,
        page_look,
        page_glossary,
        page_news,
        page_prepared,
        page_bookings,
        page_returns,
        page_photos,
        page_owned,
        page_used,
        page_health,
    )
    for door in (*people, *programs):
        app.include_router(door.router)
    for open_door in (page_accounts, page_sales, page_papers):
        app.include_router(open_door.open_router)
    for desk_door in (
        page_desk,
        page_called_up,
        page_worksheets,
        page_calls,
        page_counter,
        page_lessons,
        page_strand,
        page_assessments,
        page_deposits,
        page_messages,
        page_accounts,
        page_swaps,
        page_faulty,
        page_handover,
        page_serials,
        page_questions,
        page_contract,
        page_sales,
        page_corrections,
        page_papers,
        page_pieces,
        page_expected,
    ):
        app.include_router(desk_door.router, dependencies=[Depends(signed_in)])
    app.include_router(page_returns.desk_router, dependencies=[Depends(signed_in)])
    for owners_door in (
        page_accounts,
        page_messages,
        page_console,
        page_people,
        page_places,
        page_files,
        page_steps,
        page_catalogue,
        page_catalogue_part,
        page_catalogue_bulk,
        page_policy,
        page_policy_versions,
        page_record,
        page_sets,
        page_till,
        page_numbers,
        page_orders,
    ):
        app.include_router(owners_door.owner_router, dependencies=[Depends(owner)])

    errors = Errors(pages)
    errors.attach(app)
    refuse = counting(meters, errors.refuse) if meters else errors.refuse
    app.add_middleware(SizeLimit, refuse=refuse)
    app.add_middleware(ForgeryGuard, refuse=refuse, own_address=settings.base_address)
    app.add_middleware(Throttle, refuse=refuse, burst=settings.public_burst)
    app.add_middleware(OneHost, refuse=refuse)
    app.add_middleware(SafeHeaders, https=settings.address.startswith("https://"))
    app.add_middleware(Fresh)
    app.add_middleware(Packed)
    if meters:
        app.add_middleware(Measured, meters=meters)
    app.add_middleware(HeadAsGet)
    app.add_middleware(RequestLog)
    app.openapi = lambda: _described(app)  # type: ignore[method-assign]
    return app


def _meters(settings: Settings) -> Meters | None:
    """Meters where somebody asks for metrics; only there is their package imported."""
    if not settings.metrics_token.get_secret_value():
        return None
    from server.outside.metrics import Meters

    return Meters()


def _described(app: FastAPI) -> dict[str, Any]:
    """The interface's description with its named schemas."""
    if app.openapi_schema is None:
        schema = get_openapi(title=app.title, version=app.version, routes=app.routes)
        schema.setdefault("components", {})["schemas"] = components()
        app.openapi_schema = schema
    return app.openapi_schema


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    sweeping = asyncio.create_task(_sweep_for_ever(app.state.shop))
    stopping = Event()
    mailer = mailer_of(app.state.settings)
    sending = Thread(target=send_until, args=(stopping, app.state.shop, mailer), name="sending") if mailer else None
    if sending:
        sending.start()
    current_default_thread_limiter().total_tokens = AT_ONCE
    gc.collect()
    gc.freeze()  # What was built at the start lives as long as the server; looking through it again costs 30 ms now and then.
    yield
    stopping.set()
    sweeping.cancel()
    with suppress(asyncio.CancelledError):
        await sweeping
    if sending:
        await run_in_threadpool(sending.join)


async def _sweep_for_ever(shop: Shop) -> None:
    """Tidy soon after the start and then so often that what is due by the day is done that day; a failure waits for the next time."""
    await asyncio.sleep(SWEEP_AFTER_SECONDS)
    while True:
        try:
            await run_in_threadpool(tidy, shop)
        except Exception as error:
            outage = outage_of(error)
            if outage is None:
                log.exception("the sweep failed; it is tried again")
            else:
                log.warning("the sweep waits for the database", extra={"because": str(outage)})
        await asyncio.sleep(SWEEP_SECONDS)


def tidy(shop: Shop) -> None:
    """Tidy, unless the clock cannot be trusted with what is deleted for good; and look whether the database is whole."""
    damage = look_through(shop.sessions)
    if damage:
        log.error("the database is damaged: put a backup back", extra={"because": damage})
        return
    with shop.reading("sweep") as work:
        stands = look_at_clock(work)
    if stands != "right":
        log.warning("nothing is swept by this clock", extra={"because": WORDS[stands]})
        return
    with shop.writing("sweep") as work:
        swept = sweep(work)
    with shop.writing("sweep") as work:
        tell_follow_ups(work)
    with shop.writing("sweep") as work:
        forget_questions(work)
    if not swept.is_nothing:
        log.info("swept", extra=asdict(swept))


def mailer_of(settings: Settings) -> Mailer | None:
    """The mail server that the settings name, or None: then the desk copies messages and sends them by hand."""
    if not settings.smtp_host:
        return None
    return Mailer(
        host=settings.smtp_host,
        port=settings.smtp_port,
        user=settings.smtp_user,
        password=settings.smtp_password.get_secret_value(),
        security=settings.smtp_security,
        sender=settings.smtp_sender,
    )


def send_until(stopping: Event, shop: Shop, mailer: Mailer) -> None:
    """Send what is due every few seconds; asked to stop, it ends after the message that it is at."""
    while not stopping.is_set():
        try:
            tally = send_due(shop, mailer, is_stopping=stopping.is_set)
        except Exception as error:  # noqa: BLE001  # The loop outlives whatever befalls one round.
            outage = outage_of(error)
            if outage is not None:
                log.warning("sending waits for the database", extra={"because": str(outage)})
                stopping.wait(SEND_SECONDS)
                continue
            # Where it happened, but not its words: a database's hold the values of a row, and so whom a message is for.
            because = [type(error).__name__, *format_tb(error.__traceback__)]
            log.error("sending failed; it is tried again", extra={"because": "".join(because)})
        else:
            if not tally.is_nothing:
                level = logging.WARNING if tally.failed or tally.given_up else logging.INFO
                log.log(level, "messages that were due", extra=asdict(tally))
        stopping.wait(SEND_SECONDS)


def from_environment() -> FastAPI:
    """The application by the variables of the process, for one of several that serve together."""
    settings = Settings()
    log_as_json(settings.log_level)
    return create_app(settings)


def configured(settings: Settings, app: FastAPI | str) -> uvicorn.Config:
    """How the server is set up for an application, or for several processes that each make one by a name.

    The parser is named, since another one would be laxer about where a request ends, and nothing here speaks WebSocket.
    """
    return uvicorn.Config(
        app,
        factory=isinstance(app, str),
        host=settings.host,
        port=settings.port,
        workers=settings.workers,
        http="httptools",
        ws="none",
        log_config=None,
        access_log=False,
        server_header=False,
        proxy_headers=bool(settings.forwarded_allow_ips),
        forwarded_allow_ips=settings.forwarded_allow_ips or None,
        timeout_graceful_shutdown=STOP_SECONDS,
    )


def serve(settings: Settings, compiled: BytecodeCache | None = None) -> None:
    """Serve until stopped, and say where. What is open when it is told to stop is ended first, for a while.

    Templates compiled before come from `compiled`, where servers are started over and over.
    """
    log_as_json(settings.log_level)
    with _until_told(settings):
        if settings.workers > 1:
            _serve_together(settings)
        else:
            _serve_alone(settings, compiled)


def _serve_alone(settings: Settings, compiled: BytecodeCache | None) -> None:
    config = configured(settings, create_app(settings, compiled))
    # Once it has stopped the server raises the signal again that it was stopped by: to have been told to is no failure.
    for told in (signal.SIGTERM, signal.SIGINT):
        signal.signal(told, _done)
    _Announcing(config, settings).run()


def _done(_signal: int, _frame: FrameType | None) -> None:
    raise SystemExit(0)


def _serve_together(settings: Settings) -> None:
    """Several processes at one port; the database is made and migrated before they begin, so that what is wrong is said once."""
    open_shop(Place(settings.data, settings.database_url.get_secret_value())).close()
    os.environ |= settings.as_variables()
    config = configured(settings, TOGETHER)
    listening = config.bind_socket()
    listening.listen(config.backlog)  # Whoever comes before the first process is up waits instead of being turned away.
    _announce(settings)
    if not settings.metrics_token.get_secret_value():
        Multiprocess(config, [listening]).run()
        return
    from server.outside.metrics import FOLDER

    with TemporaryDirectory(prefix="slackwater-metrics-") as folder:
        os.environ[FOLDER] = folder
        _Metered(config, [listening]).run()


class _Metered(Multiprocess):
    """Takes a process that has ended out of what is measured."""

    def __init__(self, config: uvicorn.Config, sockets: list[socket]) -> None:
        super().__init__(config, sockets)
        self.known: set[int | None] = set()

    def keep_subprocess_alive(self) -> None:
        """Twice a second."""
        super().keep_subprocess_alive()
        from server.outside.metrics import forget_process

        serving = {process.pid for process in self.processes}
        for ended in self.known - serving:
            forget_process(ended or 0)
        self.known = serving


@contextmanager
def _until_told(settings: Settings) -> Iterator[None]:
    """Write down that the server stopped as it was told to. Raises `OutOfReach` where it cannot listen, for which its library exits."""
    try:
        yield
    except SystemExit as error:
        if error.code:
            raise OutOfReach(
                f"The server cannot listen at {settings.host}, port {settings.port}: "
                "another program does, or this machine has no such address."
            ) from None
        process_log.info("stopped")
        raise
    process_log.info("stopped")


def _announce(settings: Settings) -> None:
    """Say where it is served; where that goes to a file for which there is no room, it is served all the same."""
    with suppress(OSError):
        print(f"Slackwater is served at {settings.address}", flush=True)
    process_log.info("served", extra={"address": settings.address, "workers": settings.workers})


class _Announcing(uvicorn.Server):
    """Says where it serves once it does."""

    def __init__(self, config: uvicorn.Config, settings: Settings) -> None:
        super().__init__(config)
        self.settings = settings

    async def startup(self, sockets: list[socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            _announce(self.settings)
