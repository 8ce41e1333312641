"""Bringing in a part of a catalogue, such as a season's prices: what it would change, and then all of it or nothing, as one step."""

from __future__ import annotations

from dataclasses import dataclass, replace

from server.domain.catalogue import Part
from server.domain.catalogue_changes import PartsChanged, parts_changed
from server.domain.errors import Conflict, Fault, FileFault
from server.domain.reductions import Verdict, judge_markdown
from server.domain.stock import Movement
from server.outside.zip_files import zip_of
from server.persistence.catalogue import lock_catalogue, versions_at
from server.persistence.columns import FILES
from server.persistence.folder import STAYS, Folder, Rest, read_source
from server.persistence.policies import terms_in_force
from server.usecases.catalogue import (
    Changes,
    catalogue_files,
    catalogue_workbook,
    places_missed,
    preview,
    replace_catalogue,
)
from server.usecases.uploads import Upload
from server.usecases.work import Work

WORKBOOK = "catalogue.xlsx"
ARCHIVE = "catalogue.zip"
EXPORTS = (WORKBOOK, ARCHIVE, *FILES)
MOVED = (
    "The catalogue or the policy was changed meanwhile, so nothing was brought in. Below is what it would change now."
)
UNCHANGED = Changes((), (), (), (), (), 0)


@dataclass(frozen=True, slots=True)
class Choices:
    """What the owner decides of an upload: what becomes of parts that are not in it, and whether pieces on hand are booked."""

    rest: Rest = "stay"
    books_counts: bool = False


@dataclass(frozen=True, slots=True)
class Judged:
    """A markdown that was read, where it stands, and what the law lets it be."""

    file: str
    row: int
    part: Part
    verdict: Verdict


@dataclass(frozen=True)
class Plan:
    """What an upload would change as things stand, or why it cannot be brought in."""

    upload: Upload
    choices: Choices
    folder: Folder
    faults: tuple[FileFault, ...]
    warnings: tuple[FileFault, ...]
    left: tuple[str, ...]
    """Tables that are not in it and stay as they are."""
    parts: PartsChanged
    changes: Changes
    judged: tuple[Judged, ...]
    counts: tuple[Movement, ...]
    """What the column on_hand would book; booked only where that was chosen."""
    versions: tuple[int, int]
    """Of the catalogue and of the policy that it was held against."""

    @property
    def is_nothing(self) -> bool:
        """Whether bringing it in would change nothing."""
        return self.parts.is_nothing and not self.changes.others and not (self.counts and self.choices.books_counts)

    @property
    def about(self) -> str:
        """What it is, in a line for the record."""
        parts, booked = self.parts, len(self.counts) if self.choices.books_counts else 0
        numbers = {
            "new": len(parts.new),
            "changed": len(parts.changed),
            "back": len(parts.back),
            "retired": len(parts.retired),
            "other changes": len(self.changes.others),
            "counts booked": booked,
        }
        said = ", ".join(f"{number} {word}" for word, number in numbers.items() if number)
        return f"{', '.join(self.upload.names)[:200]}: {said or 'nothing'}"


def plan_import(work: Work, upload: Upload, choices: Choices) -> Plan:
    """Read an upload against what is in force; nothing is changed."""
    before = work.catalogue
    terms = terms_in_force(work.session, work.now)
    if not upload.has_tables:
        return _plan(work, upload, choices, Folder(terms=terms))
    folder = read_source(upload.source, before, terms, choices.rest)
    folder.faults += () if folder.faults else places_missed(work, folder)
    judged = () if folder.faults else judge_markdowns(work, folder)
    return _plan(work, upload, choices, folder, judged)


def _plan(work: Work, upload: Upload, choices: Choices, folder: Folder, judged: tuple[Judged, ...] = ()) -> Plan:
    faults = (*upload.faults, *folder.faults)
    changes = UNCHANGED if faults else preview(work, folder)
    return Plan(
        upload=upload,
        choices=choices,
        folder=folder,
        faults=faults,
        warnings=(*upload.remarks, *(one for one in folder.warnings if one.message != STAYS)),
        left=tuple(one.file for one in folder.warnings if one.message == STAYS),
        parts=PartsChanged() if faults else parts_changed(work.catalogue.parts, folder.parts.values()),
        changes=changes,
        judged=judged,
        counts=changes.counts,
        versions=versions_at(work.session, work.now),
    )


def judge_markdowns(work: Work, folder: Folder) -> tuple[Judged, ...]:
    """What the law lets the markdowns be that were read and are new: none begins earlier than what was charged allows, so that its
    day is put right in what was read."""
    before = work.catalogue
    judged = []
    for sku, (file, row) in folder.stands.items():
        part, was = folder.parts[sku], before.parts.get(sku)
        if was is not None and not was.retired and was.markdown == part.markdown:
            continue
        verdict = judge_markdown(was, part, before.history.get(sku, ()), work.today)
        if verdict is not None:
            folder.parts[sku] = replace(part, markdown=verdict.markdown)
            judged.append(Judged(file, row, folder.parts[sku], verdict))
    return tuple(judged)


def apply_import(work: Work, plan: Plan) -> int:
    """Bring in what a plan says, all of it as one step; the version that this makes.

    Raises `Conflict` where the catalogue or the policy moved since the plan was made, and `ValueError` over faults.
    """
    if plan.faults:
        raise ValueError("a plan with faults changes nothing")
    lock_catalogue(work.session)
    work.look_again()
    if versions_at(work.session, work.now) != plan.versions:
        raise Conflict([Fault("versions", MOVED)])
    replace_catalogue(work, plan.folder, "import", plan.about, books_counts=plan.choices.books_counts)
    return versions_at(work.session, work.now)[0]


def export(work: Work, name: str) -> bytes | None:
    """The catalogue in force under one of `EXPORTS`; None where it is none of them."""
    if name == WORKBOOK:
        return catalogue_workbook(work)
    files = catalogue_files(work)
    return zip_of(files) if name == ARCHIVE else files.get(name)
