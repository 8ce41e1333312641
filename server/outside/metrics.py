"""What is counted and measured while the program runs, by prometheus_client, and told in the text format of Prometheus.

Names follow its naming practice: one prefix, base units (seconds, bytes) and `_total` for what only grows. A label's values are few and
known: a route is its pattern and never an address, so that nobody's token can stand in one.

Several processes each write their counts to files in one folder, named by the variable that prometheus_client looks for when it is
imported; whichever of them is asked adds all of them up. Nothing imports this module where nobody asks for metrics.
"""

from __future__ import annotations

import logging
import os
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache, partial
from pathlib import Path

from prometheus_client import CollectorRegistry, Counter, Gauge, Histogram, ProcessCollector, disable_created_metrics
from prometheus_client.core import GaugeMetricFamily, Metric
from prometheus_client.exposition import generate_latest
from prometheus_client.multiprocess import MultiProcessCollector, mark_process_dead
from prometheus_client.registry import Collector

from server.outside.levels import Level

FOLDER = "PROMETHEUS_MULTIPROC_DIR"
log = logging.getLogger("slackwater")
REQUEST_SECONDS = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
WORK_SECONDS = (0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 1.0, 5.0)
METHODS = ("GET", "POST")
OTHER_METHOD = "other"
NO_ROUTE = "unmatched"
"""One label for every address that leads nowhere, and for what was refused before its address was looked at."""
REFUSALS = {400: "malformed", 429: "throttled", 403: "forged", 413: "too_large", 414: "too_large", 431: "too_large"}
OLDEST = "process_start_time_seconds"


class Meters:
    """The meters of one process."""

    def __init__(self) -> None:
        # When a series began is no use to anybody here, and makes twice as much of what is told. The package has no types there.
        disable_created_metrics()  # type: ignore[no-untyped-call]
        self.folder = os.environ.get(FOLDER, "")
        self._own = CollectorRegistry()
        self._requests = Counter(
            "slackwater_http_requests",
            "Requests answered, by the class of their status.",
            ("method", "route", "status"),
            registry=self._own,
        )
        self._request_seconds = Histogram(
            "slackwater_http_request_duration_seconds",
            "Time from a request's first line to the end of its answer.",
            ("method", "route"),
            buckets=REQUEST_SECONDS,
            registry=self._own,
        )
        self._in_flight = Gauge(
            "slackwater_http_requests_in_flight",
            "Requests being answered.",
            registry=self._own,
            multiprocess_mode="livesum",
        )
        self._refused = Counter(
            "slackwater_http_requests_refused",
            "Requests refused before their route was looked for.",
            ("because",),
            registry=self._own,
        )
        self._work_seconds = Histogram(
            "slackwater_work_duration_seconds",
            "Time of a unit of work in the database, waiting for other writers included.",
            ("kind",),
            buckets=WORK_SECONDS,
            registry=self._own,
        )
        self._work_open = Gauge(
            "slackwater_work_open",
            "Units of work that are open, each with a connection of the pool.",
            registry=self._own,
            multiprocess_mode="livesum",
        )
        for because in set(REFUSALS.values()):
            self._refused.labels(because)
        # Looking a label's values up takes longer than counting does.
        self._requests_of = cache(self._requests.labels)
        self._request_seconds_of = cache(self._request_seconds.labels)
        self._work_seconds_of = cache(self._work_seconds.labels)

    def request_begins(self) -> None:
        """A request is there."""
        self._in_flight.inc()

    def request_ends(self, method: str, route: str, status: int, seconds: float) -> None:
        """A request was answered, under its route's pattern."""
        self._in_flight.dec()
        method, route = (method if method in METHODS else OTHER_METHOD), route or NO_ROUTE
        self._requests_of(method, route, f"{status // 100}xx").inc()
        self._request_seconds_of(method, route).observe(seconds)

    def refused(self, status: int) -> None:
        """A request was refused with a status before its route was looked for."""
        self._refused.labels(REFUSALS[status]).inc()

    @contextmanager
    def working(self, kind: str) -> Iterator[None]:
        """While a unit of work of a kind is open."""
        self._work_open.inc()
        began = time.perf_counter()
        try:
            yield
        finally:
            self._work_seconds_of(kind).observe(time.perf_counter() - began)
            self._work_open.dec()

    def told(self, levels: Iterable[Level]) -> bytes:
        """All of it as text: what all processes counted, what they take of the machine, and levels of the moment."""
        asked = CollectorRegistry()
        if self.folder and not Path(self.folder).is_dir():
            log.warning("the folder of what is measured is gone: counts are told again after a restart")
        elif self.folder:
            MultiProcessCollector(asked, self.folder)  # type: ignore[no-untyped-call]  # The package has no types there.
        else:
            asked.register(self._own)
        asked.register(_Processes(_serving(self.folder)))
        asked.register(_Levels(levels))
        return generate_latest(asked)


def _serving(folder: str) -> list[int]:
    """The processes that serve: this one, or those whose gauges lie in the folder."""
    return [int(file.stem.rpartition("_")[2]) for file in Path(folder).glob("gauge_livesum_*.db")] or [os.getpid()]


class _Processes(Collector):
    """The standard metrics of a process, summed over those that serve; the start is that of the oldest."""

    def __init__(self, processes: Iterable[int]) -> None:
        self.processes = processes

    def collect(self) -> Iterable[Metric]:
        found: dict[str, list[Metric]] = {}
        for process in self.processes:
            for metric in ProcessCollector(pid=partial(int, process), registry=None).collect():
                found.setdefault(metric.name, []).append(metric)
        for name, [first, *others] in found.items():
            numbers = [metric.samples[0].value for metric in (first, *others)]
            value = min(numbers) if name == OLDEST else sum(numbers)
            first.samples = [first.samples[0]._replace(value=value)]
            yield first


class _Levels(Collector):
    """Levels as gauges."""

    def __init__(self, levels: Iterable[Level]) -> None:
        self.levels = levels

    def collect(self) -> Iterable[Metric]:
        for level in self.levels:
            gauge = GaugeMetricFamily(level.name, level.meaning, labels=[level.label] if level.label else [])
            for value, number in level.values.items():
                gauge.add_metric([value] if level.label else [], number)
            yield gauge


def forget_process(process: int) -> None:
    """A process has ended: what it counted stays in the sums, what it was just doing does not."""
    mark_process_dead(process)  # type: ignore[no-untyped-call]  # The package has no types there.
