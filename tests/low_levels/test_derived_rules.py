"""Means over values below a limit: Directive 2009/90/EC, article 5, and the other rules."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.derived.derived_runs import changed_run
from tests.lines.two_lines import two_line_run
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


COPPER = """
[[detection_limit]]
analyte = "Cu"
quantification = "0.83 mg/L"
nominal = { f = 1 }
"""


def test_bounds_take_each_result_at_the_end_that_its_sign_asks_for(tmp_path: Path) -> None:
    """Particles = total - dissolved: the lower bound has the dissolved part at its limit, the upper one at zero."""
    equation = 'equation = "P = total - dissolved"'
    place = changed_run(tmp_path, ("method.toml", equation, f'{equation}\nbelow_limits = "bounds"'))
    method = place / "method.toml"
    method.write_text(method.read_text(encoding="utf-8") + COPPER, encoding="utf-8")
    evaluation = evaluated(place)
    rows = {(result.sample, result.analyte): row for row, result in enumerate(evaluation.results)}
    total = evaluation.results[rows["OUT-1", "Cu"]].value
    assert total is not None
    row = rows["outflow", "particulate Cu"]
    level = evaluation.low_level(row)
    assert level is not None and level.bounds == pytest.approx((total - 0.83, total), rel=1e-9)
    assert evaluation.results[row].reported_as == f"{total - 0.83:.3f} to {total:.3f}"
    # The sample's own limit stands in the place of that of the nominal portion where it was diluted, here tenfold.
    diluted = evaluation.low_level(rows["RINSE-1", "Cu"])
    assert diluted is not None and diluted.quantification == pytest.approx(8.3, rel=0.01)


def test_a_value_from_several_lines_has_the_limits_of_the_lines_by_their_weights(tmp_path: Path) -> None:
    place = two_line_run(tmp_path, 'rule = "mean of agreeing lines"\nown = ["d_L"]')
    method = place / "method.toml"
    limits = "".join(
        f'\n[[detection_limit]]\nline = "{line}"\nquantification = "{limit} mg/L"\nnominal = {{ f = 1 }}\n'
        for line, limit in (("213.857", 1.2), ("206.200", 1.6))
    )
    method.write_text(method.read_text(encoding="utf-8") + limits, encoding="utf-8")
    evaluation = evaluated(place)
    (row,) = [
        n for n, key in enumerate(evaluation.keys) if (key.sample, key.analyte, key.line) == ("OUT-1", "Zn", None)
    ]
    level = evaluation.low_level(row)
    # The mean of both, with equal weights.
    assert level is not None and level.quantification == pytest.approx(1.4, rel=1e-9)
    assert evaluation.results[row].reported_as == "< 1.4"
