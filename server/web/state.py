"""What handlers are given: the shop and the settings of this running program.

They are asked for without waiting, so that none of them costs a page the way to another thread and back.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, cast

from fastapi import Depends, Request

from server.security.passwords import Passwords
from server.settings import Settings
from server.usecases.work import Shop
from server.web.render import Pages

if TYPE_CHECKING:
    from server.outside.metrics import Meters


async def _shop(request: Request) -> Shop:
    return cast(Shop, request.app.state.shop)


async def _settings(request: Request) -> Settings:
    return cast(Settings, request.app.state.settings)


async def _pages(request: Request) -> Pages:
    return cast(Pages, request.app.state.pages)


async def _passwords(request: Request) -> Passwords:
    return cast(Passwords, request.app.state.passwords)


def meters_of(request: Request) -> Meters | None:
    """The meters of this process; None where nobody asks for metrics."""
    return cast("Meters | None", request.app.state.meters)


ShopOf = Annotated[Shop, Depends(_shop)]
SettingsOf = Annotated[Settings, Depends(_settings)]
PagesOf = Annotated[Pages, Depends(_pages)]
PasswordsOf = Annotated[Passwords, Depends(_passwords)]
