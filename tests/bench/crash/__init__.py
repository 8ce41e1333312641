"""Servers killed at random moments under load; after each kill the database holds all that was answered, and nothing by halves.

`python -m tests.bench.crash --kills 3 --on sqlite --seed 7` is a short run.
"""

from tests.bench.crash.run import crash, crashes

__all__ = ["crash", "crashes"]
