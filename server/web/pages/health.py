"""For whoever watches over the server: whether it is alive, whether it can serve, and what is measured."""

from __future__ import annotations

from hmac import compare_digest

from fastapi import APIRouter
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response

from server.usecases.readiness import readiness
from server.usecases.watching import levels
from server.web.state import SettingsOf, ShopOf, meters_of

router = APIRouter(include_in_schema=False)
PROMETHEUS_TEXT = "text/plain; version=0.0.4; charset=utf-8"
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


@router.get("/metrics")
def metrics(request: Request, shop: ShopOf, settings: SettingsOf) -> Response:
    """What is measured, for whoever says the token of the settings; nothing is here where they name none."""
    meters = meters_of(request)
    if meters is None:
        raise HTTPException(404)
    said = request.headers.get("authorization", "")
    wanted = f"Bearer {settings.metrics_token.get_secret_value()}"
    if not compare_digest(said.encode(), wanted.encode()):
        return PlainTextResponse("Say the token.\n", 401, headers={"WWW-Authenticate": "Bearer", **NEVER_KEPT})
    return Response(meters.told(levels(shop)), media_type=PROMETHEUS_TEXT, headers=NEVER_KEPT)
