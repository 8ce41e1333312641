"""A sale over the counter: scan or type, quantity, done."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)
