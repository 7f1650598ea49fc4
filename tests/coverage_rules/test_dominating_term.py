"""k where rectangular contributions dominate: EA-4/02 M:2022, S9 and S10 (from memory), and scipy's trapezoid.

The figures of both examples are checked in tests/published, their workbooks in tests/workbooks."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm, trapezoid

from tests.commands.running import run
from tests.coverage_rules.single_method import evaluation_of, method_text, normal, rectangular, result_of
from tests.engines import ironcalc_variants, require_engine
from tests.workbooks.books import EXAMPLES, edited, written
from ubudget.evaluation.coverage import FACTOR
from ubudget.evaluation.dominance import dominating_factor
from ubudget.files.exchange import evaluation_object
from ubudget.pages.coverage_words import by_count
from ubudget.pages.record_sheet import open_cells
from ubudget.pages.results_sheet import COLUMNS
from ubudget.pages.results_table import results_lines
from ubudget.pages.statement import statement
from ubudget.quantity.spelling import column_letters
from ubudget.records.method import Coverage
from ubudget.records.records import Edit
from ubudget.records.spare_rows import SpareRows
from ubudget.records.spare_run import specimen_findings

S10 = EXAMPLES / "published" / "ea402_s10.toml"


@pytest.mark.parametrize("p", [0.5, 0.683, 0.95, 0.9545, 0.997])
@pytest.mark.parametrize("edge", [0.0, 0.2, 1 / 3, 0.6, 0.95, 1.0])
def test_factor_of_a_trapezoid(edge: float, p: float) -> None:
    """scipy.stats.trapezoid: half the interval about its middle that holds p, over its standard deviation. Beyond the
    limit of EA-4/02, where the interval ends on the top, as well."""
    shape = trapezoid((1 - edge) / 2, (1 + edge) / 2)
    expected = (shape.ppf((1 + p) / 2) - 0.5) / shape.std()
    assert dominating_factor(np.array([edge]), p)[0] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("rest", "distribution"), [(0.29, "rectangular"), (0.31, "normal")])
def test_the_rest_is_small_up_to_0_3_of_what_dominates(rest: float, distribution: str, tmp_path: Path) -> None:
    found = result_of(method_text({"a": rectangular(1.732051), "b": normal(rest)}), tmp_path)
    assert found.coverage_distribution == distribution
    k = 0.9545 * math.sqrt(3) if distribution == "rectangular" else norm.ppf((1 + 0.9545) / 2)
    assert found.coverage_factor == pytest.approx(k, rel=1e-9)


def test_two_equal_ones_make_a_triangle(tmp_path: Path) -> None:
    """Edge parameter 0: k = (1 - sqrt(1 - p)) sqrt(6)."""
    found = result_of(method_text({"a": rectangular(2), "b": rectangular(2), "c": normal(0.1)}), tmp_path)
    assert found.coverage_distribution == "trapezoidal"
    assert found.coverage_factor == pytest.approx((1 - math.sqrt(1 - 0.9545)) * math.sqrt(6), rel=1e-9)


NOT_COUNTED = {
    "limits known to 25 % only": method_text({"a": rectangular(2, "reliability = 0.25"), "b": normal(0.1)}),
    "another shape": method_text({"a": rectangular(2).replace("rectangular", "triangular"), "b": normal(0.1)}),
    "correlated": method_text({"a": rectangular(2), "b": rectangular(0.1)})
    + '[[correlation]]\nbetween = ["a", "b"]\ncoefficient = 0.5\n',
    "no uncertainty": method_text({"a": 'estimate = "1 mg"\nu = "0 mg"'}),
}


@pytest.mark.parametrize("case", NOT_COUNTED)
def test_else_k_is_t_and_the_reason_is_told(case: str, tmp_path: Path) -> None:
    evaluation = evaluation_of(NOT_COUNTED[case], tmp_path)
    (found,) = evaluation.results
    assert found.coverage_distribution in ("normal", "t")
    if found.expanded_uncertainty:
        assert "no rectangular contribution dominates" in statement(found, evaluation.records.method)


def test_words_of_statement_table_and_exchange(tmp_path: Path) -> None:
    evaluation = written(S10).evaluation
    (found,) = evaluation.results
    said = statement(found, evaluation.records.method)
    assert "k = 1.83" in said and "trapezoidal distribution: two rectangular contributions dominate" in said
    assert "trapezoidal" in "\n".join(results_lines(evaluation))
    assert evaluation_object(evaluation)["results"][0]["coverage_distribution"] == "trapezoidal"
    assert "edge parameter" in run("explain", S10, folder=tmp_path).out


def test_a_note_under_other_rules_and_only_where_it_dominates(tmp_path: Path) -> None:
    inputs = {"a": rectangular(2), "b": normal(0.1)}
    for coverage, told in (('rule = "t"', 1), ('rule = "fixed"\nk = 2', 1), ('rule = "fixed"\nk = 1.65', 0)):
        evaluation = evaluation_of(method_text(inputs, coverage=coverage), tmp_path)
        assert len(evaluation.findings) == told
        assert all(f.severity == "note" and "k = 2.00, and 1.65" in f.found for f in evaluation.findings)
    assert not evaluation_of(method_text(inputs | {"b": normal(2)}, coverage='rule = "t"'), tmp_path).findings


def test_cells_follow_from_trapezoid_to_rectangle_to_t(tmp_path: Path) -> None:
    """A finer vernier: one contribution dominates. Mechanical effects as small as the vernier: the temperature, which
    was a small rest, is none any more."""
    require_engine("ironcalc")
    example = written(S10)
    file = example.save(tmp_path / "book.xlsx")
    cells = {cell.origin.path[1]: cell for cell in open_cells(example.book.sheets) if "half_width" in cell.origin.path}
    variants = [{}, {"dl_iX": 0.001}, {"dl_iX": 0.002, "dl_M": 0.002}]
    words = [by_count(count) for count in (2, 1, 0)]
    edits = [
        [(cells[name].sheet, cells[name].address, value) for name, value in variant.items()] for variant in variants
    ]
    k, told = (f"{column_letters(place)}12" for place in (COLUMNS.index("k") + 1, len(COLUMNS) + 1))
    answers = ironcalc_variants(file, edits, {"results": [k, told], "budget": ["B17"]})
    for variant, answer, said in zip(variants, answers, words, strict=True):
        changed = [Edit("method", cells[name].origin.path, value, "mm") for name, value in variant.items()]
        assert answer["results"][k] == pytest.approx(edited(example.records, changed).column(FACTOR)[0], rel=1e-9)
        assert answer["results"][told] == answer["budget"]["B17"] == said


def test_workbooks_with_spare_rows_refuse_the_rule() -> None:
    records = written(EXAMPLES / "patterns" / "water-direct").records
    rows = SpareRows(samples=12, levels=6, replicates=3, blanks=3)
    assert not specimen_findings(records, rows)
    method = replace(records.method, coverage=Coverage(rule="dominating term"))
    (found,) = specimen_findings(replace(records, method=method), rows)
    assert found.severity == "stop" and 'rule = "dominating term"' in found.found
