"""A PostgreSQL server of the tests' own: Debian's package, in a temporary folder, on loopback, as a user without rights."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psycopg
from psycopg import sql

from tests.pace import memory

USER = "slackwater"
NOT_DURABLE = (
    "-c",
    "fsync=off",
    "-c",
    "synchronous_commit=off",
    "-c",
    "full_page_writes=off",
    "-c",
    "max_wal_size=256MB",
    "-c",
    "max_connections=200",
)
DURABLE = ("-c", "max_connections=200")


def binaries() -> Path | None:
    """Where the server's programs are, or None where they are not installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb")) if Path("/usr/lib/postgresql").is_dir() else []
    if found:
        return found[-1].parent
    on_path = shutil.which("initdb")
    return Path(on_path).parent if on_path else None


def _as_nobody() -> dict[str, Any]:
    """PostgreSQL refuses to run as root; then its programs run as `nobody`."""
    return {"user": "nobody", "group": "nogroup", "extra_groups": []} if os.getuid() == 0 else {}


def free_port() -> int:
    """A port of loopback that nobody listens at."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        return int(taken.getsockname()[1])


@dataclass
class Cluster:
    """A server that can be stopped, killed and started again."""

    programs: Path
    folder: Path
    options: tuple[str, ...] = NOT_DURABLE
    port: int = field(default_factory=free_port)
    made: int = 0
    host: str = "127.0.0.1"
    within: tuple[str, ...] = ()
    """What stands before a command where the server runs on another machine; only its socket is reached from here then."""

    def _run(self, *command: str | Path) -> None:
        subprocess.run(
            [*self.within, *map(str, command)],
            check=True,
            capture_output=True,
            cwd=self.folder,
            timeout=60,
            **({} if self.within else _as_nobody()),
        )

    def create(self) -> None:
        """Make the server's files."""
        data = self.folder / "data"
        self._run(
            self.programs / "initdb",
            "-D",
            data,
            "-U",
            USER,
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C.UTF-8",
            "--no-sync",
        )
        if self.host != "127.0.0.1":
            with (data / "pg_hba.conf").open("a") as trusted:
                trusted.write(f"host all all {self.host}/24 trust\n")

    def start(self) -> None:
        """Start, and wait until it answers."""
        listen = f"-h {self.host} -p {self.port} -k {self.folder} " + " ".join(self.options)
        self._run(
            self.programs / "pg_ctl",
            "-D",
            self.folder / "data",
            "-w",
            "-l",
            self.folder / "log",
            "-o",
            listen,
            "start",
        )

    def stop(self, mode: str = "fast") -> None:
        """Stop; `immediate` is as if the machine had failed."""
        self._run(self.programs / "pg_ctl", "-D", self.folder / "data", "-m", mode, "-w", "stop")

    def url(self, database: str) -> str:
        """The address of a database."""
        open_line = "" if self.host == "127.0.0.1" else "?sslmode=disable"  # Machines of a test have no certificates.
        return f"postgresql://{USER}@{self.host}:{self.port}/{database}{open_line}"

    def url_here(self, database: str) -> str:
        """The address of a database by the server's socket, which is reached from every machine that shares its disk."""
        return f"postgresql://{USER}@/{database}?host={self.folder}&port={self.port}"

    def create_database(self, template: str = "template1") -> str:
        """A new database, a copy of another that nobody is connected to; its name."""
        self.made += 1
        name = f"shop{self.made}"
        with psycopg.connect(self.url_here("postgres"), autocommit=True) as connection:
            copy = sql.SQL("CREATE DATABASE {} TEMPLATE {}").format(sql.Identifier(name), sql.Identifier(template))
            connection.execute(copy)
        return name

    def drop_database(self, name: str) -> None:
        """Drop a database, whoever is connected."""
        with psycopg.connect(self.url_here("postgres"), autocommit=True) as connection:
            connection.execute(sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(name)))


@contextmanager
def cluster(
    options: tuple[str, ...] = NOT_DURABLE, *, host: str = "127.0.0.1", within: tuple[str, ...] = ()
) -> Iterator[Cluster]:
    """A running server, gone with all its files at the end; on another machine where one is named."""
    programs = binaries()
    if programs is None:
        raise FileNotFoundError("no PostgreSQL server: apt-get install postgresql")
    folder = Path(tempfile.mkdtemp(prefix="slackwater-pg-", dir=memory() if options == NOT_DURABLE else None))
    try:
        if os.getuid() == 0:
            shutil.chown(folder, "nobody", "nogroup")
        server = Cluster(programs, folder, options, host=host, within=within)
        server.create()
        server.start()
        try:
            yield server
        finally:
            server.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)
