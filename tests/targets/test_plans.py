"""Plans by evaluation anew: each beside what the law of propagation says by hand, or beside a run that was done so.

u = s/sqrt(n) of a mean: GUM 4.2.3. Repeats that a plan adds leave s and its degrees of freedom as recorded."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from statistics import mean, stdev

import numpy as np
import pytest

from tests.findings.small_run import METHOD
from tests.targets.target_run import GENERAL, WITH_FLASK, evaluation_of
from tests.workbooks.books import evaluated
from ubudget.errors import UbudgetError
from ubudget.evaluation.budgets import BudgetRow
from ubudget.evaluation.coverage import FACTOR
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.plan_clauses import option
from ubudget.evaluation.planning import as_it_is, part_of, try_options
from ubudget.evaluation.shrinking import parts_of
from ubudget.files.reading import read_records, records_from_texts

SECOND = 1
"""Row of SED-02: read undiluted, two readings left of three."""


def tried(text: str, row: int = SECOND, method: str = GENERAL) -> Result:
    evaluation = evaluation_of(method)
    (found,) = try_options(evaluation, [option(text)], [row])
    return found.planned[0].result


def now(row: int = SECOND, method: str = GENERAL) -> Result:
    return evaluation_of(method).results[row]


def entry(result: Result, symbol: str) -> BudgetRow:
    return next(row for row in result.budget if row.symbol == symbol)


def squares(result: Result, group: str) -> float:
    return sum(row.contribution**2 for row in result.budget if row.group == group)


def test_replicates_keep_s_and_its_degrees_of_freedom() -> None:
    reading = entry(tried("replicates 10"), "c.reading")
    assert reading.standard_uncertainty == pytest.approx(stdev([0.205, 0.206]) / math.sqrt(10), rel=1e-12)
    assert reading.degrees_of_freedom == 1


def test_replicates_on_the_residual_scatter_follow_the_textbook() -> None:
    """QUAM:2012 E.4 (eq. E3.5): u(x0) = (s/b) sqrt(1/p + 1/n + (x0 - x_mean)²/Sxx), from the raw readings by numpy."""
    method = GENERAL.replace('scatter = "own"', 'scatter = "residual"')
    x = np.repeat([0.0, 0.5, 1.0, 2.0], 3) * 1.001
    y = np.array([0.001, 0.002, 0.001, 0.101, 0.102, 0.100, 0.201, 0.202, 0.199, 0.401, 0.403, 0.399])
    b, a = np.polyfit(x, y, 1)
    s = math.sqrt(float(((y - a - b * x) ** 2).sum()) / (len(x) - 2))
    x0 = (mean([0.205, 0.206]) - a) / b
    reading = entry(tried("replicates 7", method=method), "c.reading")
    assert reading.standard_uncertainty == pytest.approx(s / math.sqrt(7), rel=1e-9)
    assert reading.degrees_of_freedom == len(x) - 2
    assert entry(now(method=method), "c.reading").standard_uncertainty == pytest.approx(s / math.sqrt(2), rel=1e-9)
    # Twice the standards, with s as it is: 1/n and 1/Sxx fall by half.
    both = tried("standards 2", method=method), tried("standard readings 6", method=method)
    spread = float(((x - x.mean()) ** 2).sum())
    for result in both:
        rows = [row for row in result.budget if row.group == "curve"]
        assert all(row.degrees_of_freedom == len(x) - 2 for row in rows)
        u = {row.symbol: row.standard_uncertainty for row in rows}
        assert u["c.centroid"] == pytest.approx(s / math.sqrt(2 * len(x)), rel=1e-9)
        assert u["c.slope"] == pytest.approx(s / math.sqrt(2 * spread), rel=1e-9)
    assert x0 > 0


def test_portions_are_independent_in_what_is_new_at_each() -> None:
    """Readings, weighing, moisture and own blank fall by the root of n; recovery, stock, curve and mean blank stay."""
    before, after = now(), tried("portions 4")
    assert after.value == pytest.approx(before.value, rel=1e-12)
    for group in ("reading", "weighing", "dry mass"):
        assert squares(after, group) == pytest.approx(squares(before, group) / 4, rel=1e-9), group
    for group in ("R", "stock", "curve"):
        assert squares(after, group) == pytest.approx(squares(before, group), rel=1e-9), group
    mean_blank = [entry(result, "cb.mean").contribution for result in (before, after)]
    assert mean_blank[0] == pytest.approx(mean_blank[1], rel=1e-9)
    own = [squares(result, "blank") - blank**2 for result, blank in zip((before, after), mean_blank, strict=True)]
    assert own[1] == pytest.approx(own[0] / 4, rel=1e-9)


def test_blanks_keep_their_scatter() -> None:
    before, after = entry(now(), "cb.mean"), entry(tried("blanks 8"), "cb.mean")
    assert after.standard_uncertainty == pytest.approx((before.standard_uncertainty or 0) / 2, rel=1e-12)
    assert after.degrees_of_freedom == before.degrees_of_freedom == 1


def test_a_larger_portion_leaves_the_result_and_halves_what_is_absolute() -> None:
    """w = (cV - b)/m: at the same w and twice the mass, c·u of a deviation of the mass or of c halves."""
    before, after = now(), tried("mass 0.9978 g")
    assert after.value == pytest.approx(before.value, rel=1e-9)
    for group in ("reading", "weighing", "blank"):
        assert squares(after, group) == pytest.approx(squares(before, group) / 4, rel=1e-6), group


def test_another_flask_brings_its_own_limits() -> None:
    """Tolerance 0.1 mL in 100 mL, triangular (QUAM A1); the sample is read half as high."""
    before, after = now(), tried("ware V=F100-1")
    assert after.value == pytest.approx(before.value, rel=1e-9)
    (calibration,) = [row for row in after.budget if "F100-1" in row.source and row.symbol.endswith("calibration")]
    assert calibration.contribution / (after.value or 1) == pytest.approx(0.1 / math.sqrt(6) / 100, rel=0.05)
    assert squares(after, "reading") == pytest.approx(4 * squares(before, "reading"), rel=1e-6)


def test_another_certificate_gives_what_a_register_with_it_gives() -> None:
    texts = [
        replace(text, text=WITH_FLASK.replace('U = "4 mg/L"', 'U = "1 mg/L"')) if text.role == "register" else text
        for text in evaluation_of().records.texts
    ]
    records, _ = records_from_texts(texts)
    assert records is not None
    expected = evaluated(records).results[SECOND]
    assert tried("certificate ST-ZN=1 mg/L").expanded_uncertainty == expected.expanded_uncertainty


def test_a_class_gives_its_limits_of_the_standard() -> None:
    """ISO 1042:1998, Table 1 (from memory): 50 mL, class B ± 0.12 mL; triangular."""
    row = entry(tried("class F50-2=B"), "V.calibration")
    assert row.unit == "L" and row.standard_uncertainty == pytest.approx(0.12e-3 / math.sqrt(6), rel=1e-9)


def test_the_factor_of_an_input_meets_the_target() -> None:
    """u(R) is 1 %: with u times its factor, evaluated anew, u of the result is the target over k."""
    U = now(0).expanded_uncertainty or 0.0
    evaluation = evaluation_of(GENERAL.replace('"4 %"', f'"{0.95 * U:.12g} mg/kg"'))
    (planned,) = as_it_is(evaluation, [0])
    _, inputs = parts_of(evaluation, 0, planned.target)
    part = next(part for part in inputs if part.name == "R")
    assert not planned.met and part.factor is not None and 0 < part.factor < 1
    (found,) = try_options(evaluation, [option(f"input R={0.01 * part.factor:.15g}")], [0])
    wanted = planned.target / float(evaluation.column(FACTOR)[0])
    assert found.planned[0].result.standard_uncertainty == pytest.approx(wanted, rel=1e-9)
    small = [other for other in inputs if other.share < 0.01]
    assert small and all(other.factor is None for other in small)


def test_inputs_with_readings() -> None:
    """Five readings of s = 0.1581 (invented); ten of them: u = s/sqrt(10), still four degrees of freedom."""
    method = METHOD.replace('estimate = 1\nU = "2 %"\nk = 2', "readings = [1.1, 0.9, 1.2, 0.8, 1.0]")
    before, after = now(method=method), tried("replicates R=10", method=method)
    row = entry(after, "R")
    assert row.standard_uncertainty == pytest.approx(stdev([1.1, 0.9, 1.2, 0.8, 1.0]) / math.sqrt(10), rel=1e-12)
    assert row.degrees_of_freedom == 4 and after.value == pytest.approx(before.value, rel=1e-12)


def test_a_part_of_the_run_gives_the_same_result() -> None:
    whole = evaluation_of()
    part: Evaluation = part_of(whole, SECOND)
    assert len(part.results) == 1 and len(whole.results) == 2
    assert part.results[0].expanded_uncertainty == pytest.approx(whole.results[SECOND].expanded_uncertainty, rel=1e-12)


BAD = [
    ("replicate 5", "the unknown change replicate"),
    ("replicates 0", "a whole number from 1"),
    ("replicates R=5", "no input R with readings"),
    ("mass 1 mL", "an amount in kg"),
    ("mass X=1 g", "no mass X"),
    ("mass -1 g", "an amount above zero"),
    ("mass 0,5 g", "decimal comma"),
    ("ware V=F9", "no ware F9 in the register"),
    ("ware Q=F100-1", "neither a volume nor ware named Q"),
    ("ware Vb=F100-1", "a volume of the blank"),
    ("ware F100-1=F50-2", "changes nothing"),
    ("class F50-2=Z", "F50-2 of class Z"),
    ("certificate ST-ZN=1 g", "U in mg/L or in %"),
    ("certificate NO=1 mg/L", "no certified value of NO"),
    ("input V=1", "no such input V"),
    ("portions", "portions: found nothing"),
    (" ; ", "found no change"),
    ("portions 2; portions 3", "each change once"),
]


@pytest.mark.parametrize(("text", "words"), BAD, ids=[text for text, _ in BAD])
def test_what_cannot_be_planned_is_told_in_one_line(text: str, words: str) -> None:
    with pytest.raises(UbudgetError) as told:
        tried(text)
    assert words in str(told.value) and "accepted:" in str(told.value) and "\n" not in str(told.value)


CORRELATED = """
[method]
id = "M-Z"
title = "Impedance of an element, invented figures"
version = "1"
status = "approved"
measurand = "quotient"
unit = "1"
target_uncertainty = "1 %"
equation = "y = V/I"

[symbols.V]
operation = "input"
quantity = "voltage"
group = "voltage"
estimate = 5
u = 0.04

[symbols.I]
operation = "input"
quantity = "current"
group = "current"
estimate = 2
u = 0.01

[[correlation]]
between = ["V", "I"]
coefficient = 0.4
"""


def test_covariances_count_in_the_factor(tmp_path: Path) -> None:
    """y = V/I, relative: u² = 0.008² + 0.005² - 2·0.4·0.008·0.005 (GUM 5.2.2 eq. 16), in %: 0.757²; the target for u is
    0.5 % (k = 2). With f on u(V): 0.64 f² - 0.32 f + 0.25 = 0.25, f = 0.5."""
    file = tmp_path / "method.toml"
    file.write_text(CORRELATED + '\n[coverage]\nrule = "fixed"\nk = 2\n', encoding="utf-8")
    records, findings = read_records(file)
    assert records is not None, findings
    evaluation = evaluated(records)
    (planned,) = as_it_is(evaluation, [0])
    groups, _ = parts_of(evaluation, 0, planned.target)
    assert not planned.met and groups[0].name == "voltage" and groups[0].factor == pytest.approx(0.5, rel=1e-9)
    assert evaluation.column("factor of the largest", "targets")[0] == pytest.approx(0.5, rel=1e-9)
    assert evaluation.column("largest group", "targets")[0] == 1
