"""The choice of units, made at the foot of any page."""

from __future__ import annotations

from fastapi import APIRouter
from starlette.responses import Response

from server.domain.errors import Fault, InvalidInput
from server.web.pages.forms import Form, text_in
from server.web.render import local_path, see_other
from server.web.state import SettingsOf
from server.web.units import CHOICES, Units, remember

router = APIRouter(include_in_schema=False)


@router.post("/units")
def choose_units(form: Form, settings: SettingsOf) -> Response:
    """Remember the units chosen in this browser, and show the page again that the choice was made on."""
    chosen = {name: text_in(form, f"units-{name}") for name in CHOICES}
    faults = [
        Fault(f"units-{name}", f"This is no unit of {name}.", "one of: " + ", ".join(CHOICES[name]))
        for name, unit in chosen.items()
        if unit not in CHOICES[name]
    ]
    if faults:
        raise InvalidInput(faults)
    answer = see_other(local_path(text_in(form, "back")))
    remember(answer, Units(**chosen), is_secure=settings.address.startswith("https://"))
    return answer
