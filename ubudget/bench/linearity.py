"""Linearity test of ISO 8466-1: straight line against quadratic on the level means, and equality of the variances at
the two ends of the range. Reported beside the curve; R² is no evidence of linearity and is not offered.

In orthogonal polynomials the quadratic term takes c2² S2 off the sum of squares, so DS² = (n - 2)s1² - (n - 3)s2² is
that product, to be compared with s2² by an F test with 1 and n - 3 degrees of freedom.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import Context
from ubudget.bench.fitting import Fit, add_common
from ubudget.bench.kinds import KINDS
from ubudget.quantity.expression import Symbol, apply
from ubudget.quantity.graph import Rows

LINEARITY, LEVEL_POINTS = "linearity", "linearity points"
FEWEST_LEVELS = 4


def build_linearity(
    context: Context, levels: str, owner: Sequence[int], names: Sequence[str], unit_x: str, unit_y: str
) -> None:
    """Tables `linearity points` and `linearity`; none where a line has fewer than four levels."""
    counts = np.bincount(np.array(owner, dtype=np.int64), minlength=len(names))
    if (counts < FEWEST_LEVELS).any():
        return
    stop: Rows = np.cumsum(counts)
    start = stop - counts
    rows = np.arange(len(owner))
    points = TableBuilder(LEVEL_POINTS, "Level means for the linearity test", len(owner), context.shared)
    points.label("standard", "standard", list(context.tables[levels].texts("standard")))
    x = points.formula("x", "concentration", unit_x, points.pick("x of the level", levels, "x", rows))
    y = points.formula("y", "mean", unit_y, points.pick("mean of the level", levels, "mean", rows))
    mark = points.pick("level used", levels, "level used", rows)
    tests = TableBuilder(LINEARITY, "Linearity test on level means, ISO 8466-1", len(names), context.shared)
    tests.label("line", "line", list(names))
    fit = Fit(context, points, tests, owner, start, stop, unit_x, unit_y, names, "linearity", "linearity")
    add_common(fit, x, y, mark, None)
    KINDS["quadratic"].build(fit)
    tests.demote(*tests.names)
    ds = tests.formula("DS²", "DS²", "", Symbol("c2") ** 2 * Symbol("S2"), "ISO 8466-1, 5.1")
    # Through three levels a quadratic leaves rounding alone, which no F may be divided by.
    ratio = apply("if_less", Symbol("n"), 3.5, 0, apply("ratio_or_zero", ds, Symbol("s") ** 2))
    F = tests.formula("F linearity", "F, line against quadratic", "", ratio)
    tests.formula("p linearity", "probability if straight", "", apply("f_upper", F, 1, Symbol("dof")))
    ends = []
    for name, level in (("lowest", start), ("highest", stop - 1)):
        s = tests.formula(f"s {name}", f"s at the {name} level", unit_y, tests.pick(f"s of {name}", levels, "s", level))
        n = tests.pick(f"readings of {name}", levels, "readings", level)
        ends.append((s, n))
    (low, n_low), (high, n_high) = ends
    above = apply("ratio_or_zero", apply("larger", low, high), apply("smaller", low, high))
    ratio = tests.formula("F variances", "F, variances at the ends", "", above**2, "ISO 8466-1, variance homogeneity")
    dof_top = apply("larger", apply("if_less", low, high, n_high, n_low) - 1, 1)
    dof_bottom = apply("larger", apply("if_less", low, high, n_low, n_high) - 1, 1)
    tests.formula("p variances", "probability if equal", "", apply("f_upper", ratio, dof_top, dof_bottom))
    context.tables[LEVEL_POINTS] = points.build()
    context.tables[LINEARITY] = tests.build()
