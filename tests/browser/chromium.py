"""Where the browser is, and how it is started: it looks for nothing outside of this machine by itself."""

from __future__ import annotations

CHROMIUM = "/usr/bin/chromium"
"""Debian's: `apt-get install chromium`."""
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
