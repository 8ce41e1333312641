"""Several machines on one: each a network namespace with an address of its own and a cable to one switch, where the kernel lets us.

Nothing of it outlasts the process: namespaces end with the process that holds each, and that ends when its standard input does.
Where namespaces are not allowed, machines are other addresses of loopback.
"""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass

PREFIX = "10.77.0."
LOOPBACK = "127.0.0."
PATIENCE_SECONDS = 10
NEEDED = ("unshare", "nsenter", "ip", "setpriv")
ALONE = ("sh", "-c", "echo up; exec cat")
NO_ROOT_UID = 1000


@dataclass(frozen=True)
class Machine:
    """An address, and what stands before a command that is to run there."""

    address: str
    within: tuple[str, ...] = ()

    @property
    def within_without_rights(self) -> tuple[str, ...]:
        """The same for a program that refuses to run as root, as PostgreSQL does."""
        if not self.within:
            return ()
        if os.getuid() == 0:
            return (*self.within, "setpriv", "--reuid=nobody", "--regid=nogroup", "--clear-groups")
        return (*self.within, "unshare", "-U", f"--map-user={NO_ROOT_UID}", f"--map-group={NO_ROOT_UID}")


@dataclass(frozen=True)
class Network:
    """Machines that reach each other, how they were made, and the one in their middle."""

    how: str
    middle: Machine
    machines: Sequence[Machine]

    @property
    def is_apart(self) -> bool:
        """Whether each has all ports to itself."""
        return bool(self.middle.within)


class NotAllowed(Exception):
    """The machine lets nobody make namespaces, for a reason."""


def _held(ending: ExitStack, *command: str) -> int:
    """A process that holds what it was started in until the end, or until we are gone; its number."""
    process = subprocess.Popen(
        [*command, *ALONE], stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL
    )
    assert process.stdin is not None
    assert process.stdout is not None

    def let_go() -> None:
        process.communicate(timeout=PATIENCE_SECONDS)

    ending.callback(let_go)
    if process.stdout.readline() != b"up\n":
        raise NotAllowed(" ".join(command))
    return process.pid


def _entering(pid: int) -> tuple[str, ...]:
    rights = () if os.getuid() == 0 else ("-U", "--preserve-credentials")
    return ("nsenter", "-t", str(pid), *rights, "-n")


def _said(within: tuple[str, ...], words: str) -> None:
    ran = subprocess.run(
        [*within, *words.split()], capture_output=True, text=True, timeout=PATIENCE_SECONDS, check=False
    )
    if ran.returncode:
        raise NotAllowed(f"{words}: {ran.stderr.strip()}")


def _namespaces(number: int, ending: ExitStack) -> Network:
    if missing := [name for name in NEEDED if shutil.which(name) is None]:
        raise NotAllowed(f"no {', '.join(missing)}")
    switch = _entering(_held(ending, "unshare", "-n" if os.getuid() == 0 else "-rn"))
    for words in ("link add br0 type bridge", f"addr add {PREFIX}1/24 dev br0", "link set br0 up", "link set lo up"):
        _said(switch, f"ip {words}")
    machines = []
    for n in range(number):
        pid = _held(ending, *switch, "unshare", "-n")
        machine = Machine(f"{PREFIX}{n + 2}", _entering(pid))
        _said(switch, f"ip link add cable{n} type veth peer name eth0 netns {pid}")
        _said(switch, f"ip link set cable{n} master br0 up")
        for words in (f"addr add {machine.address}/24 dev eth0", "link set eth0 up", "link set lo up"):
            _said(machine.within, f"ip {words}")
        machines.append(machine)
    return Network("network namespaces", Machine(f"{PREFIX}1", switch), machines)


@contextmanager
def network(number: int) -> Iterator[Network]:
    """So many machines and a middle, gone at the end."""
    with ExitStack() as ending:
        try:
            made = _namespaces(number, ending)
        except NotAllowed as error:
            ending.close()
            machines = [Machine(f"{LOOPBACK}{n + 3}") for n in range(number)]
            made = Network(f"loopback addresses ({error})", Machine(f"{LOOPBACK}2"), machines)
        yield made
