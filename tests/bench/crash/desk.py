"""What the desk does in a crash run: holds confirmed, contracts made, and everything that becomes of a sale afterwards."""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

from tests.bench.crash.customers import Customer
from tests.bench.crash.journal import Kept, Sold
from tests.bench.crash.worker import SEE_OTHER, field_of, has_button
from tests.builders_handover import DRAWN
from tests.pages.reader import Reader

ADDRESS = "3 Harbour Row\nTullaveen\nIreland"
OPEN_SALES = 3
"""How many of its sales a worker is at; it goes on with one of the oldest that are not through."""
PLANS = (
    ("pay", "leave", "swap", "give_back_some", "pay", "give_back", "pay"),
    ("pay", "pay", "leave", "give_back_some", "pay", "swap"),
    ("pay", "leave", "swap", "pay", "give_back", "pay"),
    ("pay", "give_back_some", "pay", "leave", "swap", "give_back"),
    ("pay", "leave", "give_back", "pay"),
)
"""What is tried with a sale one after the other; paying pays out where the shop owes."""
MEANS = ("cash", "terminal", "transfer")


class Desk(Customer):
    """Staff who serve the customers of the same worker."""

    def desks_acts(self) -> list[Callable[[], None]]:
        """What the desk does, as often as it does it."""
        return [self.confirm, self.contract, self.contract, *[self.go_on] * 8]

    def confirm(self) -> None:
        """Confirm a hold that was asked for, by the button on its page."""
        asked = [kept for kept in self.journal.quotes.values() if kept.held and not kept.confirmed and kept.code]
        if not asked:
            return
        kept = self.draw.choice(asked[-5:])
        self.journal.touched_quotes.add(kept.token)
        page = self.open(f"/desk/quotes/{kept.code}")
        if not has_button(page, "Confirm the hold"):
            return
        path, body = page.sending("Confirm the hold")
        before, kept.confirmed = kept.confirmed, None
        expires, kept.expires_at = kept.expires_at, ""
        if self.desk.post(path, content=body).status_code == SEE_OTHER:
            kept.confirmed = True
            self.journal.done["confirmed"] += 1
        else:
            kept.confirmed, kept.expires_at = before, expires

    def contract(self) -> None:
        """Make the contract of a quote that was agreed to, or now and then of one that nobody has agreed to yet."""
        is_sudden = self.draw.random() < 0.2
        ready = [kept for kept in self.journal.quotes.values() if kept.code and (is_sudden or kept.held)]
        if not ready:
            return
        kept = self.draw.choice(ready[-5:])
        page = self.open(f"/desk/quotes/{kept.code}/contract")
        button = next((one for one in CONTRACT_BUTTONS if has_button(page, one)), None)
        if button is None:
            return
        self._make(page, button, kept)

    def _make(self, page: Reader, button: str, kept: Kept) -> None:
        form, _ = page.form(button)
        asked = {control.get("name") for control in form.iter()}
        filled: dict[str, str | list[str]] = {"concluded": self.draw.choice(["counter", "distance", "beach"])}
        if "name" in asked:
            filled |= self.somebody()
        if "address" in asked:
            filled["address"] = ADDRESS
        amount = ""
        if "amount" in asked:
            amount = self._amount(field_of(page, button, "amount"))
            filled |= {"amount": amount, "means": "terminal"}
        if self.draw.random() < 0.5:
            filled["may_write"] = "yes"
        about = {"plan": self.draw.choice(PLANS), "paid": in_cents(amount) if amount else 0}
        # Until it is answered nobody else of this worker touches the quote: whoever bought it cannot take it back.
        self.journal.touched_quotes.add(kept.token)
        self.journal.bought[kept.token] = self.journal.quotes.pop(kept.token)
        self.submit("contract", page, button, kept.token, about, **filled)

    def _amount(self, offered: str) -> str:
        """All that is offered, or half of it."""
        left = in_cents(offered)
        return said(left if left < 2 or self.draw.random() < 0.5 else left // 2)

    def go_on(self) -> None:
        """The next thing with one of the sales that are not through."""
        at_work = [sold for sold in self.journal.sales if sold.plan][:OPEN_SALES]
        if not at_work:
            return
        sold = self.draw.choice(at_work)
        step = sold.plan.pop(0)
        acts: dict[str, Callable[[Sold], None]] = {
            "pay": self.pay,
            "leave": self.leave,
            "arrive": self.arrive,
            "swap": self.swap,
            "give_back": self.give_back,
            "give_back_some": self.give_back_some,
        }
        acts[step](sold)

    def pay(self, sold: Sold) -> None:
        """Pay what is left, in half the cases only a half of it and the rest later; or pay out what the shop owes."""
        page = self.open(f"/desk/sales/{sold.number}/pay")
        for button in ("Record the payment", "Record that it was paid out"):
            if not has_button(page, button):
                continue
            is_out = field_of(page, button, "way") == "out"
            offered = field_of(page, button, "amount")
            if not offered:
                return
            amount = self._amount(offered)
            if amount != offered:
                sold.plan.insert(0, "pay")
            means = "terminal" if is_out else self.draw.choice(MEANS)
            filled: dict[str, str | list[str]] = {"amount": amount, "means": means}
            if is_out and "other_way" in {one.get("name") for one in page.form(button)[0].iter()}:
                filled["other_way"] = "yes"
            cents = in_cents(amount) * (-1 if is_out else 1)
            self.submit("pay_out" if is_out else "pay", page, button, str(sold.number), {"amount": cents}, **filled)
            return

    def leave(self, sold: Sold) -> None:
        """Hand over what is here, signed for; or send it where it is to be delivered."""
        page = self.open(f"/desk/sales/{sold.number}/delivery")
        if has_button(page, "Sent off") and self.draw.random() < 0.7 and "collected at the shop" not in page.text:
            self._send(page, sold)
            return
        page = self.open(f"/desk/sales/{sold.number}/hand-over")
        if not has_button(page, "Hand over"):
            return
        form, _ = page.form("Hand over")
        names = {control.get("name") or "" for control in form.iter()}
        filled: dict[str, str | list[str]] = {name: "done" for name in names if name.startswith("check-")}
        filled |= self._serials(names)
        filled |= {"is_set_up": "yes", "drawn": DRAWN}
        self._submit_named("hand_over", page, "Hand over", sold, filled)

    def _serials(self, names: set[str]) -> dict[str, str | list[str]]:
        return {name: f"SN-{self.journal.next_name()}" for name in names if name.startswith("serial-")}

    def _send(self, page: Reader, sold: Sold) -> None:
        form, _ = page.form("Sent off")
        names = {control.get("name") or "" for control in form.iter()}
        filled = {**self._serials(names), "carrier": "Strand Parcels", "tracking": "SP 1234", "parcels": "2"}
        sold.plan.insert(0, "arrive")
        self._submit_named("send", page, "Sent off", sold, filled)

    def _submit_named(
        self, act: str, page: Reader, button: str, sold: Sold, filled: dict[str, str | list[str]]
    ) -> None:
        self.submit(act, page, button, str(sold.number), {}, **filled)  # type: ignore[arg-type]  # An act of a sale.

    def arrive(self, sold: Sold) -> None:
        """What was sent came today."""
        page = self.open(f"/desk/sales/{sold.number}/delivery")
        if has_button(page, "It arrived"):
            self._submit_named("arrive", page, "It arrived", sold, {})

    def swap(self, sold: Sold) -> None:
        """One part that they have, for a size that the page offers."""
        page = self.open(f"/desk/sales/{sold.number}/swap")
        offers = [one.get("href", "") for one in page.page.iter("a") if "sku=" in one.get("href", "")]
        if not offers:
            return
        page = self.open(self.draw.choice(offers).split("#")[0])
        if not has_button(page, "Swap it now"):
            return
        filled: dict[str, str | list[str]] = {"serial": f"SW-{self.journal.next_name()}"}
        if "means" in {one.get("name") for one in page.form("Swap it now")[0].iter()}:
            filled["means"] = self.draw.choice(MEANS)
        self._submit_named("swap", page, "Swap it now", sold, filled)

    def give_back_some(self, sold: Sold) -> None:
        """One or two of the things come back."""
        self.give_back(sold, most=2)

    def give_back(self, sold: Sold, most: int | None = None) -> None:
        """What may come back does, worked out first and then taken back as it was shown; half of it as new."""
        page = self.open(f"/desk/sales/{sold.number}/return")
        if not has_button(page, "Work it out"):
            return
        form, _ = page.form("Work it out")
        things = [one.get("value", "") for one in form.iter("input") if one.get("name") == "take"]
        if not things:
            return
        taken = things if most is None else self.draw.sample(things, min(len(things), most))
        names = {one.get("name") for one in form.iter("input")}
        filled: dict[str, str | list[str]] = {"take": taken, "why": "It is too small."}
        filled |= {f"new-{one}": "yes" for one in taken if f"new-{one}" in names and self.draw.random() < 0.5}
        path, query = page.sending("Work it out", **filled)
        page = self.open(f"{path}?{query.decode()}")
        if has_button(page, "Take it back"):
            self._submit_named("return", page, "Take it back", sold, {})


CONTRACT_BUTTONS = ("Make the contract and record the payment", "Make the contract")


def in_cents(text: str) -> int:
    """An amount as it stands in a field, in cents."""
    return int(Decimal(re.sub(r"[^0-9.]", "", text) or "0") * 100)


def said(cents: int) -> str:
    """Cents as they are typed."""
    return f"{cents // 100}.{cents % 100:02d}"
