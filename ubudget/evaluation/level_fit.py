"""The fit of level functions in cells: least squares of u² on x², both coefficients zero or more.

Sums of squares are taken about the mean. A negative slope leaves the mean of u²; a negative intercept the line through
zero: `level_function.fit_level_function` is the same as numbers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.evaluation.level_function import FEWEST, SAME_LEVEL
from ubudget.quantity.expression import Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import DETAIL, Rows

POINTS = "level function points"


class LevelFits:
    """Columns of a table of level functions, of which those with `sizes` above zero are fitted to that many points."""

    constant: Expression = Number(0)
    relative: Expression = Number(0)

    def __init__(self, table: TableBuilder, sizes: Sequence[int]) -> None:
        self._table, self._sizes = table, np.array(sizes, dtype=np.int64)
        self._fitted: Rows = (self._sizes > 0).astype(np.int64)

    def formula(
        self,
        name: str,
        heading: str,
        declared: Operand,
        fitted: Operand,
        clause: str = "",
        where: Sequence[bool] | None = None,
        rank: int = 0,
    ) -> Symbol:
        """A column that fitted functions calculate in another way; `where` says which of them do."""
        way = self._fitted if where is None else self._fitted * np.array(where, dtype=np.int64)
        others = [fitted] if way.any() else []
        return self._table.formula(name, heading, "", declared, clause, others, way, rank)

    def add_sums(self) -> None:
        """The sums of each fit, and the coefficients that they give."""
        if not self._fitted.any():
            return
        mark, squares, variances = (self._span(name) for name in ("mark", "x²", "u²"))
        n = self.formula("n", "results", 0, apply("total", mark))
        mean = self._sum("mean x²", "mean of x²", apply("ratio_or_zero", apply("total", squares), n))
        mean_u = self._sum("mean u²", "mean of u²", apply("ratio_or_zero", apply("total", variances), n))
        scatter = self._sum("scatter", "sum of squares of x²", apply("total_of", mark * (squares - mean) ** 2))
        products = self._sum("products", "products", apply("total_of", mark * (squares - mean) * (variances - mean_u)))
        several = apply("if_less", SAME_LEVEL * n * mean**2, scatter, 1, 0)
        self.formula("several levels", "several levels (1 = yes)", 1, several, rank=DETAIL)
        least = Symbol("several levels") * apply("ratio_or_zero", products, scatter)
        slope = self._sum("slope", "slope, zero or more", apply("larger", least, 0))
        intercept = self._sum("intercept", "intercept", mean_u - slope * mean)
        above, below = apply("total_product", squares, variances), apply("total_product", squares, squares)
        through = self._sum("through zero", "slope through zero", apply("ratio_or_zero", above, below))
        self.constant = apply("larger", intercept, 0)
        self.relative = apply("if_less", intercept, 0, through, slope)

    def extreme(self, column: str, operation: str, otherwise: float) -> Expression:
        """Smallest or largest of a column of the points, where there are enough of them."""
        return self.enough(apply(operation, self._span(column)), otherwise) if self._fitted.any() else Number(0)

    def determined(self) -> Expression:
        """1 where the results determine the function: four or more, at several levels."""
        return self.enough(Symbol("several levels"), 0)

    def enough(self, value: Operand, otherwise: Operand) -> Expression:
        """A value where at least four results are left, else another."""
        return apply("if_less", Symbol("n"), FEWEST - 0.5, otherwise, value) if self._fitted.any() else Number(0)

    def _span(self, column: str) -> Symbol:
        stop = np.cumsum(self._sizes)
        return self._table.span(f"all {column}", POINTS, column, stop - self._sizes, stop)

    def _sum(self, name: str, heading: str, fitted: Expression) -> Symbol:
        return self.formula(name, heading, 0, fitted, rank=DETAIL)
