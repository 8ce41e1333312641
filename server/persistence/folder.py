"""Reading a catalogue folder: CSV files and policy.toml become domain values, and every fault is named by file, row and column.

It checks types, check digits, that SKUs and GTINs are used once, references, and ranges that catch slips of unit. Whether a part is
plausible or suits anyone is not asked here. The format is documented in `seed_catalogue/README.md`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from babel import Locale, UnknownLocaleError
from babel.numbers import get_currency_precision, is_currency

from server.domain.catalogue import Catalogue, Gear, LessonKind, MeasureValue, Part, PartSet, Spot, Zone
from server.domain.errors import Fault, FileFault, InvalidInput
from server.domain.policy import Policy, policy_from
from server.domain.prices import NOT_SOLD, Markdown, PricePoint, known_since, price_in_force
from server.domain.sets import identity_faults, parts_faults
from server.domain.slots import SLOT_WORDS, SPARE, measures_of
from server.persistence.columns import (
    FILES,
    HISTORY_COLUMNS,
    LESSON_COLUMNS,
    PART_FILES,
    POLICY,
    SET_COLUMNS,
    SETS,
    SPARES,
    SPOT_COLUMNS,
    ZONE_COLUMNS,
    Column,
    NumberedRow,
    file_of,
    part_columns,
    read_cells,
    set_from_row,
    spot_from,
    values_of,
)
from server.persistence.sources import Files, FolderFiles, Source, Unusable

MOST_FAULTS = 5000
"""So many faults are told; who has more begins with these."""
STAYS = "The file is not there: what is in force stays."
Rest = Literal["stay", "retire"]
"""What becomes of parts that are not in the file of their slot, where only a part of a catalogue is read."""


@dataclass
class Folder:
    """What a folder says: parts with the count of each, prices of the past, places, and the policy's terms."""

    parts: dict[str, Part] = field(default_factory=dict)
    on_hand: dict[str, int] = field(default_factory=dict)
    history: list[PricePoint] = field(default_factory=list)
    spots: list[Spot] = field(default_factory=list)
    lessons: list[LessonKind] = field(default_factory=list)
    zones: list[Zone] = field(default_factory=list)
    terms: Mapping[str, Any] | None = None
    policy: Policy = field(default_factory=Policy)
    stands: dict[str, tuple[str, int]] = field(default_factory=dict, compare=False)
    """Where each part was read: the file, and its row."""
    sets: dict[str, PartSet] = field(default_factory=dict)
    faults: list[FileFault] = field(default_factory=list)
    warnings: list[FileFault] = field(default_factory=list)


def read_table(source: Source, file: str, columns: tuple[Column, ...]) -> tuple[list[NumberedRow], list[FileFault]]:
    """The rows of one table that are right, each with its number in a spreadsheet, and the faults of the others."""
    reading = _Reading(source, Catalogue({}), None)
    return list(reading.rows(file, columns)), reading.found.faults


class _Reading:
    """One walk over a folder, gathering values and faults."""

    def __init__(
        self, source: Source, before: Catalogue, terms_before: Mapping[str, Any] | None, rest: Rest | None = None
    ) -> None:
        self.source = source
        self.before = before
        self.rest = rest
        self.header: frozenset[str] = frozenset()
        self.found = Folder(terms=terms_before, policy=before.policy)

    def fault(self, file: str, row: int | None, column: str, message: str, accepted: str = "") -> None:
        self.found.faults.append(FileFault(self.source.place(file), row, column, message, accepted))

    def warn(self, file: str, row: int | None, column: str, message: str) -> None:
        self.found.warnings.append(FileFault(self.source.place(file), row, column, message))

    def rows(self, file: str, columns: tuple[Column, ...], key: str = "") -> Iterator[tuple[int, dict[str, Any]]]:
        """The rows of a table that are right, each under the number it has in a spreadsheet, faults noted for the others.

        With a `key` every other column may be left out; the columns that are there are the `header` of this reading.
        """
        if not self.source.has(file):
            return
        header: list[str] | None = None
        try:
            has_comma = self.source.has_decimal_comma(file)
            for number, cells in self.source.rows(file):
                if header is None:
                    header = [cell.strip() for cell in cells]
                    if not self._is_right_header(file, header, columns, key):
                        return
                    self.header = frozenset(header)
                    columns = tuple(column for column in columns if not key or column.name in header)
                elif len(self.found.faults) >= MOST_FAULTS:
                    self.fault(file, number, "", f"There are more than {MOST_FAULTS} faults.", "these mended first")
                    return
                elif any(cell.strip() for cell in cells):
                    values = self._row(file, number, header, cells, columns, has_comma)
                    if values is not None:
                        yield number, values
        except Unusable as error:
            self.fault(file, error.row, "", error.message, error.accepted)
            return
        if not header:
            self.fault(file, None, "", "The file is empty.", "a header row: " + ",".join(c.name for c in columns))

    def _is_right_header(self, file: str, header: list[str], columns: tuple[Column, ...], key: str) -> bool:
        known = {column.name for column in columns}
        before = len(self.found.faults)
        for name in header:
            if name not in known:
                self.fault(
                    file, 1, name[:40], "There is no such column.", "one of: " + ", ".join(c.name for c in columns)
                )
            elif header.count(name) > 1:
                self.fault(file, 1, name, "The column stands there twice.", "each column once")
        for column in columns:
            is_needed = column.name == key if key else not column.may_be_blank
            if column.name not in header and is_needed:
                self.fault(file, 1, column.name, "The column is missing.", column.accepted)
        return len(self.found.faults) == before

    def _row(
        self,
        file: str,
        number: int,
        header: list[str],
        cells: Sequence[str],
        columns: tuple[Column, ...],
        has_comma: bool,
    ) -> dict[str, Any] | None:
        if len(cells) > len(header):
            self.fault(file, number, "", "The row has more cells than the header.", f"{len(header)} cells")
            return None
        given = dict(zip(header, cells, strict=False))
        values, faults = read_cells(columns, given, has_comma=has_comma, blank="The cell is blank.")
        for fault in faults:
            self.fault(file, number, fault.field, fault.message, fault.accepted)
        return None if faults else values

    # --- parts

    def read_parts(self) -> None:
        gtins: dict[str, str] = {}
        skus: dict[str, str] = {}
        for file in (*PART_FILES, SPARES):
            if not self.source.has(file):
                self._miss(file)
                continue
            for number, values in self.rows(file, part_columns(file), "" if self.rest is None else "sku"):
                for name, used in (("sku", skus), ("gtin", gtins)):
                    if values.get(name) in used:
                        self.fault(
                            file, number, name, f"{values[name]} is used already, in {used[values[name]]}.", "each once"
                        )
                    elif name in values:
                        used[values[name]] = f"{file}, row {number}"
                whole = self._filled(file, number, values)
                if whole is not None:
                    self.take_part(file, number, whole)
        if self.rest is not None:
            self._keep_the_rest()

    def _miss(self, file: str) -> None:
        """A file of parts that is not there."""
        if self.rest is not None:
            return
        if file == SPARES:
            self._keep_spares()
        else:
            self.fault(file, None, "", "The file is missing.", "a file with at least its header row")

    def _filled(self, file: str, number: int, values: dict[str, Any]) -> dict[str, Any] | None:
        """A row with what is in force in the columns that its file does not have; None where it is a fault.

        A markdown's day is only kept for the same markdown.
        """
        if self.rest is None:
            return values
        was = self.before.parts.get(values["sku"])
        if was is not None and file_of(was.slot) != file:
            message = f"{was.sku} is a {SLOT_WORDS[was.slot]} already."
            self.fault(file, number, "sku", message, f"the row in {file_of(was.slot)}, or a new SKU for another thing")
            return None
        absent = [column for column in part_columns(file) if column.name not in self.header]
        if was is None:
            lacking = [column.name for column in absent if not column.may_be_blank and column.name != "on_hand"]
            if not lacking:
                return values
            message = (
                f"{values['sku']} is not in the catalogue yet, and a new part needs more columns: {', '.join(lacking)}."
            )
            self.fault(file, number, "sku", message, "the SKU of a part in the catalogue, or these columns")
            return None
        kept = {name: value for name, value in values_of(was).items() if name not in self.header}
        if "markdown_price" in self.header and was.markdown and was.markdown.price != values.get("markdown_price"):
            kept.pop("markdown_from", None)
        return {**kept, **values}

    def _keep_the_rest(self) -> None:
        """What a part of a catalogue does not say stays: slots whose file is not there with a warning, and in a file that is there
        the parts that are not in it, unless those are to be retired."""
        left = set()
        for sku, part in self.before.parts.items():
            is_there = self.source.has(file_of(part.slot))
            if part.retired or sku in self.found.parts or (is_there and self.rest == "retire"):
                continue
            self.found.parts[sku] = part
            left |= set() if is_there else {file_of(part.slot)}
        for file in FILES:
            if file in left:
                self.warn(file, None, "", STAYS)
        self._check_kept_gtins()

    def _check_kept_gtins(self) -> None:
        """A GTIN that was read must not be that of a part that keeps its own."""
        read = {part.gtin: sku for sku, part in self.found.parts.items() if sku in self.found.stands}
        for sku, part in self.found.parts.items():
            other = read.get(part.gtin, sku)
            if other != sku:
                file, number = self.found.stands[other]
                self.fault(file, number, "gtin", f"{part.gtin} is the GTIN of {sku} already.", "each once")

    def _keep_spares(self) -> None:
        """Without their file, the spare parts that are in force stay."""
        spares = {sku: part for sku, part in self.before.parts.items() if part.slot == SPARE and not part.retired}
        if spares:
            self.warn(SPARES, None, "", STAYS)
        self.found.parts.update({sku: part for sku, part in spares.items() if sku not in self.found.parts})

    def take_part(self, file: str, number: int, values: dict[str, Any]) -> None:
        slot = SPARE if file == SPARES else PART_FILES[file] or values["slot"]
        markdown = None
        if "markdown_price" in values:
            if values["markdown_price"] >= values["price"]:
                kept = (
                    ""
                    if "markdown_price" in self.header
                    else f"The markdown in force, {values['markdown_price'] / 100:.2f}, "
                )
                words = f"{kept or 'It '}is not below the price."
                self.fault(file, number, "markdown_price", words, "money below the price")
            markdown = Markdown(values["markdown_price"], values.get("markdown_from"))
            if markdown.since is None:
                self.warn(
                    file, number, "markdown_from", "No day: the reduced price holds at once and is not called reduced."
                )
        elif "markdown_from" in values:
            self.fault(file, number, "markdown_from", "A day without a markdown_price.", "both or neither")
        if values.get("mass_from_kg", 0) > values.get("mass_to_kg", 1e9):
            self.fault(file, number, "mass_to_kg", "It is below mass_from_kg.", "a mass not below mass_from_kg")
        was = self.before.parts.get(values["sku"])
        if was is not None and was.slot != slot:
            self.fault(
                file, number, "sku", f"{was.sku} is a {SLOT_WORDS[was.slot]} already.", "a new SKU for another thing"
            )
        measures: dict[str, MeasureValue] = {
            measure.name: values[measure.name] for measure in measures_of(slot) if measure.name in values
        }
        part = Part(
            sku=values["sku"],
            name=values["name"],
            maker=values["maker"],
            gtin=values["gtin"],
            price=values["price"],
            cost=values["cost"],
            gear=Gear(slot, MappingProxyType(measures)),
            sold=values.get("sold", "yes") == "yes",
            markdown=markdown,
        )
        self.found.parts[part.sku] = part
        self.found.stands[part.sku] = (file, number)
        if "on_hand" in values:
            self.found.on_hand[part.sku] = values["on_hand"]

    # --- sets, after the parts that they name

    def read_sets(self) -> None:
        if not self._is_there(SETS):
            self._keep_sets()
            return
        known_faulty = bool(self.found.faults)
        past = {sku: replace(part, retired=True) for sku, part in self.before.parts.items()}
        parts = {**past, **self.found.parts}.values()
        kept = {sku: other for sku, other in self.before.sets.items() if self.rest == "stay" and not other.retired}
        for number, said in self.rows(SETS, SET_COLUMNS, "" if self.rest is None else "sku"):
            values = self._filled_set(number, said)
            if values is None:
                continue
            one = set_from_row(values)
            if one.sku in self.found.sets:
                self.fault(SETS, number, "sku", f"{one.sku} stands there already.", "each once")
            others = [other for other in {**kept, **self.found.sets}.values() if other.sku != one.sku]
            faults = identity_faults(one, parts, others)
            faults += [] if known_faulty else parts_faults(one.parts, self.found.parts)
            for fault in faults:
                self.fault(SETS, number, fault.field, fault.message, fault.accepted)
            self.found.sets[one.sku] = one
        self.found.sets = kept | self.found.sets

    def _filled_set(self, number: int, values: dict[str, Any]) -> dict[str, Any] | None:
        """As `_filled`, of a set."""
        absent = [column for column in SET_COLUMNS if column.name not in self.header]
        if self.rest is None or not absent:
            return values
        was = self.before.sets.get(values["sku"])
        if was is not None:
            facts = {"name": was.name, "maker": was.maker, "gtin": was.gtin, "price": was.price, "parts": was.parts}
            return {**facts, "sold": "yes" if was.sold else "no", **values}
        lacking = [column.name for column in absent if not column.may_be_blank]
        if not lacking:
            return values
        message = f"{values['sku']} is no set yet, and a new one needs more columns: {', '.join(lacking)}."
        self.fault(SETS, number, "sku", message, "the SKU of a set, or these columns")
        return None

    def _keep_sets(self) -> None:
        """Without their file, the sets that are in force stay; a part that is brought in must not bear the SKU or GTIN of one."""
        self.found.sets = {sku: one for sku, one in self.before.sets.items() if not one.retired}
        for one in self.found.sets.values():
            for fault in identity_faults(one, self.found.parts.values(), ()):
                self.fault(SETS, None, fault.field, f"The set {one.sku} stays, and {fault.message}", fault.accepted)
            gone = [sku for sku in one.parts if sku not in self.found.parts]
            if gone:
                self.warn(SETS, None, "parts", f"The set {one.sku} cannot be sold without {', '.join(gone)}.")

    # --- everything else; where a file is not there, what is in force stays

    def _is_there(self, file: str) -> bool:
        there = self.source.has(file)
        if not there:
            self.warn(file, None, "", STAYS)
        return there

    def read_history(self) -> None:
        if not self._is_there("price_history.csv"):
            return
        known_faulty = bool(self.found.faults)
        days: set[tuple[str, date]] = set()
        for number, values in self.rows("price_history.csv", HISTORY_COLUMNS):
            key = (values["sku"], values["from"])
            if key in days:
                self.fault("price_history.csv", number, "from", "This part has this day already.", "each day once")
            days.add(key)
            if values["sku"] in self.found.parts:
                price = NOT_SOLD if values.get("sold") == "no" else values["price"]
                point = PricePoint(values["sku"], values["from"], price)
                self._check_against_own_history(number, point)
                self.found.history.append(point)
            elif not known_faulty:
                self.warn(
                    "price_history.csv", number, "sku", f"No part has the SKU {values['sku']}: the row is passed over."
                )

    def _check_against_own_history(self, number: int, point: PricePoint) -> None:
        """What the shop itself has recorded is not written over: those prices decide what may be called reduced."""
        known = self.before.history.get(point.sku, ())
        first = known_since(known)
        if first is None or point.since < first or point in known:
            return
        was = price_in_force(known, point.since)
        if was is not None and was.price == point.price:
            return
        message = f"The shop's own history has {point.sku} for this day already, at another price."
        if self.rest is None:
            self.warn("price_history.csv", number, "price", message)
        else:
            self.fault("price_history.csv", number, "price", message, f"days before {first.isoformat()}")

    def read_spots(self) -> None:
        if not self._is_there("spots.csv"):
            self.found.spots = list(self.before.spots.values())
            return
        for number, values in self.rows("spots.csv", SPOT_COLUMNS):
            if any(spot.name == values["name"] for spot in self.found.spots):
                self.fault("spots.csv", number, "name", "The name stands there already.", "each name once")
            self.found.spots.append(spot_from(values))

    def read_lessons(self) -> None:
        if not self._is_there("lessons.csv"):
            self.found.lessons = list(self.before.lessons.values())
            return
        for number, values in self.rows("lessons.csv", LESSON_COLUMNS):
            if any(kind.kind == values["kind"] for kind in self.found.lessons):
                self.fault("lessons.csv", number, "kind", "The kind stands there already.", "each kind once")
            self.found.lessons.append(LessonKind(**values))

    def read_zones(self) -> None:
        if not self._is_there("delivery.csv"):
            self.found.zones = list(self.before.zones.values())
            return
        for number, values in self.rows("delivery.csv", ZONE_COLUMNS):
            if any(zone.zone == values["zone"] for zone in self.found.zones):
                self.fault("delivery.csv", number, "zone", "The zone stands there already.", "each zone once")
            self.found.zones.append(Zone(**values))

    def read_policy(self) -> None:
        if not self._is_there(POLICY):
            return
        try:
            text = self.source.text(POLICY)
        except Unusable as error:
            self.fault(POLICY, None, "", error.message, error.accepted)
            return
        try:
            self.found.terms = tomllib.loads(text, parse_float=Decimal)
            self.found.policy = policy_from(self.found.terms)
        except tomllib.TOMLDecodeError as error:
            self.fault(POLICY, None, "", f"This is not TOML: {error}.", "TOML 1.0")
        except InvalidInput as error:
            for fault in error.faults:
                self.fault(POLICY, None, fault.field, fault.message, fault.accepted)

    def check_references(self) -> None:
        """What the policy names must be listed; asked only where the files themselves were right."""
        if self.found.faults:
            return
        found = self.found
        kinds = {kind.kind: kind for kind in found.lessons}
        zones = {zone.zone: zone for zone in found.zones}
        for fault in policy_faults(found.policy, kinds, zones):
            self.fault(POLICY, None, fault.field, fault.message, fault.accepted)


def policy_faults(policy: Policy, lessons: Mapping[str, LessonKind], zones: Mapping[str, Zone]) -> list[Fault]:
    """What a policy names that is not listed, or not known to those who write amounts."""
    faults = [
        Fault(
            f"tiers[{place}].lessons",
            f"lessons.csv has no kind {tier.lessons.kind!r}.",
            "one of: " + ", ".join(sorted(lessons)),
        )
        for place, tier in enumerate(policy.tiers, start=1)
        if tier.lessons is not None and tier.lessons.kind not in lessons
    ]
    faults += _money_faults(policy)
    if policy.shop.home_zone not in zones:
        message = f"delivery.csv has no zone {policy.shop.home_zone!r}."
        faults.append(Fault("shop.home_zone", message, "one of: " + ", ".join(zones)))
    return faults


def _money_faults(policy: Policy) -> list[Fault]:
    """Amounts can be written: the locale and the currency are known (Unicode CLDR), in cents as all amounts here are."""
    faults = []
    try:
        Locale.parse(policy.shop.locale)
    except (ValueError, UnknownLocaleError):
        message = f"{policy.shop.locale!r} is not a locale that is known."
        faults.append(Fault("shop.locale", message, "a locale such as en_IE"))
    if not is_currency(policy.shop.currency) or get_currency_precision(policy.shop.currency) != 2:
        message = f"{policy.shop.currency!r} is not a currency of a hundred parts that is known."
        faults.append(Fault("shop.currency", message, "a code such as EUR (ISO 4217)"))
    return faults


def read_folder(path: Path, before: Catalogue, terms_before: Mapping[str, Any] | None) -> Folder:
    """Everything a folder says, with its faults and warnings; nothing is changed by reading.

    `before` and `terms_before` are what is in force: they stay where spots, lessons, delivery or policy are not in the folder.
    """
    if not path.is_dir():
        missing = FileFault(str(path), None, "", "There is no such folder.", "a folder of CSV files and policy.toml")
        return Folder(terms=terms_before, policy=before.policy, faults=[missing])
    return read_source(FolderFiles(path=path), before, terms_before)


def read_part(slot: str, cells: Mapping[str, str], before: Catalogue) -> tuple[Part | None, list[Fault]]:
    """A part from the cells of one row by the names of its file's columns, or the faults, each at its column.

    The same readers as a folder's, and, since the rest of the catalogue stays, no other part that is not retired may have its
    GTIN. `on_hand` may be left out.
    """
    file = file_of(slot)
    values, faults = read_cells(part_columns(file), {"on_hand": "0", "slot": slot, **cells})
    if faults:
        return None, faults
    reading = _Reading(Files({}), before, None)
    reading.take_part(file, 1, values)
    part = reading.found.parts[values["sku"]]
    faults = [Fault(fault.column, fault.message, fault.accepted) for fault in reading.found.faults]
    faults += _gtin_faults(part, before)
    return (None if faults else part), faults


def _gtin_faults(part: Part, before: Catalogue) -> list[Fault]:
    others = (other for other in before.parts.values() if other.sku != part.sku and not other.retired)
    words = f"{part.gtin} is used already, for "
    return [
        Fault("gtin", f"{words}{other.name} ({other.sku}).", "each GTIN once")
        for other in others
        if other.gtin == part.gtin
    ][:1]


def read_source(
    source: Source, before: Catalogue, terms_before: Mapping[str, Any] | None, rest: Rest | None = None
) -> Folder:
    """As `read_folder`, of tables wherever they come from.

    With `rest` it may be a part of a catalogue, such as a season's prices: a slot without its file stays as it is, so do columns that a
    file does not have, and `rest` says what becomes of parts that are not in the file of their slot.
    """
    reading = _Reading(source, before, terms_before, rest)
    reading.read_parts()
    reading.read_sets()
    reading.read_history()
    reading.read_spots()
    reading.read_lessons()
    reading.read_zones()
    reading.read_policy()
    reading.check_references()
    for file, words in source.remarks():
        reading.warn(file, None, "", words)
    return reading.found
