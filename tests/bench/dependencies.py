"""Known faults of the packages of both locks, as far as the index of packages can be asked; pip-audit does the asking."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
LOCKS = (ROOT / ".ci" / "requirements.txt", ROOT / ".ci" / "requirements-test.txt")
ANSWER_S, ALL_S = 5, 120


@dataclass(frozen=True)
class Audit:
    """Packages asked about, those of which nothing could be learnt, and the faults that are known, each as a line."""

    asked: int
    unknown: tuple[str, ...]
    faults: tuple[str, ...]

    @classmethod
    def of(cls, report: Mapping[str, Any]) -> Audit:
        """What a report of pip-audit says, in its format `json`."""
        rows = report["dependencies"]
        unknown = [row["name"] for row in rows if "skip_reason" in row]
        faults = [
            f"{row['name']} {row['version']}: {fault['id']}, mended in {', '.join(fault['fix_versions']) or 'no version yet'}"
            for row in rows
            for fault in row.get("vulns", ())
        ]
        return cls(len(rows), tuple(unknown), tuple(faults))

    def lines(self) -> list[str]:
        """What is said of it."""
        known = self.asked - len(self.unknown)
        said = [f"{known} of {self.asked} packages could be asked about; {len(self.faults)} known faults"]
        if self.unknown:
            said.append(
                "NOT ASKED, since the index that holds known faults could not be reached or does not know them: "
                + ", ".join(self.unknown)
            )
        return [*said, *self.faults]


def audited(lock: Path) -> Audit | None:
    """What is known of a lock's packages; None where pip-audit itself does not come to an end or says nothing that can be read."""
    command = [sys.executable, "-m", "pip_audit", "-r", str(lock), "--disable-pip", "--require-hashes"]
    command += ["--format", "json", "--progress-spinner", "off", "--timeout", str(ANSWER_S)]
    try:
        ran = subprocess.run(command, capture_output=True, text=True, check=False, timeout=ALL_S)
        return Audit.of(json.loads(ran.stdout))
    except (subprocess.TimeoutExpired, ValueError, KeyError):
        return None


def dependencies() -> None:
    """Known faults of every package of both locks; what cannot be asked is said, and is no failure."""
    faults = 0
    for lock in LOCKS:
        found = audited(lock)
        said = found.lines() if found else ["NOT ASKED: the index that holds known faults cannot be reached from here"]
        print(f"{lock.name}:", *said, sep="\n  ")
        faults += len(found.faults) if found else 0
    if faults:
        raise SystemExit(1)
