"""Changing several parts in the rows of the catalogue's list, as one step or not at all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from server.domain.catalogue import Part
from server.domain.errors import Conflict, Fault, InvalidInput
from server.domain.part_words import rows_words
from server.usecases.catalogue_edits import read_change, words_in
from server.usecases.steps import change_parts
from server.usecases.work import Work


@dataclass(frozen=True, slots=True)
class RowTyped:
    """A part's cells as they were typed in its row, with the digest of the part that the row was shown with."""

    sku: str
    cells: Mapping[str, str]
    shown: str


def change_rows(work: Work, rows: Sequence[RowTyped]) -> int:
    """Change parts as their rows were typed, as one step; the version it makes, 0 where nothing becomes another.

    Each fault is named by its field and the SKU of its row, as in price:TUR-T190. Raises `NotFound`, `InvalidInput`, and `Conflict`
    where any of the parts has changed meanwhile.
    """
    changed, wrong, moved = _read_all(work, rows)
    if wrong:
        raise InvalidInput([*wrong, *moved])
    if moved:
        raise Conflict(moved)
    if not changed:
        return 0
    return change_parts(
        work,
        [after for _, after in changed],
        kind="edit" if len(changed) == 1 else "bulk",
        about=rows_words(changed, *words_in(work)),
        shown={before.sku: before for before, _ in changed},
    )


def _read_all(work: Work, rows: Iterable[RowTyped]) -> tuple[list[tuple[Part, Part]], list[Fault], list[Fault]]:
    """The parts that become others, each as it was and as it is to be; what cannot be read; what has changed meanwhile."""
    changed: list[tuple[Part, Part]] = []
    wrong: list[Fault] = []
    moved: list[Fault] = []
    for row in rows:
        try:
            before, after, _ = read_change(work, row.sku, row.cells, row.shown)
        except InvalidInput as error:
            wrong += _in_row(row.sku, error.faults)
        except Conflict as error:
            moved += _in_row(row.sku, error.faults)
        else:
            changed += [(before, after)] if after != before else []
    return changed, wrong, moved


def _in_row(sku: str, faults: Iterable[Fault]) -> list[Fault]:
    return [Fault(f"{fault.field}:{sku}", fault.message, fault.accepted) for fault in faults]
