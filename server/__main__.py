"""`python -m server`, and the application for each of several processes that serve together.

What is imported stays for as long as the program runs. To look through it again and again for rubbish while it comes in takes a
third of the start, so nobody looks until all is there, and then it is left out for good.
"""

from __future__ import annotations

import gc
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fastapi import FastAPI


def main() -> int:
    """Run the command line."""
    gc.disable()
    from server.app import serve
    from server.commands import main as command

    gc.freeze()
    gc.enable()
    return command(serve)


def application() -> FastAPI:
    """The application by the variables of the process."""
    gc.disable()
    from server.app import from_environment

    gc.freeze()
    gc.enable()
    return from_environment()


if __name__ == "__main__":
    sys.exit(main())
