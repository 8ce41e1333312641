"""The worksheet: what the caller says, the kit and its price as it is typed, and the link or revision that comes of it."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)
