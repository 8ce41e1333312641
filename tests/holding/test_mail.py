"""The sender killed while it is at a letter: every letter arrives, and whichever arrives twice is one by its Message-ID."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections import defaultdict
from datetime import timedelta
from pathlib import Path

from server.domain.messages import WORDINGS
from server.persistence.engine import Place, engine_for, sessions
from server.usecases.messages import LEASE, send_due, tell
from server.usecases.work import Shop, now_utc
from tests.builders_mail import Post, post

ROOT = Path(__file__).parents[2]
SENDER = """
import sys
from pathlib import Path
from server.outside.mail import Mailer
from server.persistence.engine import Place, engine_for, sessions
from server.usecases.messages import send_due
from server.usecases.work import Shop
mailer = Mailer(host="127.0.0.1", port=int(sys.argv[2]), security="none", sender="shop@shop.example")
send_due(Shop(sessions(engine_for(Place(Path(sys.argv[1]))))), mailer)
"""
LETTERS = tuple(f"learner{number}@learners.example" for number in range(5))
BEFORE_TAKEN, WHEN_TAKEN = LETTERS[1], LETTERS[3]
LONG_ENOUGH = 20


def sender(data: Path, mail: Post) -> subprocess.Popen[bytes]:
    """A process of its own that sends what is due."""
    return subprocess.Popen([sys.executable, "-c", SENDER, str(data), str(mail.port)], cwd=ROOT)


def test_each_letter_arrives_under_one_name_though_its_sender_was_killed_over_it(data: Path) -> None:
    engine = engine_for(Place(data))
    shop = Shop(sessions(engine))
    told = {}
    with shop.writing("Maeve") as work:
        values = {**WORDINGS["booking_made"].samples, "link": "/bookings/sample"}
        for address in LETTERS:
            about = {"about": "booking:1", "values": values}
            told[address] = tell(work, "booking_made", to_name="Nuala", to_email=address, **about)  # type: ignore[arg-type]
        work.commit()
    with post() as mail:
        mail.goes_wrong[BEFORE_TAKEN].append("hangs")
        first = sender(data, mail)
        until = time.monotonic() + LONG_ENOUGH
        while not mail.tried[BEFORE_TAKEN] and time.monotonic() < until:
            time.sleep(0.01)
        first.send_signal(signal.SIGKILL)
        assert first.wait(LONG_ENOUGH) == -signal.SIGKILL

        second = sender(data, mail)

        def kill_over_it() -> None:
            if mail.arrived[-1]["To"].addresses[0].addr_spec == WHEN_TAKEN and second.poll() is None:
                second.send_signal(signal.SIGKILL)
                second.wait(LONG_ENOUGH)

        mail.on_arrival = kill_over_it
        assert second.wait(LONG_ENOUGH) == -signal.SIGKILL
        assert sender(data, mail).wait(LONG_ENOUGH) == 0

        arrived = {letter["To"].addresses[0].addr_spec for letter in mail.arrived}
        assert BEFORE_TAKEN not in arrived, "its lease still runs"
        later = Shop(sessions(engine), lambda: now_utc() + LEASE + timedelta(seconds=1))
        assert send_due(later, mail.mailer(sender="shop@shop.example")).sent == 2
        assert send_due(later, mail.mailer()).is_nothing

    ids = defaultdict(list)
    for letter in mail.arrived:
        ids[letter["To"].addresses[0].addr_spec].append(str(letter["Message-ID"]))
    assert {address: set(found) for address, found in ids.items()} == {one: {name} for one, name in told.items()}
    assert [address for address, found in ids.items() if len(found) > 1] == [WHEN_TAKEN]
    engine.dispose()
