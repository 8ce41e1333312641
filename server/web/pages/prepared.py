"""A prepared link: the way into a kit that the desk has put together for somebody."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)
