"""Servers that start at once: a process has read the whole program, and every server is a copy of it that goes its own way.

Reading the program and compiling its templates takes seconds of a processor, each time a server is started; a run that kills hundreds
of servers would do little else. Importing it builds nothing, so that a copy has opened nothing: no database, no port and no thread.
"""

from __future__ import annotations

import json
import os
import select
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from functools import partial
from pathlib import Path

from jinja2 import FileSystemBytecodeCache

ROOT = Path(__file__).parents[2]


class Child:
    """A copy by its number: what `subprocess.Popen` is to a process of one's own."""

    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._ended = os.pidfd_open(pid)

    def poll(self) -> int | None:
        """None while it runs."""
        return self.wait(0) if self._is_over(0) else None

    def _is_over(self, seconds: float | None) -> bool:
        return bool(select.select([self._ended], [], [], seconds)[0])

    def wait(self, timeout: float | None = None) -> int:
        """Wait until it has ended; raises `subprocess.TimeoutExpired`. How it ended only its parent knows."""
        if not self._is_over(timeout):
            raise subprocess.TimeoutExpired(str(self.pid), timeout or 0)
        return 0

    def send_signal(self, sent: int) -> None:
        """Send a signal, unless it has ended."""
        if not self._is_over(0):
            signal.pidfd_send_signal(self._ended, sent)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)

    def kill(self) -> None:
        """End it."""
        self.send_signal(signal.SIGKILL)

    def __del__(self) -> None:
        os.close(self._ended)


class Nursery:
    """The process that has read the program, and is asked for copies of itself."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self.process = process

    def start(self, arguments: list[str], environment: Mapping[str, str], log: Path) -> Child:
        """A copy that serves with these arguments and variables; what it says goes to the log."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        asked = {"arguments": arguments, "environment": dict(environment), "log": str(log)}
        self.process.stdin.write(json.dumps(asked).encode() + b"\n")
        self.process.stdin.flush()
        return Child(int(self.process.stdout.readline()))


@contextmanager
def nursery() -> Iterator[Nursery]:
    """A nursery that ends with its last user; its copies have to be ended before."""
    with tempfile.TemporaryDirectory(prefix="slackwater-templates-") as templates:
        command = [sys.executable, "-m", "tests.bench.nursery", templates]
        with subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
            yield Nursery(process)
            assert process.stdin is not None
            process.stdin.close()


def serve_copies(templates: str) -> None:
    """Read the program, and then one line after the other, each asking for a copy; it answers with the copy's number.

    Copies find the templates that others have compiled in a folder.
    """
    from server.app import serve
    from server.commands import main

    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # Whoever ends leaves nothing behind that had to be waited for.
    serve_quickly = partial(serve, compiled=FileSystemBytecodeCache(templates))
    copies: list[Child] = []
    for line in sys.stdin.buffer:
        asked = json.loads(line)
        pid = os.fork()
        if pid:
            copies = [*(copy for copy in copies if copy.poll() is None), Child(pid)]
            print(pid, flush=True)
            continue
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        log = os.open(asked["log"], os.O_WRONLY | os.O_APPEND | os.O_CREAT)
        os.dup2(log, 1)
        os.dup2(log, 2)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.environ.update(asked["environment"])
        sys.exit(main(serve_quickly, asked["arguments"]))
    for copy in copies:  # Whoever asked for them is gone.
        copy.kill()


if __name__ == "__main__":
    serve_copies(sys.argv[1])
