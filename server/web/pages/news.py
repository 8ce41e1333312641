"""What has changed on a quote while its page was open, and that a page of it was looked at."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)
