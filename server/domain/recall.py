"""A maker calls parts back by their serial numbers: whether a number is in a range, however it was written down."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date

from server.domain.errors import Fault, InvalidInput
from server.domain.handover import LONGEST_SERIAL
from server.domain.stock import Contact

Runs = tuple[str | int, ...]
LONGEST_LIST, MOST_IN_LIST, LONGEST_MAKER = 20_000, 500, 80
SERIAL_ACCEPTED = "letters and digits as they stand on the part, such as DUN82-0099"
TOO_LONG = f"at most {LONGEST_SERIAL} characters, as a part is handed over with"


@dataclass(frozen=True, slots=True)
class SerialRange:
    """Serial numbers from one to another, both included: the runs of letters and numbers in them, alike but for one number."""

    low: Runs
    high: Runs
    low_plain: str
    high_plain: str

    def has(self, serial: str) -> bool:
        """Whether a serial number is in it.

        Runs are compared as words and numbers, so that DUN82-99 and dun82 0099 are the same. A number written without its hyphens is
        also found where it has as many signs as both ends: to ask one owner too many harms nobody.
        """
        runs, plain = runs_of(serial), plain_of(serial)
        if len(runs) == len(self.low) and all(
            _between(run, low, high) for run, low, high in zip(runs, self.low, self.high, strict=True)
        ):
            return True
        return len(plain) == len(self.low_plain) == len(self.high_plain) and self.low_plain <= plain <= self.high_plain


@dataclass(frozen=True, slots=True)
class Recall:
    """What is called back: parts of these SKUs or of this maker, with serial numbers in these ranges (none: all of them)."""

    maker: str = ""
    sku: str = ""
    ranges: tuple[SerialRange, ...] = ()

    def names(self, serial: str) -> bool:
        """Whether a part of this serial number is called back; where it is not known, nobody can say that it is not."""
        return not serial or not self.ranges or any(one.has(serial) for one in self.ranges)


@dataclass(frozen=True, slots=True)
class SoldPart:
    """One part that was sold: to whom, as what, under which serial number, and where it is now."""

    sale_id: int
    code: str
    contact: Contact
    label: str
    sku: str
    serial: str
    sent_on: date | None
    received_on: date | None
    gone: str


def runs_of(serial: str) -> Runs:
    """A serial number as runs of letters and whole numbers: DUN82-0099 is dun, 82, 99."""
    found = re.findall(r"[^\W\d_]+|[0-9]+", serial.casefold())
    return tuple(int(run) if run.isascii() and run.isdigit() else run for run in found)


def plain_of(serial: str) -> str:
    """A serial number's letters and digits alone."""
    return "".join(sign for sign in serial.casefold() if sign.isalnum())


def _between(run: str | int, low: str | int, high: str | int) -> bool:
    if isinstance(run, int) and isinstance(low, int) and isinstance(high, int):
        return low <= run <= high
    return run == low == high


def _range(low: str, high: str) -> SerialRange:
    return SerialRange(runs_of(low), runs_of(high), plain_of(low), plain_of(high))


def read_recall(maker: str, sku: str, first: str, last: str, listed: str) -> Recall:
    """A recall as it was typed; raises `InvalidInput` with every fault.

    A range needs both ends, or one of them for a single number; its ends are alike but for one number. A list holds one serial
    number a line, or several with commas between them.
    """
    faults: list[Fault] = []
    if not maker and not sku:
        faults.append(Fault("sku", "Whose part is it?", "a SKU, or the maker's name"))
    if len(maker) > LONGEST_MAKER or len(sku) > LONGEST_MAKER:
        faults.append(Fault("sku", "This is too long.", f"at most {LONGEST_MAKER} characters"))
    long = [name for name, text in (("first", first), ("last", last)) if len(text) > LONGEST_SERIAL]
    faults += [Fault(name, "This is too long for a serial number.", TOO_LONG) for name in long]
    ranges: list[SerialRange] = []
    if (first or last) and not long:
        one = _range(first or last, last or first)
        fault = _fault_of_range(first, last, one)
        faults += [fault] if fault else []
        ranges.append(one)
    names = [name.strip() for name in re.split(r"[,;\n]+", listed) if name.strip()]
    if len(listed) > LONGEST_LIST or len(names) > MOST_IN_LIST:
        faults.append(Fault("listed", "This list is too long.", f"at most {MOST_IN_LIST} serial numbers"))
        names = []
    if any(len(name) > LONGEST_SERIAL for name in names):
        faults.append(Fault("listed", "One of these is too long for a serial number.", TOO_LONG))
        names = []
    odd = [name for name in names if not any(isinstance(run, int) for run in runs_of(name))]
    if odd:
        faults.append(Fault("listed", f"There is no number in {odd[0][:40]}.", SERIAL_ACCEPTED))
    if faults:
        raise InvalidInput(faults)
    return Recall(maker, sku, (*ranges, *(_range(name, name) for name in names)))


def _fault_of_range(first: str, last: str, one: SerialRange) -> Fault | None:
    for name, text, runs in (("first", first, one.low), ("last", last, one.high)):
        if text and not any(isinstance(run, int) for run in runs):
            return Fault(name, "There is no number in it.", SERIAL_ACCEPTED)
    if [type(run) for run in one.low] != [type(run) for run in one.high]:
        return Fault("last", "The two ends are not written alike.", "the first and the last of one series")
    apart = [(low, high) for low, high in zip(one.low, one.high, strict=True) if low != high]
    if len(apart) > 1 or any(isinstance(low, str) for low, _ in apart):
        return Fault("last", "The two ends differ in more than one number.", "the first and the last of one series")
    if any(isinstance(low, int) and isinstance(high, int) and low > high for low, high in apart):
        return Fault("last", "The last is before the first.", "the higher number last")
    return None
