"""Whoever measures is told what can be measured: by the command itself, and by README.md."""

from __future__ import annotations

import pytest

from tests.bench.__main__ import BENCHES, QUICK, listed, main
from tests.house.container import ROOT


def test_every_measurement_is_listed_with_what_it_measures() -> None:
    lines = listed().splitlines()[: len(BENCHES)]
    for line, (name, bench) in zip(lines, BENCHES.items(), strict=True):
        assert line[0] == ("*" if name in QUICK else " ")
        assert (bench.__doc__ or "").split() == line[1:].split()[1:]


def test_every_measurement_is_told_of_to_whoever_runs_a_shop() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert {name for name in BENCHES if f"tests.bench {name}" not in readme} == set(QUICK)


def test_a_measurement_that_there_is_not_is_refused_with_those_that_there_are(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["frontiers"]) == 2
    said = capsys.readouterr().err
    assert "no measurement frontiers" in said
    assert all(name in said for name in BENCHES)
