"""The routes of the program as it is, which of them a request reached, and the addresses seen of each."""

from __future__ import annotations

import random
import re
from collections import Counter, defaultdict, deque
from dataclasses import dataclass, field
from urllib.parse import urlsplit

from fastapi import FastAPI
from fastapi.routing import iter_route_contexts
from starlette.routing import compile_path

from tests.bench.fuzz.values import SEGMENTS

REMEMBERED = 30
PARAMETER = re.compile(r"\{(\w+)(:\w+)?\}")
SUCCESS = range(200, 400)


@dataclass(frozen=True)
class Route:
    """A path as the program writes it, with one method."""

    method: str
    path: str

    @property
    def said(self) -> str:
        """As it is told to people."""
        return f"{self.method} {self.path}"


def _start(path: str) -> str:
    """The first part of a path; empty where a value stands in it."""
    first = path.split("/", 2)[1] if path.startswith("/") else path
    return "" if "{" in first else first


@dataclass
class Routes:
    """All of them, what came to each, and what is known of their addresses."""

    patterns: list[tuple[Route, re.Pattern[str]]]
    by_start: dict[str, list[tuple[Route, re.Pattern[str]]]] = field(default_factory=lambda: defaultdict(list))
    learnt: set[str] = field(default_factory=set)
    asked: Counter[Route] = field(default_factory=Counter)
    went: Counter[Route] = field(default_factory=Counter)
    known: dict[str, deque[str]] = field(default_factory=lambda: defaultdict(lambda: deque(maxlen=REMEMBERED)))
    parts: dict[str, deque[str]] = field(default_factory=lambda: defaultdict(lambda: deque(maxlen=REMEMBERED)))

    @classmethod
    def of(cls, app: FastAPI) -> Routes:
        """The routes of an application, walked."""
        routes = cls([])
        for walked in iter_route_contexts(app.routes):
            path = walked.path or ""
            for method in sorted(walked.methods or ()):
                routes.patterns.append((Route(method, path), compile_path(path)[0]))
                routes.by_start[_start(path)].append(routes.patterns[-1])
        return routes

    def _near(self, path: str) -> list[tuple[Route, re.Pattern[str]]]:
        """Those that may match a path: of the same first part, or with a value in it."""
        return self.by_start.get(_start(path), []) + self.by_start[""]

    def all(self, method: str) -> list[Route]:
        """Those of one method."""
        return [route for route, _ in self.patterns if route.method == method]

    def lacking(self) -> list[Route]:
        """Those that take a POST and have taken none so far."""
        return [route for route in self.all("POST") if not self.went[route]]

    def at(self, method: str, address: str) -> Route | None:
        """The route that answers an address."""
        path = urlsplit(address).path if "?" in address or "#" in address else address
        return next((one for one, pattern in self._near(path) if one.method == method and pattern.match(path)), None)

    def learn(self, address: str) -> None:
        """Remember an address that a page names, and the values in it."""
        if address in self.learnt:
            return
        self.learnt.add(address)
        path = address.split("#")[0].split("?")[0]
        for route, pattern in self._near(path):
            found = pattern.match(path)
            if found is None:
                continue
            if address.split("#")[0] not in self.known[route.path]:
                self.known[route.path].append(address.split("#")[0])
            for parameter in PARAMETER.finditer(route.path):
                values = self.parts[route.path[: parameter.end()]]
                if found[parameter[1]] not in values:
                    values.append(found[parameter[1]])

    def address(self, draw: random.Random, route: Route, odd: float = 0.15) -> str:
        """An address of a route: one that was seen, or made of values that were seen in others, now and then of odd ones."""
        if self.known[route.path] and draw.random() > odd:
            return draw.choice(self.known[route.path])

        def value(parameter: re.Match[str]) -> str:
            seen = self.parts[route.path[: parameter.end()]]
            if seen and draw.random() > odd:
                return draw.choice(seen)
            return draw.choice((*SEGMENTS, "1", "0", "-1", "999999999", "9" * 40, "1e3", "٣", "1%00", "x.csv"))

        return PARAMETER.sub(value, route.path)

    def count(self, route: Route | None, status: int) -> None:
        """A request came to a route, and this is what it was answered."""
        if route is not None:
            self.asked[route] += 1
            self.went[route] += status in SUCCESS
