"""What customers do in a crash run: quotes kept over the interface and through drafts, agreed to, revised and released."""

from __future__ import annotations

from collections.abc import Callable

import httpx

from tests.bench.crash.journal import Kept, Once
from tests.bench.crash.worker import CREATED, OK, SEE_OTHER, Worker
from tests.bench.harness import LEARNER

MASSES_KG = (60, 72, 80, 95)
DELIVERIES = ("collect", "deliver")


def made_by(answer: httpx.Response) -> tuple[str, int]:
    """The token and the revision of a quote answered by the interface."""
    told = answer.json()
    return told["url"].rsplit("/", 1)[1], told["revision"]


class Customer(Worker):
    """Customers one after another, each with quotes of their own."""

    def customers_acts(self) -> list[Callable[[], None]]:
        """What customers do, as often as they do it."""
        acts = [self.keep, self.keep, self.agree, self.agree, self.agree_on_the_page, self.release]
        return [*acts, self.walk_through, self.revise, self.look]

    def somewhere(self) -> Kept | None:
        """One of the worker's quotes that nobody has bought; from now on looked at after the next kill."""
        if not self.journal.quotes:
            return None
        kept = self.draw.choice(list(self.journal.quotes.values()))
        self.journal.touched_quotes.add(kept.token)
        return kept

    def keep(self) -> None:
        """Keep a quote under a new key; every third names a lesson that was paid, whose fee then comes back with the kit."""
        answers = {**LEARNER, "mass_kg": self.draw.choice(MASSES_KG), "delivery": self.draw.choice(DELIVERIES)}
        fee = next((one for one in self.journal.fees.values() if not one.is_named), None)
        if fee is not None and self.draw.random() < 0.3:
            fee.is_named = True
            answers["deposit_codes"] = [fee.code]
        once = Once(self.journal.next_name(), {"answers": answers})
        self.journal.onces.append(once)
        answer = self.client.post("/api/quotes", json=once.body, headers={"Idempotency-Key": once.key})
        if answer.status_code == CREATED:
            once.answered = made_by(answer)
            token, revision = once.answered
            self.journal.quotes[token] = Kept(token, revision, answer.json()["code"])
            self.journal.touched_quotes.add(token)
            self.journal.done["quotes kept"] += 1

    def agree(self) -> None:
        """Ask to hold, over the interface."""
        kept = self.somewhere()
        if kept is None:
            return
        before, kept.held = kept.held, None
        confirmed, kept.confirmed = kept.confirmed, None
        body = {**self.somebody(), "revision": kept.revision}
        answer = self.client.post(f"/api/quotes/{kept.token}/agree", json=body)
        if answer.status_code == OK:
            hold = answer.json()["hold"]
            kept.held, kept.expires_at, kept.skus = True, hold["expires_at"], tuple(hold["skus"])
            self.journal.done["agreed"] += 1
        else:
            kept.held, kept.confirmed = before, confirmed

    def agree_on_the_page(self) -> None:
        """Ask to hold, by the form."""
        kept = self.somewhere()
        if kept is None:
            return
        before, kept.held = kept.held, None
        confirmed, kept.confirmed = kept.confirmed, None
        form = {**self.somebody(), "revision": str(kept.revision)}
        answer = self.client.post(f"/quotes/{kept.token}/agree", data=form)
        if answer.status_code == SEE_OTHER:
            kept.held, kept.expires_at, kept.skus = True, "", ()  # The page does not say them.
            self.journal.done["agreed on the page"] += 1
        else:
            kept.held, kept.confirmed = before, confirmed

    def somebody(self) -> dict[str, str]:
        """A person who was not here before."""
        name = self.journal.next_name()
        return {"name": f"Someone {name}", "email": f"someone{name}@example.org"}

    def release(self) -> None:
        """Take a request back."""
        kept = self.somewhere()
        if kept is None:
            return
        before, kept.held = kept.held, None
        confirmed, kept.confirmed = kept.confirmed, None
        answer = self.client.post(f"/quotes/{kept.token}/release")
        if answer.status_code == SEE_OTHER:
            kept.held = kept.confirmed = False
            self.journal.done["released"] += 1
        else:
            kept.held, kept.confirmed = before, confirmed

    def walk_through(self) -> None:
        """A draft through two steps to a quote."""
        token = self._begun("/drafts")
        mass_kg = self.draw.choice(MASSES_KG)
        self.step(token, "you", mass_kg=str(mass_kg), to_feet="quick", fitness="fair", go="next")
        self.step(token, "flying", board_background="some", foil_stage="towed", go="next")
        self.keep_draft(token)

    def _begun(self, path: str) -> str:
        answer = self.client.post(path)
        token = answer.headers["location"].split("/")[2]
        self.journal.drafts[token] = {}
        self.journal.touched_drafts.add(token)
        return token

    def step(self, token: str, step: str, **typed: str) -> None:
        """Answer a step; the journal has what is answered for sure."""
        if self.client.post(f"/drafts/{token}/{step}", data=typed).status_code == SEE_OTHER:
            self.journal.drafts[token] |= {name: value for name, value in typed.items() if name != "go"}

    def keep_draft(self, token: str) -> None:
        """Keep a draft's kit; a quote's next revision where it revises one."""
        answer = self.client.post(f"/drafts/{token}/keep", data={"key": self.journal.next_name()})
        if answer.status_code == SEE_OTHER:
            quote = answer.headers["location"].rsplit("/", 1)[1]
            self.journal.touched_quotes.add(quote)
            before = self.journal.quotes.get(quote)
            if before is None:
                self.journal.quotes[quote] = Kept(quote, 1)
                self.journal.done["quotes kept"] += 1
            else:
                before.revision += 1
                self.journal.done["revised"] += 1

    def revise(self) -> None:
        """Change the answers of a quote and keep it again."""
        kept = self.somewhere()
        if kept is None:
            return
        token = self._begun(f"/quotes/{kept.token}/answers")
        self.step(token, "you", mass_kg=str(self.draw.choice(MASSES_KG)), to_feet="slow", fitness="high", go="next")
        self.keep_draft(token)

    def look(self) -> None:
        """Read a page and what the interface says."""
        kept = self.somewhere()
        self.client.get("/" if kept is None else f"/quotes/{kept.token}")
        answer = self.client.get("/api/parts" if kept is None else f"/api/quotes/{kept.token}")
        if kept is not None and answer.status_code == OK:
            kept.code = answer.json()["code"]
