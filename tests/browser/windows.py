"""How the tests look at a page: shown in a state it may be in, with everything that unfolds unfolded."""

from __future__ import annotations

from playwright.sync_api import Page, Route

from server.web.guard import SESSION_COOKIE
from tests.builders_seen import Seen


def show(page: Page, address: str, seen: Seen) -> None:
    """Show a page; where it is the answer to a form, what was posted is posted."""
    page.context.clear_cookies()
    if seen.session:
        page.context.add_cookies([{"name": SESSION_COOKIE, "value": seen.session, "url": address}])
    if seen.posted is None:
        answer = page.goto(address + seen.address)
    else:
        posted, kind = seen.posted, seen.kind

        def post(route: Route) -> None:
            route.continue_(method="POST", post_data=posted, headers={**route.request.headers, "content-type": kind})

        page.route(address + seen.address, post, times=1)
        answer = page.goto(address + seen.address)
    assert answer is not None
    assert answer.status == seen.status


def unfold(page: Page) -> None:
    """Open all that can be opened, so that nothing is left unseen."""
    page.evaluate("document.querySelectorAll('details').forEach(part => { part.open = true })")
