"""The owner's console: where everything that only the owner changes begins, with what stands now."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.domain.policy_book import in_force_at
from server.usecases.policies import list_versions
from server.web.pages.desk import when_words
from server.web.signed import OwnerOf
from server.web.state import PagesOf, ShopOf

owner_router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class ConsolePage:
    """What stands now."""

    policy_version: int
    policy_since: str
    policy_by: str
    catalogue_version: int
    parts: int


@owner_router.get("/console")
def show_console(request: Request, account: OwnerOf, shop: ShopOf, pages: PagesOf) -> Response:
    """Where the owner begins."""
    with shop.reading(account.name) as work:
        catalogue = work.catalogue
        held = in_force_at(list_versions(work), work.now)
        page = ConsolePage(
            policy_version=catalogue.policy.version,
            policy_since="" if held is None else when_words(held.starts_at, work.now, catalogue.policy.shop),
            policy_by="" if held is None else held.made_by,
            catalogue_version=catalogue.version,
            parts=sum(part.on_sale for part in catalogue.parts.values()),
        )
    return pages.show(request, "console/console.html", page, catalogue.policy.shop)
