"""The trade's words, explained."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter
from starlette.requests import Request
from starlette.responses import Response

from server.web.glossary import CHAPTERS, GLOSSARY_PATH, Chapter
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)


@dataclass(frozen=True)
class GlossaryPage:
    """All words, by chapter."""

    chapters: tuple[Chapter, ...] = CHAPTERS


@router.get(GLOSSARY_PATH)
def words(request: Request, shop: ShopOf, pages: PagesOf) -> Response:
    """Every word with its explanation, under an anchor of its own."""
    with shop.reading() as work:
        terms = work.catalogue.policy.shop
    return pages.show(request, "glossary.html", GlossaryPage(), terms)
