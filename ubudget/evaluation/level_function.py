"""Uncertainty as a function of the level: u² = s0² + (s1·x)² (EURACHEM/CITAC CG 4, QUAM:2012.P1, E.5)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ubudget.errors import UbudgetError
from ubudget.evaluation import decision_equations as equations
from ubudget.quantity.expression import Symbol
from ubudget.quantity.numbers import evaluate

FEWEST = 4
"""Pairs of value and u that a fit needs (QUAM, E.5)."""
SAME_LEVEL = 1e-20
"""Scatter of x² over n times its squared mean, below which all levels are taken as one."""


@dataclass(frozen=True, eq=False)
class LevelFunction:
    """Constant part s0 (unit of the result) and relative part s1 (a fraction), from `lowest` to `highest` level.

    `residuals` are u - u(x) of the points of a fit, empty for a declared function."""

    constant: float
    relative: float
    lowest: float
    highest: float
    residuals: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        parts = (self.constant, self.relative, self.lowest, self.highest)
        if not all(map(math.isfinite, parts)) or min(self.constant, self.relative) < 0 or not any(parts[:2]):
            raise UbudgetError("level function: found a negative part, or none; accepted: zero or more, not both zero")
        if not self.lowest < self.highest:
            raise UbudgetError(
                "level function: found a range without width; accepted: the lowest level below the highest"
            )

    def holds_at(self, level: float) -> bool:
        """Whether a level is within the range; its ends are."""
        return not (self.lowest - level > _tie(level) or level - self.highest > _tie(level))

    def standard_uncertainty(self, level: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """u at a level, shape of `level`. Raises `UbudgetError` outside the range: nothing is extrapolated."""
        levels = np.asarray(level, dtype=np.float64)
        outside = [float(one) for one in levels.ravel() if not self.holds_at(float(one))]
        if outside:
            raise UbudgetError(
                f"level function: found the level {outside[0]:g}; accepted: {self.lowest:g} to {self.highest:g}"
            )
        given = {"x": levels, "a": np.asarray(self.constant**2), "b": np.asarray(self.relative**2)}
        return evaluate(equations.u_at(Symbol("x"), Symbol("a"), Symbol("b")), given.__getitem__)


def fit_level_function(values: npt.ArrayLike, uncertainties: npt.ArrayLike) -> LevelFunction:
    """The level function of pairs of value and standard uncertainty, shape (n,), n ≥ 4, by least squares of u² on x²
    with both parts zero or more.

    A negative slope makes the function constant (mean of u²); a negative intercept makes it proportional (least squares
    through zero). With two coefficients this is the least-squares solution
    under the condition. Raises `UbudgetError`."""
    x, u = np.asarray(values, dtype=np.float64), np.asarray(uncertainties, dtype=np.float64)
    if x.ndim != 1 or x.shape != u.shape or x.size < FEWEST or not np.isfinite([x, u]).all() or (u <= 0).any():
        raise UbudgetError(f"level function: found other than {FEWEST} or more pairs of value and u above zero")
    squares, variances = x**2, u**2
    mean, mean_variance = squares.mean(), variances.mean()
    scatter = ((squares - mean) ** 2).sum()
    if not scatter > SAME_LEVEL * x.size * mean**2:
        raise UbudgetError("level function: found pairs at one level, a range without width; accepted: several levels")
    slope = max(0.0, float(((squares - mean) * (variances - mean_variance)).sum() / scatter))
    intercept = float(mean_variance - slope * mean)
    if intercept < 0:
        intercept, slope = 0.0, float((squares * variances).sum() / (squares**2).sum())
    fitted = np.sqrt(intercept + slope * squares)
    residuals = tuple((u - fitted).tolist())
    return LevelFunction(math.sqrt(intercept), math.sqrt(slope), float(x.min()), float(x.max()), residuals)


def _tie(level: float) -> float:
    return equations.TIE * abs(level)
