"""What the asking for known faults of our packages says: of those that have one, and of those nothing could be learnt of."""

from __future__ import annotations

from tests.bench.dependencies import Audit

REPORT = {
    "dependencies": [
        {"name": "alpha", "version": "1.0", "vulns": []},
        {
            "name": "beta",
            "version": "2.1",
            "vulns": [
                {"id": "PYSEC-2026-1", "fix_versions": ["2.2", "3.0"], "aliases": ["CVE-2026-1"], "description": "…"},
                {"id": "PYSEC-2026-2", "fix_versions": [], "aliases": [], "description": "…"},
            ],
        },
        {"name": "gamma", "skip_reason": "Dependency not found on PyPI and could not be audited: gamma (0.1)"},
    ],
    "fixes": [],
}
"""In the format of pip-audit 2.10, as its documentation and a run of it show it."""


def test_known_faults_are_told_with_the_version_that_mends_them_and_what_could_not_be_asked_is_said() -> None:
    audit = Audit.of(REPORT)
    assert audit.faults == (
        "beta 2.1: PYSEC-2026-1, mended in 2.2, 3.0",
        "beta 2.1: PYSEC-2026-2, mended in no version yet",
    )
    first, unknown, *rest = audit.lines()
    assert first == "2 of 3 packages could be asked about; 2 known faults"
    assert unknown.startswith("NOT ASKED")
    assert unknown.endswith(": gamma")
    assert tuple(rest) == audit.faults


def test_where_all_could_be_asked_nothing_else_is_said() -> None:
    assert Audit.of({"dependencies": REPORT["dependencies"][:1]}).lines() == [
        "1 of 1 packages could be asked about; 0 known faults"
    ]
