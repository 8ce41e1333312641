"""Connections to PostgreSQL that wait for an answer so long and no longer.

A server that was frozen, or a machine behind a line that was cut, keeps connections open and never answers; neither the system's
time limits nor the server's own end that. A server that is well is told the same limits, and so keeps nobody's place at a lock.
"""

from __future__ import annotations

from typing import Any

import psycopg
from psycopg.abc import RV, PQGen

CONNECT_SECONDS = 5
SOONER = 0.8
"""The part of the time in which the server itself gives a statement up, so that nobody waits at a lock whom nobody waits for."""
HELD = 4
"""So many times as long may a unit of work stand still between two statements; a frozen program would keep what it has locked."""


class Patient(psycopg.Connection[Any]):
    """A connection whose every statement is answered within so many seconds, or which is closed."""

    answer_s: float | None = None

    def wait(self, gen: PQGen[RV], interval: float = 0.1, timeout: float | None = None) -> RV:
        """Wait for one answer; raises `psycopg.OperationalError` where none comes in time."""
        try:
            return super().wait(gen, interval, self.answer_s if timeout is None else timeout)
        except psycopg.errors._WaitTimeout as error:
            self.pgconn.finish()  # What the server may still say belongs to no question any more.
            raise psycopg.OperationalError(f"no answer within {self.answer_s} seconds") from error


def connect(arguments: tuple[Any, ...], options: dict[str, Any], answer_s: float) -> Patient:
    """Connect, within `CONNECT_SECONDS` where the address says nothing else."""
    made = Patient.connect(*arguments, **{"connect_timeout": CONNECT_SECONDS, **options})
    made.answer_s = answer_s
    try:
        _give_up_there(made, answer_s)
    except BaseException:
        made.close()
        raise
    return made


def _give_up_there(made: Patient, answer_s: float) -> None:
    """Have the server end what nobody will wait for: it does not see that a line was closed while a statement waits."""
    made.autocommit = True
    for name, share in (("statement_timeout", SOONER), ("idle_in_transaction_session_timeout", HELD)):
        made.execute("SELECT set_config(%s, %s, false)", (name, str(round(1000 * share * answer_s))))
    made.autocommit = False
