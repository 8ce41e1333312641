"""Every page in every state that people meet, made over the front door, for all tests that look at each of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta
from urllib.parse import urlsplit

import httpx

from server.usecases.quotes import issue_quote
from server.usecases.stock import confirm_hold
from server.usecases.work import Shop
from tests.builders_shop import learner
from tests.pages.reader import FORM, FrontDoor, Reader, at_the_kit, encoded, started

NO_TOKEN = "abcdefghijklmnopqrstuv"
KEPT_MAST = {"keeps-mast-0-length_cm": "72", "keeps-mast-0-track": "twin-track", "keeps-mast-0-mount": "cone"}
TRADED = {
    "trades-0-slot": "board",
    "trades-0-price_new": "1100",
    "trades-0-months": "18",
    "trades-0-condition": "good",
}


@dataclass(frozen=True)
class World:
    """A running application's front door, and the shop behind it for what customers cannot do."""

    client: FrontDoor
    shop: Shop


@dataclass(frozen=True)
class Seen:
    """Where a page is seen: its address, what was posted there if it is the answer to a form, and its status."""

    address: str
    posted: bytes | None = None
    status: int = 200

    def answer(self, client: FrontDoor, *, as_fragment: bool = False) -> httpx.Response:
        """What the application answers; as a fragment it is asked for as htmx does."""
        headers = {"HX-Request": "true"} if as_fragment else {}
        if self.posted is None:
            return client.get(self.address, headers=headers)
        return client.post(self.address, content=self.posted, headers={**FORM, **headers})


State = Callable[[World], Seen]


def _at(address: str, status: int = 200) -> State:
    return lambda world: Seen(address, None, status)


def _sent(reader: Reader, button: str, status: int, **filled: str | list[str]) -> Seen:
    """The answer to a form, not yet sent."""
    address, body = reader.sending(button, **filled)
    return Seen(address.split("#")[0], body, status)


def _step(name: str) -> State:
    return lambda world: Seen(started(world.client).address.replace("/you", f"/{name}"))


def _answered(world: World) -> Reader:
    """A reader at the kit who has answered all five steps."""
    reader = at_the_kit(world.client)
    step = reader.address.removesuffix("kit")
    reader.open(f"{step}where").press("next", spot="Tullaveen Strand", usual_wind_kn="16", water="sea", min_depth_m="2")
    reader.press("next", **KEPT_MAST, **TRADED, **{"trades-0-faults": "cracked"})
    return reader.press("See the kit", extras=["helmet", "wetsuit"], delivery="deliver", budget="5000")


def _filled(name: str) -> State:
    return lambda world: Seen(_answered(world).address.split("?")[0].replace("/kit", f"/{name}"))


def _wrong(name: str, **typed: str | list[str]) -> State:
    def made(world: World) -> Seen:
        reader = started(world.client)
        return _sent(reader.open(reader.address.replace("/you", f"/{name}")), "next", 422, **typed)

    return made


def kit_after(world: World, step: str, mass: str = "80", **typed: str | list[str]) -> Reader:
    """A reader at the kit who has answered the first two steps and then something in one step more."""
    reader = at_the_kit(world.client, mass)
    return reader.open(reader.address.replace("/kit", f"/{step}")).press("kit" if step != "extras" else "next", **typed)


def _kit(step: str = "", mass: str = "80", **typed: str | list[str]) -> State:
    def made(world: World) -> Seen:
        reader = kit_after(world, step, mass, **typed) if step else at_the_kit(world.client, mass)
        return Seen(reader.address)

    return made


def _you_and_kit(mass: str = "80", **typed: str) -> State:
    """The kit of somebody who told more about themselves in the first step."""

    def made(world: World) -> Seen:
        reader = at_the_kit(world.client, mass)
        reader.open(reader.address.replace("/kit", "/you")).press("next", **typed).press("kit")
        return Seen(reader.address)

    return made


def _refused_put(world: World) -> Seen:
    return Seen(at_the_kit(world.client, mass="95").address, b"put=DUN-72", 422)


def _by_hand(world: World) -> Seen:
    reader = at_the_kit(world.client)
    return Seen(reader.press(reader.by_id("put-tail-larger").get("value", "")).address.split("#")[0])


def _wing_beside(world: World) -> Seen:
    reader = kit_after(world, "gear", **{"keeps-hand_wing-0-area_m2": "5.5"})
    return Seen(reader.press(reader.by_id("wing-beside").get("value", "")).address.split("#")[0])


def _own_wrong(world: World) -> Seen:
    kit = at_the_kit(world.client)
    form, _ = kit.form("Build on mine, my own mast")
    length = next(str(field.get("name")) for field in form.iter("input") if "length_cm" in str(field.get("name")))
    return _sent(kit, "Build on mine, my own mast", 422, **{length: "long"})


def kept(world: World, **given: object) -> str:
    """The address of a quote that was kept, without the name of the host."""
    answer = world.client.post("/api/quotes", json={"answers": learner(**given)})
    assert answer.status_code == 201, answer.text
    address: str = urlsplit(answer.json()["url"]).path
    return address


def _quote(**given: object) -> State:
    return lambda world: Seen(kept(world, **given))


def _held(world: World) -> Seen:
    reader = Reader(world.client).open(kept(world))
    return Seen(reader.press("Ask to hold these parts", name="Some One", phone="+353 20 910 0177").address)


def _confirmed(world: World) -> Seen:
    held = _held(world)
    with world.shop.writing("desk") as work:
        confirm_hold(work, held.address.rsplit("/", 1)[1])
    return held


def lapsed_quote(world: World, days: int = 20) -> str:
    """The address of a quote that was kept so many days ago, by a shop whose clock stood at that day."""
    then = world.shop.clock() - timedelta(days=days)
    with Shop(world.shop.sessions, lambda: then).writing() as work:
        return "/quotes/" + issue_quote(work, learner()).token


def _lapsed(world: World) -> Seen:
    return Seen(lapsed_quote(world))


def _second_revision(world: World) -> Seen:
    reader = Reader(world.client).open(kept(world)).press("Change my answers")
    reader.open(reader.address.replace("/you", "/kit"))
    return Seen(reader.press("Keep as the next revision").address)


def _revising(world: World) -> Seen:
    reader = Reader(world.client).open(kept(world)).press("Change my answers")
    return Seen(reader.address.replace("/you", "/kit"))


def _agree_wrong(world: World) -> Seen:
    return _sent(Reader(world.client).open(kept(world)), "Ask to hold these parts", 422, name="", email="nowhere")


def _agree_too_late(world: World) -> Seen:
    return Seen(f"{lapsed_quote(world)}/agree", b"revision=1&name=Some+One&phone=%2B353209100177", 410)


def _compare_wrong(world: World) -> Seen:
    return _sent(Reader(world.client).open(kept(world)), "Side by side", 422, other="nowhere")


def _beside(**given: object) -> State:
    def made(world: World) -> Seen:
        other = kept(world, **given).rsplit("/", 1)[1]
        return Seen(f"{kept(world)}/beside/{other}")

    return made


def _sharing(world: World) -> Reader:
    """The first rider's page of a shared kit, which waits for the second."""
    reader = at_the_kit(world.client)
    return reader.open(reader.address.replace("/kit", "/shared")).press("Share with a second rider")


def _shared_alone(world: World) -> Seen:
    return Seen(_sharing(world).address)


def _shared_by_two(world: World) -> Seen:
    """The second rider has answered, at the address that the first page gives to send on."""
    links = [link.get("href", "") for link in _sharing(world).page.iter("a")]
    [sent] = [urlsplit(link).path for link in links if "://" in link]
    other = Reader(world.client).open(sent).press("next", mass_kg="68", to_feet="average", fitness="fair")
    other.press("kit", board_background="some", foil_stage="none")
    return Seen(other.address.replace("/kit", "/shared"))


def _kept_without_answers(world: World) -> Seen:
    return Seen(started(world.client).address.replace("/you", "/keep"), encoded([("key", "k")]), 422)


STATES: dict[str, State] = {
    "home": _at("/"),
    "privacy": _at("/privacy"),
    "you empty": _step("you"),
    "you filled": _filled("you"),
    "you wrong": _wrong("you", mass_kg="34"),
    "you left empty": _wrong("you"),
    "flying empty": _step("flying"),
    "flying filled": _filled("flying"),
    "flying left empty": _wrong("flying"),
    "where empty": _step("where"),
    "where filled": _filled("where"),
    "where wrong": _wrong("where", usual_wind_kn="90", min_depth_m="deep"),
    "gear empty": _step("gear"),
    "gear filled": _filled("gear"),
    "gear wrong": _wrong(
        "gear", **{"keeps-board-0-volume_l": "9999", "trades-0-slot": "board", "trades-0-months": "18"}
    ),
    "extras empty": _step("extras"),
    "extras filled": _filled("extras"),
    "extras wrong": _wrong("extras", budget="much", deposit_codes="HKBN04QA"),
    "kit": _kit(),
    "kit of all answers": lambda world: Seen(_answered(world).address),
    "kit at a spot": _kit("where", spot="Tullaveen Strand"),
    "kit, put refused": _refused_put,
    "kit by hand": _by_hand,
    "kit with kept gear": _kit("gear", **KEPT_MAST),
    "kit with a kept hand wing": _kit("gear", **{"keeps-hand_wing-0-area_m2": "5.5"}),
    "kit with a wing beside": _wing_beside,
    "kit, own piece wrong": _own_wrong,
    "kit with a trade-in": _kit("gear", **TRADED),
    "kit, none possible": _kit("where", min_depth_m="0.5"),
    "kit, under 18": _you_and_kit(mass="60", under_18="yes"),
    "kit, over 120 kg": _kit(mass="125"),
    "kit, does not swim": _you_and_kit(swims_100m="no"),
    "kit of a quote": _revising,
    "quote": _quote(),
    "quote with all in it": _quote(
        keeps=[{"slot": "hand_wing", "area_m2": 5.5}],
        trades=[{"slot": "board", "price_new": 110_000, "months": 18, "condition": "good"}],
        spot="Tullaveen Strand",
        extras=["helmet", "wetsuit"],
    ),
    "quote held": _held,
    "quote confirmed": _confirmed,
    "quote lapsed": _lapsed,
    "quote, second revision": _second_revision,
    "quote that needs the shop": _quote(swims_100m=False),
    "quote, contact wrong": _agree_wrong,
    "quote, agreed too late": _agree_too_late,
    "quote, compared with nothing": _compare_wrong,
    "comparison": _beside(mass_kg=92.5, foil_stage="turning", to_feet="quick", extras=["helmet"]),
    "comparison of the same": _beside(),
    "glossary": _at("/words"),
    "shared kit, not yet shared": lambda world: Seen(at_the_kit(world.client).address.replace("/kit", "/shared")),
    "shared kit, waiting": _shared_alone,
    "shared kit of two": _shared_by_two,
    "error 404": _at("/nowhere", 404),
    "error 404 of a quote": _at(f"/quotes/{NO_TOKEN}", 404),
    "error 405": lambda world: Seen("/privacy", b"", 405),
    "error 422": _kept_without_answers,
}
