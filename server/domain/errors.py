"""What can go wrong, as one tree; each error carries its data and says what to do next.

SlackwaterError
├── InvalidInput        answers, files or bodies that cannot be read: carries every fault at once
├── NotFound            an address, code or SKU that names nothing (any more)
├── Conflict            a right request that the state of the shop does not allow
│   ├── NotFree         a part that is gone: carries the SKUs
│   ├── NoSoundKit      nothing on the shelf suits: talk to the shop
│   ├── NeedsTheShop    a quote that cannot be agreed to without the shop
│   └── Outdated        a quote that has a newer revision
├── Lapsed              a quote whose price is good no more
├── NotSignedIn         a session that is unknown, has ended, or awaits its second factor
├── NotAllowed          what the account's role does not allow
├── NeedsFactor         an account that has to set a second factor first
├── TooMany             more at once than anybody may have
├── Unreadable          a stored record that this version cannot read
└── OutOfReach          a database that cannot be opened or does not answer, with the reason
    ├── NoRoom          nothing can be written, since the disk is full
    ├── OnlyToRead      nothing can be written, since file, folder or server only lets itself be read
    ├── Damaged         what the database holds cannot be read any more
    └── ClockIsWrong    the machine's clock contradicts what was written before
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that is wrong: where it stands, what is wrong, and what would be accepted."""

    field: str
    message: str
    accepted: str = ""


@dataclass(frozen=True, slots=True)
class FileFault:
    """A fault, or a warning, in a file: where it stands, what is wrong and what is accepted."""

    file: str
    row: int | None
    column: str
    message: str
    accepted: str = ""
    about: str = field(default="", compare=False)
    """The thing that the row says something of, by its SKU and name, where it has them."""

    def __str__(self) -> str:
        place = f"row {self.row}" if self.row else "file"
        where = f"{self.file}, {place}" + (f", column {self.column}" if self.column else "")
        said = f"{self.about}: {self.message}" if self.about else self.message
        return f"{where}: {said}" + (f" Accepted: {self.accepted}." if self.accepted else "")


class SlackwaterError(Exception):
    """The root of all errors of this project."""


class InvalidInput(SlackwaterError):
    """Input that cannot be read; `faults` holds all of them, in the order of the input."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(f"{fault.field}: {fault.message}" for fault in self.faults))


class NotFound(SlackwaterError):
    """Nothing stands at this address or under this code."""

    def __init__(self, field: str, message: str) -> None:
        self.field = field
        super().__init__(message)


class Conflict(SlackwaterError):
    """The request is right in itself, but the shop cannot do it as things stand."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(fault.message for fault in self.faults))


class NotFree(Conflict):
    """Parts that are not sold or not free any more; a fault for each."""


class NoSoundKit(Conflict):
    """No kit on the shelf suits this learner well enough to be kept without the shop."""


class NeedsTheShop(Conflict):
    """A quote that this customer cannot agree to alone: talk to the shop."""


class Outdated(Conflict):
    """A revision of a quote that a newer one has replaced."""


class Lapsed(SlackwaterError):
    """A quote whose price was good until a day that has passed."""


class TooMany(SlackwaterError):
    """More at once than one person may have; wait, or talk to the shop. `accepted` says what would be, where there is more to say."""

    def __init__(self, field: str, message: str, accepted: str = "") -> None:
        self.field = field
        self.accepted = accepted
        super().__init__(message)


class NotSignedIn(SlackwaterError):
    """The session is unknown, has ended, or has not passed its second factor."""


class NotAllowed(SlackwaterError):
    """The account's role does not allow this; it is the owner's."""


class NeedsFactor(SlackwaterError):
    """The account has no second factor, and whoever runs the server asks for one."""


class OutOfReach(SlackwaterError):
    """The database cannot be opened or does not answer: no file of ours, no rights, no server at its address."""


class NoRoom(OutOfReach):
    """The disk is full: what is there can be read, and nothing more can be kept."""


class OnlyToRead(OutOfReach):
    """The database lets itself be read and not be written."""


class Damaged(OutOfReach):
    """The database is there, and is no whole database any more."""


class ClockIsWrong(OutOfReach):
    """The machine's clock contradicts what was written before; nothing is dated by it."""


class Unreadable(SlackwaterError):
    """A stored record of a kind that this version of the program does not know."""
