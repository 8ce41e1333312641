"""Calls that were promised: promise one, and tick it off."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated

from fastapi import APIRouter, Path
from starlette.requests import Request
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput, TooMany
from server.domain.finding import said_code
from server.usecases.calls import finish_promised_call, promise_call
from server.web.pages.desk import desk_page
from server.web.pages.forms import Form, text_in
from server.web.pages.promised import FIELDS, call_form
from server.web.render import see_other
from server.web.signed import StaffOf
from server.web.state import PagesOf, ShopOf

router = APIRouter(include_in_schema=False)

RowNumber = Annotated[int, Path(ge=1, le=2**31 - 1)]
"""The number of a row as both databases can have it."""


@router.post("/desk/calls")
def promise(request: Request, account: StaffOf, form: Form, shop: ShopOf, pages: PagesOf) -> Response:
    """Promise a call, and back to where the form stood; what is wrong is said beside its field, with all that was typed."""
    typed = {name: text_in(form, name) for name in FIELDS}
    with shop.writing(account.name) as work:
        try:
            promise_call(work, account.id, **typed)
        except InvalidInput as error:
            faults, status = error.faults, 422
        except TooMany as error:
            faults, status = (Fault(error.field, str(error)),), 429
        else:
            code = said_code(typed["code"]) if text_in(form, "back") == "quote" else ""
            return see_other(f"/desk/quotes/{code}" if code else "/desk")
    with shop.reading(account.name) as work:
        form_again = replace(call_form(work), typed=typed, faults=faults)
        page = desk_page(work, form_again)
        return pages.show(request, "desk/desk.html", page, work.catalogue.policy.shop, status=status)


@router.post("/desk/calls/{number}/done")
def done(number: RowNumber, account: StaffOf, shop: ShopOf) -> Response:
    """The call was made."""
    with shop.writing(account.name) as work:
        finish_promised_call(work, number)
    return see_other("/desk")
