"""What is kept of people here, why, how long, and whom to ask."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.policy import Policy
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class PrivacyPage:
    """The policy, for its days."""

    policy: Policy


@router.get("/privacy")
def privacy(request: Request, shop: ShopOf, pages: PagesOf) -> Response:
    """The privacy page, with the days that are in force."""
    with shop.reading() as work:
        policy = work.catalogue.policy
    return pages.show(request, "privacy.html", PrivacyPage(policy), policy.shop)
