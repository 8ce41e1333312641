"""`python -m server`."""

import sys

from server.app import serve
from server.commands import main

sys.exit(main(serve))
