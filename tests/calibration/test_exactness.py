"""Value and u of every kind of calibration against the package `uncertainties`, which walks the whole fit anew.

Every cell from stock and glassware to the result is recalculated with numbers of that package; neither our partial
derivatives nor the implicit differentiation of the fits takes part.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from uncertainties import nominal_value

from tests.agreement.test_uncertainties import CALCULATE, Walk, correlated_variance
from tests.calibration.runs import ERRORS_IN_VARIABLES, TWO_POINTS, Declared, evaluated, every_kind, of_kind
from tests.findings.small_run import RUN, write_run
from ubudget.bench.assembly import RESULTS
from ubudget.bench.kinds import KINDS
from ubudget.evaluation.evaluate import evaluate
from ubudget.files.reading import read_records
from ubudget.quantity.expression import Apply, Expression

ELEMENTWISE = {"total_of": lambda values: sum(values)}
"""Operations whose argument is calculated element by element of its spans."""

LEAST_SQUARES = ("line", "line through zero", "quadratic", "rational")
ONE_LINE = ("257.610",)
CASES = [
    *every_kind(),
    *every_kind(fit_on="means", scatter="pooled", lines=ONE_LINE),
    *every_kind(standards="stated", lines=ONE_LINE),
    *(of_kind(kind, standards="exact", lines=ONE_LINE) for kind in KINDS if kind != ERRORS_IN_VARIABLES),
    *(of_kind(kind, rule, known=True) for kind in LEAST_SQUARES for rule in ("noise model", "pooled s per level")),
    *(of_kind(kind, scatter="own", lines=ONE_LINE) for kind in LEAST_SQUARES),
    *(of_kind(kind, between_levels="0.4 %") for kind in (*LEAST_SQUARES, TWO_POINTS)),
    *(
        of_kind(kind, rule, between_levels="0.05 mg/L", lines=ONE_LINE)
        for kind in LEAST_SQUARES
        for rule in ("1/x", "1/y")
    ),
    of_kind("quadratic", "noise model", known=True, between_levels="0.4 %", lines=ONE_LINE),
    of_kind("line", between_levels="0.4 %", standards="exact", lines=ONE_LINE),
    of_kind("line", between_levels="0.4 %", fit_on="means", scatter="own", lines=ONE_LINE),
]
AS_ESTIMATED = ("x", "x prepared", "u_x", "y first", "s of one reading")
"""Columns that the method takes at their estimates where they are marked so: exact standards, their own uncertainty
under errors in variables, and what the weights 1/y and those by stated s are taken from."""


class FitWalk(Walk):
    """A walk that knows sums of expressions over spans, and abscissas that the method declares exact."""

    def _cell(self, table: str, column: str, row: int) -> Any:
        if column in AS_ESTIMATED and column in self.tables[table].frozen:
            return float(self.plain.column(table, column)[row])
        return super()._cell(table, column, row)

    def calculated(self, table: str, expression: Expression, row: int) -> Any:
        if isinstance(expression, Apply) and expression.operation in ELEMENTWISE:
            (summand,) = expression.arguments
            return ELEMENTWISE[expression.operation](self._elements(table, summand, row))
        return super().calculated(table, expression, row)

    def _elements(self, table: str, expression: Expression, row: int) -> Any:
        if not isinstance(expression, Apply):
            found = self.calculated(table, expression, row)
            return np.array(found, dtype=object) if isinstance(found, list) else found
        arguments = [self._elements(table, argument, row) for argument in expression.arguments]
        return CALCULATE[expression.operation](*arguments)


@pytest.mark.parametrize("declared", CASES, ids=str)
def test_value_and_u_are_those_of_the_whole_fit_walked_anew(declared: Declared) -> None:
    evaluation = evaluated(declared)
    walk = FitWalk(evaluation)
    assert evaluation.results
    for row, result in enumerate(evaluation.results):
        number = walk.cell(RESULTS, evaluation.assembly.value, row)
        assert result.value == pytest.approx(nominal_value(number), rel=1e-12)
        expected = math.sqrt(correlated_variance(evaluation, number, walk))
        assert expected > 0
        assert result.standard_uncertainty == pytest.approx(expected, rel=1e-12)


def test_three_levels_leave_nothing_to_test_a_line_by(tmp_path: Path) -> None:
    """A quadratic goes through three level means: their residual is rounding, and F is not calculated from it."""
    mark = '[[exclude_reading]]\nsolution = "S3"\nanalyte = "Zn"\nline = "213.9"\nreplicate = {}\nreason = "spilt"\n'
    run = write_run(tmp_path, run=RUN + "".join(mark.format(number) for number in (1, 2, 3)))
    records, findings = read_records(run)
    assert records is not None, findings
    evaluation, findings = evaluate(records)
    assert evaluation is not None, findings
    assert evaluation.column("n", "linearity")[0] == 3
    assert evaluation.column("F linearity", "linearity")[0] == 0
