"""The equations of a decision on conformity, once: the library evaluates these trees, the workbook spells them.

A side is `UPPER` or `LOWER`; what lies beyond a limit is positive on either side. Sources: JCGM 106:2012, 7 and 8;
ILAC-G8:09/2019, 4.
"""

from __future__ import annotations

from typing import Final

from ubudget.quantity.expression import Expression, Operand, apply, as_expression
from ubudget.records.tolerance_limit import NON_BINARY, REJECTION, SIMPLE

UPPER: Final = 1
LOWER: Final = -1
PASS, CONDITIONAL_PASS, CONDITIONAL_FAIL, FAIL = 1, 2, 3, 4
"""Codes of decisions; that of a result with two limits is the larger of both sides. 0: no statement possible."""
WORDS = ("no statement possible", "pass", "conditional pass", "conditional fail", "fail")
"""By code (ILAC-G8:09/2019, 4.2)."""
TIE = 1e-12
"""A value beyond a limit by no more than this part of |limit| + guard band is taken to lie on it, and the limit belongs
to what it bounds. So figures that are equal on paper are equal here, whatever binary arithmetic made of them."""


def beyond(side: int, value: Operand, limit: Operand) -> Expression:
    """How far a value lies beyond a limit; negative inside."""
    value, limit = as_expression(value), as_expression(limit)
    return value - limit if side == UPPER else limit - value


def tail(side: int, value: Operand, limit: Operand, u: Operand, dof: Operand) -> Expression:
    """Probability that the measurand lies beyond a limit (JCGM 106, 7.3 and 7.4); half where u = 0."""
    return apply("student_lower", apply("ratio_or_zero", beyond(side, value, limit), u), dof)


def whole_dof(dof: Operand) -> Expression:
    """Degrees of freedom as the coverage factor has them: cut to whole numbers, at least 1."""
    return apply("larger", apply("whole", as_expression(dof) + 1e-6), 1)


def central_part(risk: Operand) -> Expression:
    """Probability between both quantiles that leave a one-sided risk outside each: what a two-sided factor is for."""
    return 1 - 2 * as_expression(risk)


def guard_of_risk(u: Operand, central: Operand, dof: Operand) -> Expression:
    """Guard band that leaves a one-sided risk on the acceptance limit (JCGM 106, 8.3.2): quantile times u. `central` is
    a number or a column of its own, as the cell needs it."""
    return apply("student", central, dof) * u


def acceptance_limit(side: int, rule: str, limit: Operand, guard: Operand) -> Expression:
    """The last value that passes: inside the limit by the guard band, at the limit, or outside it (rejection)."""
    limit = as_expression(limit)
    if rule == SIMPLE:
        return limit
    return limit + guard if (side == UPPER) == (rule == REJECTION) else limit - guard


def rejection_limit(side: int, rule: str, limit: Operand, guard: Operand) -> Expression:
    """The last value that does not fail."""
    return acceptance_limit(side, REJECTION if rule == NON_BINARY else rule, limit, guard)


def tolerance(limit: Operand, guard: Operand) -> Expression:
    """What counts as no difference beside a limit."""
    return TIE * (apply("abs", limit) + guard)


def side_code(
    side: int, rule: str, value: Operand, limit: Operand, guard: Operand, accepted: Operand, rejected: Operand
) -> Expression:
    """Code of the decision on one side, from the tolerance limit and the limits of acceptance and rejection."""
    tie = tolerance(limit, guard)

    def outside(bound: Operand, step: int) -> Expression:
        return apply("if_less", tie, beyond(side, value, bound), step, 0)

    if rule != NON_BINARY:
        return PASS + outside(accepted, FAIL - PASS)
    return PASS + outside(accepted, 1) + outside(limit, 1) + outside(rejected, 1)


def zone_is_empty(lower: Operand, upper: Operand, tie: Operand) -> Expression:
    """1 where guard bands overlap, so that no value would pass."""
    return apply("if_less", as_expression(upper) + tie, lower, 1, 0)


def prior_weight(u: Operand, sd: Operand) -> Expression:
    """Weight of the measurement beside a normal prior: u0²/(u0² + u²) (JCGM 106, 7.1, normal prior and likelihood)."""
    sd, u = as_expression(sd), as_expression(u)
    return sd**2 / (sd**2 + u**2)


def posterior_value(value: Operand, mean: Operand, weight: Operand) -> Expression:
    mean = as_expression(mean)
    return mean + as_expression(weight) * (as_expression(value) - mean)


def posterior_u(u: Operand, weight: Operand) -> Expression:
    return as_expression(u) * apply("sqrt", weight)


def u_at(level: Operand, variance: Operand, relative_variance: Operand) -> Expression:
    """u(x) = √(s0² + s1²·x²) (QUAM:2012.P1, E.5)."""
    return apply("sqrt", as_expression(variance) + as_expression(relative_variance) * as_expression(level) ** 2)
