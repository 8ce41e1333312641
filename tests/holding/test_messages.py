"""The process that sends is killed in the middle of its work: each message arrives, and twice only the one it was at."""

from __future__ import annotations

import os
import subprocess
import sys
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

from server.domain.messages import GIVE_UP_AFTER, WORDINGS
from server.outside.mail import Mailer
from server.persistence.engine import Place, engine_for, sessions
from server.usecases.messages import outbox, send_due, tell
from server.usecases.work import Shop, now_utc
from tests.builders_mail import post

MESSAGES, KILLED_AT = 30, 10
ROUND = timedelta(minutes=10)
"""Longer than a lease, and than the first waits."""


def send_until_nothing_waits(data: str, url: str, port: str) -> None:
    """What the process does: round after round, on a clock that goes on by the time between two rounds."""
    ahead = timedelta(0)

    def clock() -> datetime:
        return now_utc() + ahead

    shop = Shop(sessions(engine_for(Place(Path(data), url))), clock)
    mailer = Mailer("127.0.0.1", int(port), security="none")
    while ahead < GIVE_UP_AFTER:
        send_due(shop, mailer, most=MESSAGES * 2)
        with shop.reading() as work:
            if all(message.state != "waiting" for message in outbox(work)):
                return
        ahead += ROUND


def sender(place: Place, port: int) -> subprocess.Popen[bytes]:
    """A process that sends."""
    command = [sys.executable, "-m", "tests.holding.test_messages", str(place.data), place.url, str(port)]
    return subprocess.Popen(command, cwd=Path(__file__).parents[2])


def test_a_sender_killed_in_the_middle_loses_nothing_and_doubles_only_what_it_was_at(place: Place) -> None:
    engine = engine_for(place)
    shop = Shop(sessions(engine))
    ids: dict[str, str] = {}
    with shop.writing("Maeve") as work:
        for number in range(MESSAGES):
            to = f"learner{number}@learners.example"
            values = WORDINGS["booking_made"].samples
            ids[to] = tell(work, "booking_made", to_name="Nuala", to_email=to, about=f"booking:{number}", values=values)
        work.commit()
    addresses = list(ids)
    unknown = addresses[5]
    with post() as server:
        for to in addresses[2::7]:
            server.goes_wrong[to] = ["busy"]
        for to in addresses[3::8]:
            server.goes_wrong[to] = ["drops"]
        server.goes_wrong[unknown] = ["unknown"]
        first = sender(place, server.port)

        def kill_once() -> None:
            """The letter has arrived, and the sender is gone before it hears so: the worst moment."""
            if len(server.arrived) == KILLED_AT and first.returncode is None:
                first.kill()
                first.wait()

        server.on_arrival = kill_once
        assert first.wait(timeout=30) == -9
        assert len(server.arrived) == KILLED_AT
        in_flight = server.ids()[-1]
        assert sender(place, server.port).wait(timeout=30) == 0
    arrived = Counter(server.ids())
    assert arrived == {ids[to]: 1 for to in addresses if to != unknown} | {in_flight: 2}
    twice = [bytes(letter) for letter in server.arrived if letter["Message-ID"] == in_flight]
    assert twice[0] == twice[1], "whoever looks at the Message-ID alone loses nothing"
    with shop.reading() as work:
        stood = {message.to_email: message for message in outbox(work)}
    engine.dispose()
    assert [to for to, message in stood.items() if message.state != "sent"] == [unknown]
    assert stood[unknown].state == "given_up"
    assert stood[unknown].last_error.startswith("550")


if __name__ == "__main__":
    send_until_nothing_waits(*sys.argv[1:])
    os._exit(0)
