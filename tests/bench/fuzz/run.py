"""The run: a shop in every state, its pages visited and their forms sent wrong and right, the interface, and odd requests between."""

from __future__ import annotations

import gc
import json
import random
from collections.abc import Sequence
from contextlib import ExitStack

import httpx

from server.app import create_app
from server.persistence.engine import Place
from server.settings import Settings
from server.usecases.work import Shop
from tests.bench.fuzz.described import from_the_description
from tests.bench.fuzz.judging import resident_kib, watching
from tests.bench.fuzz.learners import Ideas
from tests.bench.fuzz.prober import Prober
from tests.bench.fuzz.probes import Probe
from tests.bench.fuzz.routes import Routes
from tests.bench.fuzz.scenes import Scenes, must_mostly_be_made, sit_down
from tests.bench.harness import KEPT_OPEN_SECONDS, LEARNER, Outcome, count_stock, end_with, new_ground, servers
from tests.builders_seen import World

REQUESTS = 50_000
PLENTY = 10_000
EVERY_ROUTE_FROM = 5_000
"""A run of so many requests must have asked for every route."""
EVERY_POST_TAKEN_FROM = 20_000
"""In a run of so many every route that takes a POST must have taken one: each state was met, and those of rare forms again."""
FLAT_FROM = 50_000
"""A run of so many is long enough to tell what is held from what is made once for each kind of page, paper and picture."""
SHARE_BETWEEN, WARM = 0.1, 6
"""How often it is looked at, and how many times until it is warm: the first fifth is the description's, and only then do pages
come; kinds of upload and paper that are rare have all been there after three fifths."""
MOST_GROWTH_KIB = 16 * 1024
STATE_EVERY, STATES_OF_A_LONG_RUN = 18, 700


def fuzz(place: Place, number: int, *, seed: int, described: int) -> Outcome:
    """So many requests, of which some are drawn from the description; the rest are forms, bodies, paths and pages in turn."""
    outcome, draw = Outcome(seed), random.Random(seed)
    app = create_app(Settings(data=place.data, database_url=place.url))
    shop = app.state.shop
    with ExitStack() as ending:
        ending.callback(shop.close)
        count_stock(shop, PLENTY)
        watch = ending.enter_context(watching(place))
        (server,) = running = ending.enter_context(servers(place, 1))
        limits = httpx.Limits(keepalive_expiry=KEPT_OPEN_SECONDS)
        client = ending.enter_context(httpx.Client(base_url=server.address, timeout=60, limits=limits))
        routes = Routes.of(app)
        prober = Prober(client, draw, routes, watch, outcome, sit_down(shop))
        ideas = Ideas(draw, routes)
        for _ in range(3):
            prober.send(Probe("POST", "/drafts"))
            prober.send(Probe("POST", "/api/quotes", json.dumps({"answers": LEARNER}).encode()))
        if described:
            from_the_description(server.address, described, seed, draw, routes, outcome)
        scenes = Scenes(World.of(client, shop), draw, outcome)
        gc.freeze()  # What is loaded by now stays; to look through it again and again takes a tenth of the run.
        ending.callback(gc.unfreeze)
        held_kib = _ask_and_ask(prober, ideas, scenes, shop, number, server.process.pid if server.process else 0)
        if number >= FLAT_FROM:
            _must_be_flat(outcome, held_kib)
        must_mostly_be_made(outcome, scenes.unmade)
        _must_have_reached_all(outcome, routes, number)
        outcome.done["answers of 500"] = sum(n for status, n in outcome.statuses.items() if status >= 500)
        outcome.must_be_silent(running)
    return outcome


def _ask_and_ask(prober: Prober, ideas: Ideas, scenes: Scenes, shop: Shop, number: int, process: int) -> list[int]:
    """Visit, spoil and ask in turn until there were so many requests; what the server held at each tenth of them."""
    outcome = prober.outcome
    turns = (
        prober.wander,
        lambda: prober.send(ideas.json_probe()),
        prober.spoil_again,
        lambda: prober.send(ideas.form_probe()),
        prober.ask_oddly,
        prober.post_blindly,
        lambda: prober.send(ideas.odd_probe()),
        prober.ask_oddly,
    )
    every = max(STATE_EVERY, number // STATES_OF_A_LONG_RUN)
    turn, next_state, held_kib = 0, 0, [resident_kib(process)]
    while outcome.done["requests"] < number:
        if outcome.done["requests"] >= next_state:
            next_state += every
            prober.client.cookies.clear()
            prober.sessions = sit_down(shop)
            lacking = prober.routes.lacking()
            name, page = scenes.make(lacking)
            prober.shown = scenes.shown[name]
            prober.visit(page)
            prober.shown = set()
        turns[turn % len(turns)]()
        turn += 1
        if outcome.done["requests"] >= len(held_kib) * SHARE_BETWEEN * number:
            held_kib.append(resident_kib(process))
            _say_how_far(outcome, held_kib[-1])
    return held_kib


def _say_how_far(outcome: Outcome, kib: int) -> None:
    """A line for each tenth of a run that takes minutes: what was found so far is known even where it is cut off."""
    found = f"{len(outcome.violations)} violations{''.join(f'; {one}' for one in outcome.violations[-1:])}"
    print(f"  {outcome.done['requests']:,} requests, the server holds {kib // 1024} MB, {found}", flush=True)


def _must_be_flat(outcome: Outcome, held_kib: list[int]) -> None:
    """The server holds no more memory at the end than when it was warm, but for what its allocator scatters."""
    grown_kib = held_kib[-1] - held_kib[WARM]
    outcome.must(grown_kib < MOST_GROWTH_KIB, "the server grew by", f"{grown_kib / 1024:.1f} MB")


def _must_have_reached_all(outcome: Outcome, routes: Routes, number: int) -> None:
    """In a run that is long enough every route was asked for, and every one that takes a POST took one."""
    lacking = routes.lacking()
    outcome.done["routes that took a POST"] = len(routes.all("POST")) - len(lacking)
    outcome.done["that took none"] = len(lacking)
    if number >= EVERY_ROUTE_FROM:
        for route in (*routes.all("GET"), *routes.all("POST")):
            outcome.must(routes.asked[route] > 0, "nobody asked for", route.said)
    if number >= EVERY_POST_TAKEN_FROM:
        for route in lacking:
            outcome.must(False, "nothing was accepted by", route.said, routes.asked[route])


def fuzzes(requests: int = REQUESTS, seed: int | None = None, grounds: Sequence[str] = ("sqlite", "postgres")) -> None:
    """50,000 requests out of the ordinary on SQLite and a tenth of them on PostgreSQL; a tenth are drawn from the description."""
    outcomes = []
    seed = random.SystemRandom().randrange(1_000_000) if seed is None else seed
    for name in grounds:
        number = requests if name == grounds[0] else requests // 10
        print(f"fuzz on {name}: seed {seed}", flush=True)
        with new_ground(name) as ground:
            outcomes.append(fuzz(ground.place, number, seed=seed, described=number // 10))
        outcomes[-1].tell(f"fuzz on {name}")
    end_with(outcomes)
