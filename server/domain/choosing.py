"""The walk along the racks to one learner's frontier of kits.

Slots that have nothing to do with each other are walked and thinned apart, and joined: boards and masts by track; fuselages, front
foils and tails by mount; then both by the mast's mount; then hand wings. What a tail should be hangs on the front foil, and which
fuselages hold the two level hangs on both; so each front foil walks the tails from its own ideal on.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import chain, takewhile
from operator import itemgetter
from typing import NamedTuple

from server.domain.catalogue import Gear, Shelf
from server.domain.fit import SAME, TAIL_STEP, Fits, Fitting, is_less, squared_log
from server.domain.frontier import ALWAYS_FREE, Option, Stair, fitting_better, join, settle, thin
from server.domain.racks import Found, Hung, Joint, Rack, Racks, View, joint_of, racks_of

KEPT = {"": ALWAYS_FREE}
"""A piece that the learner keeps has no SKU, and is always there."""


def choosing(fitting: Fitting, shelf: Shelf, percent: int, today: date, cap: float) -> Choosing:
    """A learner before a shelf on a day, with the kit discount that their kit would have."""
    return Choosing(fitting, racks_of(shelf.catalogue, percent, today), shelf.free, cap)


@dataclass(frozen=True)
class Choosing:
    """What a learner's kit may be made of: kept gear, else parts on the racks, free today, not refused and not over the cap.

    With `cap` infinite, parts over the cap count too; refused ones never do.
    """

    fitting: Fitting
    racks: Racks
    free: Mapping[str, int]
    cap: float

    def frontier(self) -> list[Option]:
        """All kits of the frontier, cheapest first; SKUs in slot order, empty for a kept part."""
        joined: list[Option] = []
        for mount, boards_and_masts in self._boards_on_masts().items():
            joined += join(boards_and_masts, self._foils_of(mount))
        return settle(join(thin(joined), self._options("hand_wing").get((), [])))

    def _boards_on_masts(self) -> dict[str, list[Option]]:
        boards = self._options("board")
        pairs: dict[str, list[Option]] = {}
        for (mount, track), masts in self._options("mast").items():
            pairs.setdefault(mount, []).extend(join(boards.get((track,), []), masts))
        return {mount: thin(options) for mount, options in pairs.items()}

    def _options(self, slot: str) -> dict[Joint, list[Option]]:
        """What a slot may be filled with, by joint, thinned."""
        ideal, view = self.fitting.sizing.ideal(slot), self.view(slot)
        return {
            joint: thin(_option_of(found) for found in rack.around(ideal, view))
            for joint, rack in self.racks_in(slot).items()
        }

    def _foils_of(self, mount: str) -> list[Option]:
        racks = [self.racks_in(slot).get((mount,)) for slot in ("fuselage", "front_foil", "tail")]
        fuselages, foils, tails = racks
        if fuselages is None or foils is None or tails is None:
            return []
        return FoilsOfMount(self, fuselages, foils, tails).options()

    def racks_in(self, slot: str) -> Mapping[Joint, Rack]:
        """The racks of a slot; of a slot that is kept, one with that piece alone."""
        kept = self.fitting.kept.get(slot)
        return self.racks[slot] if kept is None else {joint_of(kept): Rack.of([Hung(0, "", kept)])}

    def view(self, slot: str) -> View:
        """A slot, other than the tail's, as this learner sees it. What is kept was judged before."""
        sizing, is_kept = self.fitting.sizing, slot in self.fitting.kept
        weight, by_size, judge_gear = sizing.terms.weights[slot], sizing.misfit_by_size(slot), sizing.judge_of(slot)
        cap = math.inf if is_kept else self.cap

        def judge(gear: Gear) -> float | None:
            verdict = judge_gear(gear)
            return weight * verdict.misfit if isinstance(verdict, Fits) and not is_less(cap, verdict.misfit) else None

        return View(
            free=KEPT if is_kept else self.free,
            at_least=lambda size: weight * by_size(size),
            judge=judge,
            most=weight * (cap + 2 * SAME),
        )


def _option_of(found: Found) -> Option:
    return Option(found.hung.cost, found.misfit, found.free, (found.hung.sku,))


class _Pair(NamedTuple):
    """A front foil with a tail: what both cost and miss, and the least fuselage length in cm that holds them level."""

    cost: int
    misfit: float
    least_cm: float
    foil: Found
    tail: Found

    @property
    def option(self) -> Option:
        """The pair as one choice."""
        foil, tail = self.foil, self.tail
        return Option(self.cost, self.misfit, min(foil.free, tail.free), (foil.hung.sku, tail.hung.sku))


class _Pairs(NamedTuple):
    """Those that a fuselage of some length holds level, thinned, and those that want a longer one."""

    held: list[Option]
    others: list[_Pair]


class FoilsOfMount:
    """The fuselages, front foils and tails of one mount before one learner."""

    def __init__(self, choosing: Choosing, fuselages: Rack, foils: Rack, tails: Rack) -> None:
        self._sizing, self._cap = choosing.fitting.sizing, choosing.cap
        self._fuselages, self._foils, self._tails = fuselages, foils, tails
        self._fuselage_view, self._foil_view = choosing.view("fuselage"), choosing.view("front_foil")
        self._tails_free = KEPT if "tail" in choosing.fitting.kept else choosing.free

    def options(self) -> list[Option]:
        """Fuselages, front foils and tails together, thinned.

        Pairs of foil and tail that all the usual fuselages hold level are joined with those at once. A pair that wants a longer
        one is looked at by itself, and only where nothing found so far beats it on the cheapest fuselage there is.
        """
        upright_cm = self._sizing.fuselage_of_ideal_tail_cm
        together: list[Option] = []
        usual = list(self._fuselages_from(upright_cm))
        if usual:
            lengths = thin(map(_option_of, usual))
            pairs = self._pairs(min(found.hung.gear.size for found in usual))
            together = join(lengths, pairs.held)
            together += self._on_longer(pairs.others, lengths[0].cost, Stair(option[:2] for option in together))
        for found in self._shorter_than(upright_cm):
            together += join([_option_of(found)], self._pairs(found.hung.gear.size, only_held=True).held)
        return thin(together)

    def _fuselages_from(self, least_cm: float) -> Iterator[Found]:
        """The fuselages of at least a length that are worth having."""
        ideal, up, down = self._sizing.ideal("fuselage"), self._fuselages.up, self._fuselages.down
        yield from up.worth_having(up.place_of(max(ideal, least_cm), and_itself=True), self._fuselage_view)
        shorter = down.worth_having(down.place_of(ideal, and_itself=False), self._fuselage_view)
        yield from takewhile(lambda found: found.hung.gear.size >= least_cm, shorter)

    def _shorter_than(self, length_cm: float) -> Iterator[Found]:
        """The fuselages worth having of those that do not hold even an ideal tail, the longest first."""
        down = self._fuselages.down
        return down.worth_having(down.place_of(length_cm, and_itself=False), self._fuselage_view)

    def _on_longer(self, pairs: Iterable[_Pair], cheapest: int, found: Stair) -> list[Option]:
        """Pairs that not every usual fuselage holds level, each with the fuselages that do, where that may come to anything."""
        ideal, at_least = self._sizing.ideal("fuselage"), self._fuselage_view.at_least
        on_longer: list[Option] = []
        for pair in pairs:
            least = pair.misfit + at_least(max(ideal, pair.least_cm))
            if pair.cost + cheapest < found.cost_of_better(least):
                on_longer += join([_option_of(one) for one in self._fuselages_from(pair.least_cm)], [pair.option])
        return on_longer

    # --- front foils with tails

    def _pairs(self, length_cm: float, *, only_held: bool = False) -> _Pairs:
        """Front foils with tails: those that a fuselage of a length holds level, and (unless told) those that want a longer one.

        First come the foils that are worth having by themselves. What they make with the tails is the measure of all others:
        whatever holds another pair holds these too.
        """
        ideal, view, least_tail = self._sizing.ideal("front_foil"), self._foil_view, self._tails.up.least_cost
        from_cm = length_cm if only_held else None
        first = list(self._foils.around(ideal, view))
        pairs = [pair for foil in first for pair in self._with_tails(foil, from_cm)]
        held = Stair(pair[:2] for pair in pairs if pair.least_cm <= length_cm)
        others = view.of_all_below(lambda misfit: held.cost_of_better(misfit) - least_tail)
        seen = {foil.hung.sku for foil in first}
        for foil in self._foils.around(ideal, others):
            if foil.hung.sku not in seen:
                pairs += self._with_tails(foil, from_cm, held)
        by_cost = sorted((pair for pair in pairs if pair.least_cm <= length_cm), key=itemgetter(0, 1))
        options = thin(pair.option for pair in fitting_better(by_cost))
        measure = Stair(option[:2] for option in options)
        longer = [
            pair for pair in pairs if pair.least_cm > length_cm and pair.cost < measure.cost_of_better(pair.misfit)
        ]
        return _Pairs(options, longer)

    def _with_tails(self, foil: Found, length_cm: float | None, held: Stair | None = None) -> Iterator[_Pair]:
        """A front foil with the tails worth having beside it: all, or those that a fuselage of a length holds level."""
        sizing, up, down = self._sizing, self._tails.up, self._tails.down
        foil_cm2 = foil.hung.gear.size
        ideal, guard = sizing.ideal_tail_cm2(foil_cm2), sizing.least_tail_times_fuselage(foil_cm2) - SAME
        view = self._tail_view(ideal, foil, held)
        first = ideal if length_cm is None else guard / length_cm
        larger = up.worth_having(up.place_of(first, and_itself=True), view)
        smaller = down.worth_having(down.place_of(ideal, and_itself=False), view) if length_cm is None else ()
        longest_cm = self._fuselages.up.sizes[-1]
        for tail in chain(larger, smaller):
            least_cm = guard / tail.hung.gear.size if length_cm is None else length_cm
            if least_cm > longest_cm:
                return
            yield _Pair(foil.hung.cost + tail.hung.cost, foil.misfit + tail.misfit, least_cm, foil, tail)

    def _tail_view(self, ideal_cm2: float, foil: Found, held: Stair | None) -> View:
        """The tails as a front foil sees them, beside what is held already."""
        weight, cap = self._sizing.terms.weights["tail"], self._cap

        def at_least(size: float) -> float:
            return weight * squared_log(size, ideal_cm2, TAIL_STEP)

        def judge(gear: Gear) -> float | None:
            misfit = squared_log(gear.size, ideal_cm2, TAIL_STEP)
            return None if is_less(cap, misfit) else weight * misfit

        def limit_at(misfit: float) -> float:
            return math.inf if held is None else held.cost_of_better(foil.misfit + misfit) - foil.hung.cost

        return View(self._tails_free, at_least, judge, weight * (cap + 2 * SAME), None if held is None else limit_at)
