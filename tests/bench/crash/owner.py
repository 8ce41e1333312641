"""What the owner does in a crash run: price lists brought in from files, looked at first, and the newest step undone."""

from __future__ import annotations

import time

from server.domain.csv_text import csv_of
from server.outside.workbook import workbook_of
from tests.bench.crash.journal import Form
from tests.bench.crash.worker import OK, Worker, has_button
from tests.builders_imports import send_files

PRICED = ("GSK-SBOLTS", "WRK-SLINE", "WRK-SVENT")
"""Parts that stand in no quote and are not sold in the run: of such a part a step that is undone leaves no trace."""
MOST_STANDING = 3
REST_SECONDS = 0.4


class Owner(Worker):
    """The owner at the console; nobody else changes the catalogue."""

    def act(self) -> None:
        """Bring a list in, or undo the newest; then rest a little, since every step makes all servers read the catalogue anew."""
        standing = self.journal.standing
        if standing and (len(standing) >= MOST_STANDING or self.draw.random() < 0.4):
            self.undo()
        else:
            self.bring_in()
        time.sleep(REST_SECONDS)

    def bring_in(self) -> None:
        """A list of prices as a file of its own or in a workbook, as it was shown."""
        prices = {sku: self.draw.randrange(10_00, 60_00) for sku in PRICED}
        rows = [["sku", "price"], *([sku, f"{cents / 100:.2f}"] for sku, cents in prices.items())]
        if self.draw.random() < 0.5:
            files = {"spares.csv": csv_of(rows)}
        else:
            files = {"list.xlsx": workbook_of({"spares": [[*row] for row in rows]})}
        page = send_files(self.desk, files)
        if page.status != OK or not has_button(page, "Bring it in"):
            return
        about = {"prices": prices, "newest": self._newest()}
        self.submit("import", page, "Bring it in", "", about)

    def _newest(self) -> int:
        """The number of the newest step that the owner was told of."""
        return max((form.result for form in self.journal.forms if form.result is not None), default=0)

    def undo(self) -> None:
        """The newest step that stands, after looking at what that brings back."""
        step = self.journal.standing[-1].step
        page = self.open(f"/console/steps/{step}/undo")
        if has_button(page, "Undo this step"):
            path, body = page.sending("Undo this step")
            self.post(Form("undo", path, body, str(step), ""))
