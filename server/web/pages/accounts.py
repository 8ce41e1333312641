"""Signing in and out, one's own account, and the owner's list of who works here."""

from __future__ import annotations

from fastapi import APIRouter

router = APIRouter(include_in_schema=False)
open_router = APIRouter(include_in_schema=False)
owner_router = APIRouter(include_in_schema=False)
