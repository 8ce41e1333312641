"""Every item of the seed catalogue passes the domain: it is read, judged for every kind of learner, priced and fitted."""

from __future__ import annotations

from datetime import date

import pytest

from server.domain.catalogue import Catalogue, Part, Shelf
from server.domain.fit import DoesNotFit, Fits, Sizing
from server.domain.kits import Fitter
from server.domain.learner import read_answers
from server.domain.slots import CORE_SLOTS, EXTRA_SLOTS, SIZES, SPARE
from server.persistence.folder import Folder, read_folder
from server.usecases.opening import SEED
from tests.builders_shop import learner

TODAY = date(2026, 11, 25)
STAGES = ("none", "towed", "short_flights", "long_flights", "turning")


@pytest.fixture(scope="module")
def found() -> Folder:
    """The seed as it is read."""
    return read_folder(SEED, Catalogue({}), None)


def shelf_of(found: Folder) -> Shelf:
    """The seed's shelf with everything in stock."""
    catalogue = Catalogue(
        parts=found.parts,
        spots={spot.name: spot for spot in found.spots},
        lessons={kind.kind: kind for kind in found.lessons},
        zones={zone.zone: zone for zone in found.zones},
        policy=found.policy,
    )
    return Shelf(catalogue, dict.fromkeys(found.parts, 1))


def test_the_seed_has_neither_fault_nor_warning(found: Folder) -> None:
    assert (found.faults, found.warnings) == ([], [])
    assert {part.slot for part in found.parts.values()} == {*CORE_SLOTS, *EXTRA_SLOTS, SPARE}


def test_every_part_is_judged_for_every_learner(found: Folder) -> None:
    shelf = shelf_of(found)
    core = [part for part in found.parts.values() if part.slot in SIZES]
    for stage in STAGES:
        for mass in (35, 80, 160):
            sizing = Sizing(read_answers(learner(mass_kg=mass, foil_stage=stage), shelf.catalogue), found.policy.fit)
            for part in core:
                assert part.gear.size > 0
                verdict = sizing.judge(part.gear)
                assert isinstance(verdict, (Fits, DoesNotFit))
                assert verdict.misfit >= 0 if isinstance(verdict, Fits) else verdict.reason.endswith(".")


def test_the_whole_shelf_serves_learners_of_every_ordinary_mass(found: Folder) -> None:
    shelf = shelf_of(found)
    for stage in STAGES:
        for mass in range(40, 131, 10):
            answers = read_answers(learner(mass_kg=mass, foil_stage=stage), shelf.catalogue)
            kit = Fitter.of(answers, shelf, TODAY).recommended()
            assert kit is not None, (stage, mass)
            assert kit.price.balance > 0


def is_reduced(part: Part) -> bool:
    return part.markdown_on(TODAY) is not None


def test_every_reduced_part_may_be_called_reduced(found: Folder) -> None:
    history = {sku: [point for point in found.history if point.sku == sku] for sku in found.parts}
    catalogue = Catalogue(parts=found.parts, history=history, policy=found.policy)
    reduced = [part for part in found.parts.values() if is_reduced(part)]
    assert reduced
    for part in reduced:
        reduction = catalogue.reduction_of(part, TODAY)
        assert reduction is not None, part.sku
        assert reduction.percent > 0


def test_every_spot_has_winds_to_ride(found: Folder) -> None:
    assert found.spots
    for spot in found.spots:
        assert 10 <= spot.riding_wind_kn <= 22


def test_the_policy_names_a_whole_kit_and_lessons_that_are_given(found: Folder) -> None:
    whole = found.policy.full_tier
    assert whole is not None
    assert whole.lessons is not None
    assert whole.lessons.kind in {kind.kind for kind in found.lessons}
    assert found.policy.shop.home_zone in {zone.zone for zone in found.zones}
