"""The server as whoever runs it meets it: behind a proxy, watched over, killed in part, and told to stop in the middle of something."""

from __future__ import annotations

import json
import os
import signal
import socket
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import httpx

from tests.builders_metrics import metrics_in, value_of
from tests.builders_served import PATIENCE_S, free_port, served
from tests.builders_shop import learner
from tests.pace import only_in_ci

TOKEN = "of-whoever-watches-over-it"
BODY = json.dumps(learner()).encode("ascii")


def begin_slowly(port: int, forwarded: str = "") -> socket.socket:
    """A request of which half of the body is still to come."""
    connection = socket.create_connection(("127.0.0.1", port), PATIENCE_S)
    head = (
        f"POST /api/fit HTTP/1.1\r\nHost: shop\r\nContent-Length: {len(BODY)}\r\nX-Forwarded-For: {forwarded}\r\n\r\n"
    )
    connection.sendall(head.encode("ascii") + BODY[:20])
    return connection


def finish(connection: socket.socket) -> bytes:
    """The first line that answers it, once the rest was sent."""
    with connection:
        connection.sendall(BODY[20:])
        return connection.makefile("rb").readline()


def soon(holds: Callable[[], bool]) -> bool:
    """Whether something comes to hold before patience ends."""
    until = time.monotonic() + PATIENCE_S
    while not holds() and time.monotonic() < until:
        time.sleep(0.05)
    return holds()


def test_one_process_behind_a_proxy_tells_people_apart_logs_lines_of_json_and_ends_what_it_was_at(
    data: Path, tmp_path: Path
) -> None:
    port, log = free_port(), tmp_path / "log"
    address = f"http://127.0.0.1:{port}"
    settings = {"FORWARDED_ALLOW_IPS": "127.0.0.1", "PUBLIC_BURST": "2", "SMTP_HOST": "127.0.0.1", "SMTP_PORT": "9"}
    variables: Any = {f"SLACKWATER_{name}": value for name, value in settings.items()}
    with served("--port", str(port), "--data", str(data), log=log, **variables) as (process, _):
        answers = [
            httpx.get(f"{address}/api/parts", headers={"X-Forwarded-For": f"192.0.2.{n}, 203.0.113.5"})
            for n in range(3)
        ]
        assert [answer.status_code for answer in answers] == [200, 200, 429], (
            "they are one person's, whoever they say they are"
        )
        with socket.create_connection(("127.0.0.1", port)) as nonsense:
            nonsense.sendall(b"\x00\x01 nonsense\r\n\r\n")
            assert nonsense.makefile("rb").readline().split()[1] == b"400"
        slow = begin_slowly(port, "203.0.113.6")
        time.sleep(0.2)
        process.send_signal(signal.SIGTERM)
        time.sleep(0.3)
        assert process.poll() is None
        assert finish(slow).split()[1] == b"200"
        assert process.wait(PATIENCE_S / 2) == 0, "with the thread that sends messages"
    lines = [json.loads(line) for line in log.read_text(encoding="utf-8").splitlines()]
    for line in lines:
        assert {"time", "level", "logger", "process", "message"} <= set(line)
        moment = datetime.fromisoformat(line["time"])
        assert moment.utcoffset() == timedelta(0)
        assert abs(datetime.now(UTC) - moment) < timedelta(minutes=5)
    requests = {line["request_id"] for line in lines if line["logger"] == "slackwater.requests"}
    assert {answer.headers["x-request-id"] for answer in answers} <= requests
    assert [line["level"] for line in lines if line["logger"] == "uvicorn.error"] == ["WARNING"]
    assert [line["message"] for line in lines if line["logger"] == "slackwater.process"] == ["served", "stopped"]
    assert lines[0]["address"] == address
    [throttled] = [line for line in lines if line["message"] == "refused before any page"]
    assert throttled["at"] != "203.0.113.5"


def workers_of(process: int) -> list[int]:
    """The processes that serve for a process: those that Python started as one of several (its tracker of resources is none)."""
    children = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii").split()
    return [int(child) for child in children if b"spawn_main" in Path(f"/proc/{child}/cmdline").read_bytes()]


@only_in_ci("starts three processes, five seconds of a processor")
def test_two_processes_serve_one_shop_are_measured_as_one_and_end_what_they_were_at(data: Path, tmp_path: Path) -> None:
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    variables: Any = {"SLACKWATER_METRICS_TOKEN": TOKEN, "TMPDIR": str(tmp_path)}

    def measured() -> dict[str, Any]:
        answer = httpx.get(f"{address}/metrics", headers={"Authorization": f"Bearer {TOKEN}"}, timeout=PATIENCE_S)
        return metrics_in(answer.text)

    with served("--workers", "2", "--port", str(port), "--data", str(data), **variables) as (process, line):
        assert address in line
        kept = httpx.post(f"{address}/api/quotes", json={"answers": learner()}, timeout=PATIENCE_S).json()
        for _ in range(8):  # Each on a connection of its own, so that both are asked.
            assert httpx.get(kept["url"], timeout=PATIENCE_S).status_code == 200
        asked = {"method": "GET", "route": "/quotes/{token}"}
        assert soon(lambda: value_of(measured(), "slackwater_http_requests_total", **asked, status="2xx") == 8)
        found = measured()
        assert value_of(found, "slackwater_http_request_duration_seconds_count", **asked) == 8
        assert value_of(found, "slackwater_http_requests_in_flight") == 1, "the question itself"
        assert value_of(found, "process_resident_memory_bytes") > 150_000_000, "two processes of some 100 MB"

        [folder] = tmp_path.glob("slackwater-metrics-*")
        assert soon(lambda: len(workers_of(process.pid)) == 2)
        killed = workers_of(process.pid)[0]
        os.kill(killed, signal.SIGKILL)
        assert soon(lambda: not list(folder.glob(f"gauge_live*_{killed}.db")))
        assert value_of(measured(), "slackwater_http_requests_total", **asked, status="2xx") == 8, "counts stay"

        slow = begin_slowly(port)
        assert soon(lambda: value_of(measured(), "slackwater_http_requests_in_flight") == 2)
        process.send_signal(signal.SIGTERM)
        time.sleep(0.8)
        assert process.poll() is None
        assert finish(slow).split()[1] == b"200"
        assert process.wait(PATIENCE_S) == 0
    assert not list(tmp_path.iterdir()), "the folder is gone with the processes"
