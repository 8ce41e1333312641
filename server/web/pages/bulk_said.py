"""What the form for many parts says is to be done: read, with each fault at its field, and said in a few words."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from datetime import date
from decimal import Decimal
from typing import cast

from server.domain.bulk_changes import ENDING_WORDS, BulkChange, Ending
from server.domain.errors import Fault, InvalidInput
from server.domain.lessons import read_day
from server.domain.stock import BY_HAND, MovementKind
from server.usecases.bulk_changes import StockChange
from server.usecases.catalogue_edits import LONGEST_WHY
from server.web.pages.part_shown import KIND_WORDS

_SIGNED = re.compile(r"([+\-−]?)\s*(\d{1,5})(?:[.,](\d{1,2}))?", re.ASCII)


def read_change(query: Mapping[str, str], today: date) -> BulkChange | StockChange:
    """What is to be done, as the form says it; raises `InvalidInput` at its fields."""
    kind = query.get("change", "")
    reading: dict[str, Callable[[Mapping[str, str], date], BulkChange | StockChange]] = {
        "price": _price,
        "markdown": _markdown,
        "sold": _sold,
        "stock": _stock,
    }
    if kind == "markdown_off":
        return BulkChange("markdown_off")
    if kind not in reading:
        raise InvalidInput([Fault("change", "This has to be said.", "one of those listed")])
    return reading[kind](query, today)


def _price(query: Mapping[str, str], _today: date) -> BulkChange:
    value, by = _signed(query.get("value", "")), query.get("by", "")
    faults = []
    if by not in ("percent", "amount"):
        faults.append(Fault("by", "This has to be said.", "per cent or amount"))
    if value is None or value == 0 or (by == "percent" and not -99 <= value <= 1000):
        faults.append(
            Fault("value", "This is not a change of price.", "a number such as 5, −5 or 12.50; −99 to 1000 per cent")
        )
    ending = _ending(query, faults)
    if faults or value is None:
        raise InvalidInput(faults)
    if by == "amount":
        return BulkChange("price", amount=int(value * 100), ending=ending)
    return BulkChange("price", percent=value, ending=ending)


def _markdown(query: Mapping[str, str], today: date) -> BulkChange:
    percent = _signed(query.get("percent", ""))
    since = read_day(query.get("since", "")) if query.get("since") else today
    faults = []
    if percent is None or not 0 < percent < 100:
        faults.append(Fault("percent", "This is not a percentage to take off.", "a number over 0 and under 100"))
    if since is None or since < today:
        faults.append(Fault("since", "A markdown begins today or later.", f"{today.isoformat()} or a later day"))
    ending = _ending(query, faults)
    if faults:
        raise InvalidInput(faults)
    dearer_too = query.get("dearer", "") == "yes"
    return BulkChange("markdown", percent=percent, ending=ending, since=since, dearer_too=dearer_too)


def _ending(query: Mapping[str, str], faults: list[Fault]) -> Ending:
    ending = query.get("ending", "") or "exact"
    if ending not in ENDING_WORDS:
        faults.append(Fault("ending", "Prices are not rounded like this.", "one of those listed"))
        return "exact"
    return ending


def _sold(query: Mapping[str, str], _today: date) -> BulkChange:
    if query.get("sold_is", "") not in ("yes", "no"):
        raise InvalidInput([Fault("sold_is", "This has to be said.", "sold or not sold")])
    return BulkChange("sold", sold=query["sold_is"] == "yes")


def _stock(query: Mapping[str, str], _today: date) -> StockChange:
    kind, pieces, why = query.get("kind", ""), query.get("pieces", "").strip(), query.get("why", "").strip()
    faults = []
    if kind not in BY_HAND:
        faults.append(Fault("kind", "This has to be said.", "one of those listed"))
    is_whole = pieces.isascii() and pieces.isdigit() and len(pieces) <= 6
    if not is_whole or (int(pieces) < 1 and kind != "count"):
        faults.append(
            Fault("pieces", "This is not a number of pieces.", "a whole number, 1 or more (a count: 0 or more)")
        )
    if not why or len(why) > LONGEST_WHY or not why.isprintable():
        words = "This reason is not accepted." if why else "The ledger keeps why."
        faults.append(Fault("why", words, f"text of at most {LONGEST_WHY} characters"))
    if faults:
        raise InvalidInput(faults)
    return StockChange(cast(MovementKind, kind), int(pieces), why)


def _signed(text: str) -> Decimal | None:
    read = _SIGNED.fullmatch(text.strip().removesuffix("%").strip())
    if read is None:
        return None
    value = Decimal(f"{read[2]}.{read[3] or '0'}")
    return -value if read[1] in ("-", "−") else value


def stock_words(change: StockChange, count: int) -> str:
    """What is booked for how many parts, in a few words."""
    return f"{KIND_WORDS[change.kind]}, {change.pieces} of each, {count} part{'' if count == 1 else 's'}"
