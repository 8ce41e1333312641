"""What the owner sees of sets, the till's day and places."""

from __future__ import annotations

from urllib.parse import urlencode

from tests.builders_seen import Seen, State, World, seen_as


def _at(address: str, status: int = 200) -> State:
    return lambda _world: Seen(address, status=status)


def _posted(address: str, status: int, **fields: str) -> State:
    return lambda _world: Seen(address, urlencode(fields).encode(), status)


def _counter_with_a_set(world: World) -> Seen:
    return Seen("/desk/counter?item=TUR-KELP")


SETS_STATES: dict[str, State] = {
    "sets": seen_as("owner", _at("/console/sets")),
    "set": seen_as("owner", _at("/console/sets/edit?sku=TUR-KELP")),
    "new set, wrong": seen_as(
        "owner",
        _posted("/console/sets/edit", 422, sku="TUR-F70", name="", gtin="12", price="x", parts="TUR-F70; PLV-1400"),
    ),
    "counter with a set": seen_as("staff", _counter_with_a_set),
}
