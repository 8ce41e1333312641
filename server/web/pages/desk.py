"""The desk's first page: what needs a hand today, and finding a quote by what the caller says."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)
