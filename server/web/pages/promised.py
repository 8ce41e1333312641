"""The form by which a call is promised; it stands on the desk's first page, and may stand on any other of the desk's."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from server.domain.errors import Fault
from server.usecases.work import Work
from server.web.pages.forms import FaultyForm

FIELDS = ("name", "phone", "about", "day", "at", "code")


@dataclass(frozen=True)
class CallForm(FaultyForm):
    """The form as typed, with what is wrong beside its fields."""

    typed: Mapping[str, str] = field(default_factory=dict)
    faults: tuple[Fault, ...] = ()
    earliest: str = ""

    @property
    def is_open(self) -> bool:
        """Whether the form is unfolded: somebody has to put something right in it."""
        return bool(self.faults)

    def value(self, name: str) -> str:
        """A field as typed; empty where nothing was."""
        return self.typed.get(name, "")


def call_form(work: Work, *, code: str = "", name: str = "", phone: str = "") -> CallForm:
    """The form for a call today, with what is known filled in."""
    today = work.today.isoformat()
    return CallForm({"code": code, "name": name, "phone": phone, "day": today}, earliest=today)
