"""Calls that were promised: promise one, and tick it off."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)
