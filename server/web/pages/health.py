"""For whoever watches over the server: whether it is alive, and whether it can serve."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import PlainTextResponse, Response

from server.usecases.readiness import readiness
from server.web.state import SettingsOf, ShopOf

router = APIRouter(include_in_schema=False)
NEVER_KEPT = {"Cache-Control": "no-store"}


@router.get("/healthz")
async def alive() -> Response:
    """The process answers, whatever becomes of what it needs."""
    return PlainTextResponse("alive\n", headers=NEVER_KEPT)


@router.get("/readyz")
def ready(shop: ShopOf, settings: SettingsOf) -> Response:
    """A line for each check; 503 where one does not hold."""
    checks = readiness(shop, settings.data)
    lines = [f"{check.name}: {check.because or 'ok'}" for check in checks]
    status = 200 if all(check.holds for check in checks) else 503
    return PlainTextResponse("\n".join(lines) + "\n", status, headers=NEVER_KEPT)
