"""The Dockerfile read, and its steps carried out in order in a folder that stands for the image."""

from __future__ import annotations

import fnmatch
import json
import os
import shlex
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import Any

from dockerfile_parse import DockerfileParser

ROOT = Path(__file__).parents[2]
Step = tuple[str, str]


def steps() -> list[Step]:
    """The instructions of the Dockerfile in order, each with what it says."""
    parser = DockerfileParser(str(ROOT / "Dockerfile"), cache_content=True)
    return [(one["instruction"], one["value"]) for one in parser.structure if one["instruction"] != "COMMENT"]


def said(instruction: str) -> list[str]:
    """What every instruction of a kind says."""
    return [value for name, value in steps() if name == instruction]


def is_sent(path: str) -> bool:
    """Whether a file is part of what is built from: of the patterns in .dockerignore the last that matches it, or a folder of
    it, decides."""
    lines = (ROOT / ".dockerignore").read_text(encoding="utf-8").split()
    parts = PurePosixPath(path).parts
    names = ["/".join(parts[: end + 1]) for end in range(len(parts))]
    sent = True
    for line in lines:
        pattern = line.removeprefix("!")
        inner = pattern.removeprefix("**/")
        if any(fnmatch.fnmatchcase(name, pattern) or (inner != pattern and _ends(name, inner)) for name in names):
            sent = line.startswith("!")
    return sent


def _ends(name: str, pattern: str) -> bool:
    return fnmatch.fnmatchcase(name.rpartition("/")[2], pattern)


def files_sent() -> Iterator[str]:
    """All files of the project that are part of what is built from."""
    for path in sorted(ROOT.rglob("*")):
        name = path.relative_to(ROOT).as_posix()
        if path.is_file() and is_sent(name):
            yield name


def _base() -> str:
    """A Python for the image that any user may run; this one where no other is there."""
    version = f"python{sys.version_info.major}.{sys.version_info.minor}"
    for path in (sys._base_executable, shutil.which(version, path="/usr/local/bin:/usr/bin")):  # type: ignore[attr-defined]  # Private, and no other name tells it.
        if path and all(os.stat(folder).st_mode & 0o001 for folder in (path, *Path(path).resolve().parents)):
            return path
    return sys.executable


@dataclass
class Image:
    """A folder in which the steps are carried out; paths of the image lie under it."""

    folder: Path
    workdir: Path = field(init=False)
    variables: dict[str, str] = field(default_factory=dict)
    users: dict[str, int] = field(default_factory=dict)
    user: int | None = None
    health: list[str] = field(default_factory=list)
    command: list[str] = field(default_factory=list)
    volumes: list[Path] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.workdir = self.folder

    def build(self) -> None:
        """Carry out every step in its order; one that is not known here is a fault."""
        for instruction, value in steps():
            getattr(self, f"_{instruction.lower()}")(value)

    def at(self, path: str) -> Path:
        """Where a path of the image lies."""
        return self.folder / path.lstrip("/") if path.startswith("/") else self.workdir / path

    def environment(self) -> dict[str, str]:
        """The variables of a process in it: its own Python first, and where packages are found as on this machine."""
        kept = {name: value for name, value in os.environ.items() if name.startswith("PIP_") or name == "LANG"}
        return {**kept, "PATH": f"{self.folder / 'venv/bin'}:/usr/bin:/bin", "HOME": str(self.folder), **self.variables}

    def process(self) -> dict[str, Any]:
        """How a process in it is started: as its user where the one who tests may choose, else as whoever that is."""
        can_choose = self.user is not None and os.getuid() == 0
        who: dict[str, Any] = {"user": self.user, "group": self.user, "extra_groups": []} if can_choose else {}
        return {"cwd": self.workdir, "env": self.environment(), **who}

    def _from(self, value: str) -> None:
        assert value.startswith(f"python:{sys.version_info.major}.{sys.version_info.minor}"), "another Python than this"
        subprocess.run([_base(), "-m", "venv", "--without-pip", self.folder / "venv"], check=True)
        python = self.folder / "venv/bin/python"
        pip = self.folder / "venv/bin/pip"
        pip.write_text(f'#!/bin/sh\nexec {sys.executable} -m pip --python {python} "$@"\n', encoding="ascii")
        pip.chmod(0o755)

    def _workdir(self, value: str) -> None:
        self.workdir = self.at(value)
        self.workdir.mkdir(parents=True, exist_ok=True)

    def _copy(self, value: str) -> None:
        *sources, target = value.split()
        for source in sources:
            names = [name for name in files_sent() if name == source or name.startswith(f"{source}/")]
            assert names, f"{source} is not part of what is built from"
            to = self.at(target) / source if target.endswith("/") else self.at(target)
            for name in names:
                file = to / name.removeprefix(f"{source}/") if name != source else to
                file.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(ROOT / name, file)

    def _run(self, value: str) -> None:
        for command in value.split("&&"):
            words = shlex.split(command)
            if words[0] == "useradd":
                self.users[words[-1]] = int(words[words.index("--uid") + 1])
            elif words[0] == "chown":
                owner = self.users[words[1].partition(":")[0]]
                if os.getuid() == 0:
                    os.chown(self.at(words[2]), owner, owner)
            else:
                placed = [str(self.at(word)) if word.startswith("/") else word for word in words]
                subprocess.run(placed, check=True, capture_output=True, timeout=900, **self.process())

    def _env(self, value: str) -> None:
        for pair in shlex.split(value):
            name, _, text = pair.partition("=")
            self.variables[name] = str(self.at(text)) if text.startswith("/") else text

    def _user(self, value: str) -> None:
        self.user = int(value.partition(":")[0])

    def _volume(self, value: str) -> None:
        self.volumes.append(self.at(value))

    def _expose(self, _value: str) -> None:
        """Which ports are meant says nothing to a process."""

    def _healthcheck(self, value: str) -> None:
        self.health = json.loads(value.partition("CMD ")[2])

    def _cmd(self, value: str) -> None:
        self.command = json.loads(value)
