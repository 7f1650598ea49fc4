"""Means over values below a limit: Directive 2009/90/EC, article 5, and the other rules."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.low_levels.low_runs import evaluated, mean_run

HALF_BELOW = (0.12, 0.03, 0.08, 0.01)
THREE_BELOW = (0.07, 0.02, -0.01, 0.05)


@pytest.mark.parametrize(
    ("values", "rule", "own_limit", "reported"),
    [
        # Article 5: a value below LOQ counts as half of it, 0.065 here; a mean below LOQ is told as less than LOQ.
        (HALF_BELOW, "half the limit", True, "0.0650"),
        (THREE_BELOW, "half the limit", True, "< 0.06"),
        (THREE_BELOW, "half the limit", False, "0.0400"),
        # In sums (here a sum over four) it counts as zero.
        (HALF_BELOW, "zero", False, "0.0500"),
        (HALF_BELOW, "the limit", False, "0.0800"),
        (HALF_BELOW, "bounds", False, "0.0500 to 0.0800"),
        (HALF_BELOW, "as measured", False, ""),
        ((0.02, 0.03, 0.01, 0.05), "zero", False, "< 0.06"),
        ((0.12, 0.13, 0.08, 0.07), "half the limit", True, ""),
    ],
)
def test_mean_by_rule(values: tuple[float, ...], rule: str, own_limit: bool, reported: str, tmp_path: Path) -> None:
    evaluation = evaluated(mean_run(tmp_path / "run", values, rule, own_limit))
    mean = evaluation.results[4]
    assert mean.reported_as == reported
    # As measured, whatever is reported.
    assert mean.value == pytest.approx(sum(values) / 4, rel=1e-12)
    assert mean.expanded_uncertainty is not None
