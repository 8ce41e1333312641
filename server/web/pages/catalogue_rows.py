"""The rows of the owner's list: each part as it is shown, and what was typed in its row read back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from starlette.datastructures import FormData

from server.domain.errors import Fault
from server.domain.listing import FLAG_WORDS, Flag, Listed
from server.domain.money import Cents
from server.domain.pricing import Margin
from server.domain.reductions import called_words
from server.domain.slots import SLOT_WORDS
from server.usecases.catalogue_edits import digest_of, typed_of, words_in
from server.usecases.list_edits import RowTyped
from server.usecases.work import Work
from server.web.pages.forms import TypedForm, text_in

ROW_FIELDS = ("price", "markdown_price", "markdown_from", "sold")
WRONG_WORDS: dict[Flag, str] = {
    "loss": "sells for less than it costs",
    "gone": FLAG_WORDS["gone"],
    "no_day": FLAG_WORDS["no_day"],
    "thin": FLAG_WORDS["thin"],
}
"""What is said in the row of each thing that is wrong."""


@dataclass(frozen=True)
class RowShown(TypedForm):
    """A part in the list: what stands of it, and its fields as they are or as they were typed; amounts in cents.

    `shown` says what the row was shown with: the part's digest, then its fields, so that only rows that were changed are kept.
    """

    number: int
    sku: str
    name: str
    what: str
    on_hand: int
    held: int
    price: Cents
    cost: Cents
    earned: Cents
    percent: str
    flags: tuple[str, ...]
    called: str
    is_plain: bool
    is_retired: bool
    is_kept: bool
    shown: str
    typed: Mapping[str, str]
    faults: tuple[Fault, ...] = ()
    is_waiting: bool = False
    """Whether it was changed, and is not kept yet."""

    @property
    def at_large(self) -> tuple[Fault, ...]:
        """What is wrong that stands at no field of the row."""
        return tuple(fault for fault in self.faults if fault.field not in ROW_FIELDS)


def percent_words(margin: Margin) -> str:
    """What is earned, in whole per cent of the price without VAT."""
    return f"{margin.percent:.0f} %".replace("-", "−")


def row_shown(work: Work, row: Listed, number: int, is_kept: bool) -> RowShown:
    """A part as it is in the list."""
    part, cells = row.part, typed_of(row.part)
    typed = {name: cells.get(name, "") for name in ROW_FIELDS}
    return RowShown(
        number=number,
        sku=part.sku,
        name=part.name,
        what=f"{SLOT_WORDS[part.slot]}, {part.maker}",
        on_hand=row.on_hand,
        held=row.held,
        price=row.price,
        cost=part.cost,
        earned=row.margin.amount,
        percent=percent_words(row.margin),
        flags=_wrong_words(row),
        called=called_words(row.verdict, *words_in(work)) if row.verdict is not None and part.on_sale else "",
        is_plain=row.verdict is not None and row.verdict.reduction is None,
        is_retired=part.retired,
        is_kept=is_kept,
        shown="|".join((digest_of(part), *typed.values())),
        typed=typed,
    )


def _wrong_words(row: Listed) -> tuple[str, ...]:
    """What is wrong with a part; one that is sold at a loss is not said to earn too little as well."""
    left_out = ("thin",) if "loss" in row.flags else ()
    return tuple(WRONG_WORDS[flag] for flag in row.flags if flag in WRONG_WORDS and flag not in left_out)


def rows_typed(form: FormData) -> tuple[RowTyped, ...]:
    """The rows of a form that were changed: those whose fields are not what they were shown with."""
    numbers = [name.removeprefix("sku-") for name in dict.fromkeys(form) if name.startswith("sku-")]
    rows = [(number, text_in(form, f"shown-{number}").split("|")) for number in numbers]
    typed = [(number, digest, was, _cells(form, number)) for number, (digest, *was) in rows]
    return tuple(
        RowTyped(text_in(form, f"sku-{number}"), cells, digest)
        for number, digest, was, cells in typed
        if [*cells.values()] != was
    )


def _cells(form: FormData, number: str) -> dict[str, str]:
    typed = {name: text_in(form, f"{name}-{number}") for name in ROW_FIELDS}
    return {**typed, "sold": "yes" if typed["sold"] else "no"}


def with_typed(row: RowShown, typed: Mapping[str, Mapping[str, str]], faults: Iterable[Fault]) -> RowShown:
    """A row with what was typed in it, and the faults that name its SKU; one that nothing was typed in as it is."""
    if row.sku not in typed:
        return row
    own = [(*fault.field.partition(":"), fault) for fault in faults]
    mine = tuple(replace(fault, field=name) for name, _, sku, fault in own if sku == row.sku)
    said = tuple(_said_now(row, fault) if fault.field == "sku" else fault for fault in mine)
    return replace(row, typed={**row.typed, **typed[row.sku]}, faults=said, is_waiting=True)


def _said_now(row: RowShown, fault: Fault) -> Fault:
    """That a part has changed meanwhile, with what it is now."""
    now = row.typed
    marked = f", marked down to {now['markdown_price']} from {now['markdown_from']}" if now["markdown_price"] else ""
    words = f" It is now at {now['price']}{marked}, {'sold' if now['sold'] == 'yes' else 'not sold'}."
    return replace(fault, message=fault.message.removeprefix(f"{row.sku}: ") + words, accepted="")
