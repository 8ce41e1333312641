"""The frontier by judging every part there is: slower and plainer than the walk along racks, which is held against it.

Every part of a slot is judged, and every front foil is put with every fuselage and every tail. It has no index, and thins by code of
its own.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import product

from server.domain.catalogue import Gear, Shelf
from server.domain.fit import SAME, Fits, Fitting, is_less
from server.domain.frontier import ALWAYS_FREE, Option, settle
from server.domain.kits import Fitter
from server.domain.pricing import tier_for
from server.domain.racks import HUNDREDTHS, exact_cost
from server.domain.slots import CORE_SLOTS


def frontier_by_judging_all(fitter: Fitter, cap: float | None = None) -> list[Option]:
    """The frontier of one learner on one shelf."""
    policy = fitter.shelf.catalogue.policy
    tier = tier_for(fitter.fitting.to_buy, policy)
    most = policy.fit.misfit_cap if cap is None else cap
    return choosing(fitter.fitting, fitter.shelf, tier.percent if tier else 0, fitter.today, most).frontier()


@dataclass(frozen=True, slots=True)
class Candidate:
    """A piece of gear that may take a slot: what a part on the shelf or a kept one comes to."""

    gear: Gear
    option: Option


def thin(options: Iterable[Option]) -> list[Option]:
    """Drop every option that can be part of no kit on the frontier, whatever it is joined with; cheapest first.

    An option goes when another is at most as dear and fits better; or is dearer by a whole cent and fits no better; or is
    as good in cost, fit, stock and SKU. What differs by less is kept, since rounding may still make the two equal.
    """
    kept: list[Option] = []
    best_misfit = best_a_cent_below = math.inf
    a_cent_below = 0
    for option in sorted(options, key=lambda o: (o.cost, o.misfit, -o.free, o.skus)):
        while a_cent_below < len(kept) and kept[a_cent_below].cost <= option.cost - HUNDREDTHS:
            best_a_cent_below = min(best_a_cent_below, kept[a_cent_below].misfit)
            a_cent_below += 1
        if best_misfit < option.misfit - 2 * SAME or best_a_cent_below <= option.misfit:
            continue
        if any(
            near.misfit <= option.misfit and near.free >= option.free and near.skus <= option.skus
            for near in kept[a_cent_below:]
        ):
            continue
        kept.append(option)
        best_misfit = min(best_misfit, option.misfit)
    return kept


def join(left: Sequence[Option], right: Sequence[Option]) -> list[Option]:
    """Every option of one side with every option of the other, thinned."""
    return thin(
        Option(a.cost + b.cost, a.misfit + b.misfit, min(a.free, b.free), a.skus + b.skus) for a in left for b in right
    )


@dataclass(frozen=True)
class Choosing:
    """The candidates of each slot for one learner, and the walk over them."""

    fitting: Fitting
    candidates: Mapping[str, Sequence[Candidate]]
    cap: float

    def frontier(self) -> list[Option]:
        """All kits of the frontier, cheapest first; SKUs in slot order, empty for a kept part."""
        upper, lower = self._boards_on_masts(), self._foils()
        joined: list[Option] = []
        for mount, boards_and_masts in upper.items():
            if mount in lower:
                joined += join(boards_and_masts, lower[mount])
        wings = thin(wing.option for wing in self.candidates["hand_wing"])
        return settle(join(thin(joined), wings))

    def _boards_on_masts(self) -> dict[str, list[Option]]:
        boards: dict[str, list[Option]] = {}
        for board in self.candidates["board"]:
            boards.setdefault(board.gear.text("track"), []).append(board.option)
        masts: dict[tuple[str, str], list[Option]] = {}
        for mast in self.candidates["mast"]:
            masts.setdefault((mast.gear.text("mount"), mast.gear.text("track")), []).append(mast.option)
        boards = {track: thin(options) for track, options in boards.items()}
        pairs: dict[str, list[Option]] = {}
        for (mount, track), options in masts.items():
            if track in boards:
                pairs.setdefault(mount, []).extend(join(boards[track], thin(options)))
        return {mount: thin(options) for mount, options in pairs.items()}

    def _foils(self) -> dict[str, list[Option]]:
        by_mount: dict[str, dict[str, list[Candidate]]] = {}
        for slot in ("fuselage", "front_foil", "tail"):
            for candidate in self.candidates[slot]:
                by_mount.setdefault(candidate.gear.text("mount"), {}).setdefault(slot, []).append(candidate)
        return {
            mount: self._foils_of(slots["fuselage"], slots["front_foil"], slots["tail"])
            for mount, slots in by_mount.items()
            if len(slots) == 3
        }

    def _foils_of(
        self, fuselages: Sequence[Candidate], foils: Sequence[Candidate], tails: Sequence[Candidate]
    ) -> list[Option]:
        sizing, weight = self.fitting.sizing, self.fitting.sizing.terms.weights["tail"]
        found: list[Option] = []
        for foil, tail in product(foils, tails):
            foil_cm2, tail_cm2 = foil.gear.size, tail.gear.size
            misfit = sizing.tail_misfit(tail_cm2, foil_cm2)
            if is_less(self.cap, misfit):
                continue
            least = sizing.least_tail_times_fuselage(foil_cm2)
            found += [
                _triple(fuselage.option, foil.option, tail.option, weight * misfit)
                for fuselage in fuselages
                if not is_less(tail_cm2 * fuselage.gear.size, least)
            ]
        return thin(found)


def _triple(fuselage: Option, foil: Option, tail: Option, tail_misfit: float) -> Option:
    return Option(
        fuselage.cost + foil.cost + tail.cost,
        fuselage.misfit + foil.misfit + tail_misfit,
        min(fuselage.free, foil.free, tail.free),
        fuselage.skus + foil.skus + tail.skus,
    )


def choosing(fitting: Fitting, shelf: Shelf, percent: int, today: date, cap: float) -> Choosing:
    """The candidates a learner's kit may be made of: kept gear, else parts free today that are not refused nor over the cap.

    With `cap` infinite, parts over the cap are candidates too; refused ones never are.
    """
    ties = shelf.catalogue.policy.markdown_wins_ties
    candidates: dict[str, list[Candidate]] = {}
    for slot in CORE_SLOTS:
        gear = fitting.kept.get(slot)
        if gear is not None:
            candidates[slot] = [_kept_candidate(fitting, gear)]
            continue
        weight = fitting.sizing.terms.weights[slot]
        rows = candidates[slot] = []
        for part in shelf.core[slot]:
            verdict = Fits(0.0) if slot == "tail" else fitting.sizing.judge(part.gear)
            if isinstance(verdict, Fits) and not is_less(cap, verdict.misfit):
                cost = exact_cost(part, percent, today, ties)
                free = shelf.free[part.sku]
                rows.append(Candidate(part.gear, Option(cost, weight * verdict.misfit, free, (part.sku,))))
    return Choosing(fitting, candidates, cap)


def _kept_candidate(fitting: Fitting, gear: Gear) -> Candidate:
    verdict = Fits(0.0) if gear.slot == "tail" else fitting.sizing.judge(gear)
    misfit = verdict.misfit if isinstance(verdict, Fits) else math.inf
    return Candidate(gear, Option(0, fitting.sizing.terms.weights[gear.slot] * misfit, ALWAYS_FREE, ("",)))
