"""Calls that are promised at the desk, and made."""

from __future__ import annotations

from server.domain.calls import read_promise
from server.domain.errors import Fault, InvalidInput, NotFound
from server.persistence.calls import finish_call, save_promise
from server.usecases.desk import quote_by_code
from server.usecases.work import Work


def promise_call(
    work: Work, account_id: int, *, name: str, phone: str, about: str, day: str, at: str, code: str = ""
) -> int:
    """Promise a call by a day and time of the shop's clock, about a quote where its code is given; the call's number.

    Raises `InvalidInput` with every fault; `TooMany` after many codes that lead nowhere.
    """
    zone = work.zone
    faults: list[Fault] = []
    promise, token = None, ""
    try:
        promise = read_promise(name=name, phone=phone, about=about, day=day, at=at, now=work.now, zone=zone)
    except InvalidInput as error:
        faults += error.faults
    try:
        token = quote_by_code(work, account_id, code) if code else ""
    except InvalidInput as error:
        faults += error.faults
    if faults or promise is None:
        raise InvalidInput(faults)
    call_id = save_promise(work.session, promise, token, work.now, work.actor)
    work.commit()
    return call_id


def finish_promised_call(work: Work, call_id: int) -> None:
    """The call was made; doing so again changes nothing. Raises `NotFound` where no such call was promised."""
    if not finish_call(work.session, call_id, work.now, work.actor):
        raise NotFound("call", "No such call was promised.")
    work.commit()
