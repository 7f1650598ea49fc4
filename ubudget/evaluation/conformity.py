"""Conformity with tolerance limits: probability, risks, guard bands and decisions.

JCGM 106:2012, ISO/IEC 17025:2017 (7.8.6), ILAC-G8:09/2019. What a decision means for health, safety or compliance is
for the person responsible; local law goes before any rule here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal, cast

import numpy as np
import numpy.typing as npt

from ubudget.errors import UbudgetError
from ubudget.evaluation import decision_equations as equations
from ubudget.evaluation.decision_equations import LOWER, TIE, UPPER, WORDS
from ubudget.quantity.expression import Expression, Number, Symbol
from ubudget.quantity.graph import INFINITE_DOF
from ubudget.quantity.numbers import evaluate
from ubudget.records.tolerance_limit import NON_BINARY, REJECTION, SIMPLE, Rule

Numbers = float | npt.NDArray[np.float64]
Decision = Literal["pass", "conditional pass", "conditional fail", "fail"]


@dataclass(frozen=True)
class Prior:
    """Knowledge of the measurand before the measurement: normal, with mean and standard deviation, unit of the
    result."""

    mean: float
    sd: float

    def __post_init__(self) -> None:
        _refuse(not (math.isfinite(self.mean) and self.sd > 0), f"a prior with sd {self.sd:g}", "an sd above zero")


@dataclass(frozen=True)
class AcceptanceLimits:
    """Last values that pass, and last values that do not fail; `None` on a side without limit.

    Both are the same under a binary rule."""

    lower: float | None
    upper: float | None
    rejection_lower: float | None
    rejection_upper: float | None


def conformance_probability(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    degrees_of_freedom: npt.ArrayLike = math.inf,
    prior: Prior | None = None,
) -> Numbers:
    """Probability that the measurand lies within its limits, given the measurement (JCGM 106, 7.3 and 7.4).

    Normal distribution; Student's t where the degrees of freedom are finite, cut to whole numbers as in the coverage
    factor (from 10,000 on normal). Shapes broadcast. With a `prior`, which needs the normal distribution, that of the
    normal posterior. Value, u and limits in one unit. Raises `UbudgetError`."""
    return 1.0 - _outside(value, standard_uncertainty, lower, upper, degrees_of_freedom, prior)


def specific_consumer_risk(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    degrees_of_freedom: npt.ArrayLike = math.inf,
    prior: Prior | None = None,
) -> Numbers:
    """Probability that this item, once accepted, does not conform: 1 - pc (JCGM 106, 9.3.2)."""
    return _outside(value, standard_uncertainty, lower, upper, degrees_of_freedom, prior)


def specific_producer_risk(
    value: npt.ArrayLike,
    standard_uncertainty: npt.ArrayLike,
    *,
    lower: float | None = None,
    upper: float | None = None,
    degrees_of_freedom: npt.ArrayLike = math.inf,
    prior: Prior | None = None,
) -> Numbers:
    """Probability that this item, once rejected, does conform: pc (JCGM 106, 9.3.3)."""
    return conformance_probability(
        value,
        standard_uncertainty,
        lower=lower,
        upper=upper,
        degrees_of_freedom=degrees_of_freedom,
        prior=prior,
    )


def guard_band(expanded_uncertainty: float, multiple: float = 1.0) -> float:
    """w = r·U (ILAC-G8:09/2019, 4.1 and table 1): r = 1 of U at k = 2 leaves 2.3 %, r = 0.83 leaves 5 %."""
    _refuse(not multiple >= 0, f"a guard band of {multiple:g} U", "a multiple of zero or more")
    _refuse(not expanded_uncertainty > 0, f"U = {expanded_uncertainty:g}", "an expanded uncertainty above zero")
    return multiple * expanded_uncertainty


def guard_band_for_risk(standard_uncertainty: float, risk: float, degrees_of_freedom: float = math.inf) -> float:
    """w that leaves the one-sided `risk` for a value on the acceptance limit (JCGM 106, 8.3.2): 1.645 u for 0.05, or
    the quantile of t where the degrees of freedom are finite."""
    _refuse(not 0 < risk < 0.5, f"a risk of {risk:g}", "a one-sided risk between 0 and 0.5")
    _refuse(not standard_uncertainty > 0, f"u = {standard_uncertainty:g}", "a standard uncertainty above zero")
    u, dof = Number(standard_uncertainty), equations.whole_dof(_finite(degrees_of_freedom))
    return _number(equations.guard_of_risk(u, Number(1 - 2 * risk), dof))


def acceptance_limits(
    rule: Rule,
    *,
    lower: float | None = None,
    upper: float | None = None,
    guard: float | tuple[float, float] = 0.0,
) -> AcceptanceLimits:
    """Limits of acceptance and of rejection by a rule; `guard` for both sides, or (lower, upper).

    Raises `UbudgetError` where guard bands overlap: no value would pass, and nothing can be stated."""
    guards = _guards(rule, lower, upper, guard)
    accepted: dict[int, float | None] = {UPPER: None, LOWER: None}
    rejected: dict[int, float | None] = {UPPER: None, LOWER: None}
    for side, limit in ((UPPER, upper), (LOWER, lower)):
        if limit is not None:
            accepted[side] = _number(equations.acceptance_limit(side, rule, limit, guards[side]))
            rejected[side] = _number(equations.rejection_limit(side, rule, limit, guards[side]))
    low, high = accepted[LOWER], accepted[UPPER]
    if low is not None and high is not None and lower is not None and upper is not None:
        tie = TIE * (max(abs(lower), abs(upper)) + max(guards.values()))
        empty = _number(equations.zone_is_empty(low, high, tie)) > 0
        _refuse(empty, "guard bands that overlap: an empty acceptance zone", "limits further apart, or a smaller U")
    return AcceptanceLimits(low, high, rejected[LOWER], rejected[UPPER])


def decide_conformity(
    value: float,
    rule: Rule,
    *,
    lower: float | None = None,
    upper: float | None = None,
    guard: float | tuple[float, float] = 0.0,
) -> Decision:
    """The decision of a rule on a value; a value on an acceptance limit passes.

    One that lies beyond a limit by at most 1e-12 of |limit| + guard band is on it. Raises as `acceptance_limits`."""
    limits = acceptance_limits(rule, lower=lower, upper=upper, guard=guard)
    guards = _guards(rule, lower, upper, guard)
    _refuse(not math.isfinite(value), f"the value {value:g}", "a finite value")
    code = 0.0
    for side, limit, accepted, rejected in (
        (UPPER, upper, limits.upper, limits.rejection_upper),
        (LOWER, lower, limits.lower, limits.rejection_lower),
    ):
        if limit is not None and accepted is not None and rejected is not None:
            tree = equations.side_code(side, rule, value, limit, guards[side], accepted, rejected)
            code = max(code, _number(tree))
    return cast(Decision, WORDS[int(code)])


def largest_uncertainty(limit: float, percentage: float) -> float:
    """Largest expanded uncertainty that is allowed at a limit, stated in % of it (Directive 2009/90/EC, Art. 4: 50 %;
    Directive (EU) 2020/2184, Annex III: by parameter)."""
    _refuse(not percentage > 0, f"{percentage:g} %", "a percentage above zero")
    return abs(limit) * percentage / 100


def meets_percentage(figure: float, limit: float, percentage: float) -> bool:
    """Whether U or a quantification limit is within a percentage of a limit; on it is within."""
    return figure <= largest_uncertainty(limit, percentage) * (1 + TIE)


def _outside(
    value: npt.ArrayLike,
    u: npt.ArrayLike,
    lower: float | None,
    upper: float | None,
    dof: npt.ArrayLike,
    prior: Prior | None,
) -> Numbers:
    """Probability beyond the limits, tail by tail, so that small ones keep their digits."""
    _in_order(lower, upper)
    dofs = np.minimum(np.asarray(dof, dtype=np.float64), INFINITE_DOF)
    given = {"y": np.asarray(value, dtype=np.float64), "u": np.asarray(u, dtype=np.float64), "dof": dofs}
    _refuse(
        not bool((given["u"] > 0).all()), "u that is missing, zero or negative", "a standard uncertainty above zero"
    )
    _refuse(not bool((dofs >= 1).all()), "degrees of freedom below one", "one or more")
    y: Expression = Symbol("y")
    su: Expression = Symbol("u")
    if prior is not None:
        finite = bool((dofs < INFINITE_DOF).any())
        _refuse(finite, "a prior with finite degrees of freedom", "a prior under the normal distribution")
        weight = equations.prior_weight(su, prior.sd)
        y, su = equations.posterior_value(y, prior.mean, weight), equations.posterior_u(su, weight)
    total: Any = 0.0
    for side, limit in ((UPPER, upper), (LOWER, lower)):
        if limit is not None:
            tree = equations.tail(side, y, limit, su, equations.whole_dof(Symbol("dof")))
            total = total + evaluate(tree, given.__getitem__)
    risk = np.minimum(total, 1.0)
    return float(risk) if np.ndim(risk) == 0 else risk


def _guards(
    rule: str, lower: float | None, upper: float | None, guard: float | tuple[float, float]
) -> dict[int, float]:
    _in_order(lower, upper)
    rules = (SIMPLE, "guarded acceptance", REJECTION, NON_BINARY)
    _refuse(rule not in rules, f"the rule {rule}", f"one of {', '.join(rules)}")
    low, high = guard if isinstance(guard, tuple) else (guard, guard)
    _refuse(not (low >= 0 and high >= 0), f"a guard band of {min(low, high):g}", "zero or more; the rule says its side")
    simple = rule == SIMPLE and (low > 0 or high > 0)
    _refuse(simple, "simple acceptance with a guard band", "no guard band, or another rule")
    return {UPPER: high, LOWER: low}


def _in_order(lower: float | None, upper: float | None) -> None:
    _refuse(lower is None and upper is None, "no limit", "a lower limit, an upper limit, or both")
    if lower is not None and upper is not None:
        _refuse(not lower < upper, f"the lower limit {lower:g} and the upper {upper:g}", "a lower below the upper")


def _finite(dof: float) -> float:
    _refuse(not dof >= 1, f"{dof:g} degrees of freedom", "one or more")
    return min(dof, INFINITE_DOF)


def _number(tree: Expression) -> float:
    return float(evaluate(tree, _no_symbol))


def _no_symbol(name: str) -> float:
    raise KeyError(name)


def _refuse(wrong: bool, found: str, accepted: str) -> None:
    if wrong:
        raise UbudgetError(f"conformity: found {found}; accepted: {accepted}")
