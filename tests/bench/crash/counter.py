"""What else is done at the desk in a crash run: lesson fees paid and handed back, and sales over the counter."""

from __future__ import annotations

from collections.abc import Callable

from tests.bench.crash.desk import Desk, in_cents
from tests.bench.crash.journal import Form
from tests.bench.crash.worker import has_button

SOLD_AT_COUNTER = ("TUR-SSHIM", "TUR-SBOLTS", "PLV-SBOLTS")
FEE = "115.00"


class Floor(Desk):
    """The whole shop but for its owner: customers, the desk, the counter and the book of lesson fees."""

    def act(self) -> None:
        """Anything, at random."""
        acts: list[Callable[[], None]] = [*self.customers_acts(), *self.desks_acts()]
        self.draw.choice([*acts, self.sell, self.take_back, self.fee, self.hand_back])()

    def sell(self) -> None:
        """One or two pieces over the counter."""
        sku = self.draw.choice(SOLD_AT_COUNTER)
        page, pieces = self.open(f"/desk/counter?item={sku}"), self.draw.choice([1, 1, 2])
        if has_button(page, "Sell"):
            self.submit("sell", page, "Sell", sku, {"pieces": pieces}, pieces=str(pieces))

    def take_back(self) -> None:
        """Take the newest sale of one's own back."""
        if not self.journal.sold_at_counter:
            return
        number = self.journal.sold_at_counter.pop()
        self.post(Form("take_back", f"/desk/counter/{number}/take-back", b"", str(number), ""))

    def fee(self) -> None:
        """A lesson of today that was taken and paid."""
        page = self.open("/desk/deposits")
        form, _ = page.form("Record the fee")
        code = next(one.get("value", "") for one in form.iter("input") if one.get("name") == "new_code")
        typed = {"kind": "private", "state": "taken", "amount": FEE, "method": "cash"}
        about = {"amount": in_cents(FEE)}
        self.submit("fee", page, "Record the fee", code, about, **typed)

    def hand_back(self) -> None:
        """Hand a part of a fee back that no quote names."""
        open_fees = [one for one in self.journal.fees.values() if not one.is_named and len(one.entries) < 3]
        if not open_fees or self.draw.random() < 0.4:
            return
        fee = self.draw.choice(open_fees)
        page = self.open(f"/desk/deposits/{fee.code}")
        if not has_button(page, "Hand it back"):
            return
        why = f"Rained off {self.journal.next_name()}"
        about = {"amount": 20_00, "why": why}
        self.submit(
            "refund", page, "Hand it back", fee.code, about, refund="20.00", refund_method="cash", refund_why=why
        )
