"""The operation table: one row an operation, every rendering in that row.

A row holds the numbers (numpy, on arrays), the partial derivatives (as expressions of the same table), the spelling in
a spreadsheet cell, the readable spelling and the domain. A row that lacks one fails at import, so the library, the
cell and the printed derivation cannot differ.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, fdtrc, ndtr, ndtri, stdtr, stdtrit

from ubudget.quantity.expression import ONE, ZERO, Expression, apply
from ubudget.quantity.rounding import round_half_up

Array = npt.NDArray[np.float64]
Partials = Callable[..., tuple[Expression, ...]]

LARGE_DOF = 10_000
"""From here on the normal quantile replaces Student's t: TINV loses digits at large degrees of freedom."""


@dataclass(frozen=True)
class Operation:
    """One row. `arity` None = any number of arguments. Templates take `{0}`, `{1}` … or, for any number, `{all}`.

    `binding` is the strength with which the spelling holds together (2 sum, 3 product, 4 power, 9 closed)."""

    name: str
    arity: int | None
    numbers: Callable[..., Any]
    partials: Partials | None
    """Partial derivative with respect to each argument; None where no uncertainty ever passes (counts, sums over
    readings whose scatter is evaluated as a whole)."""
    cell: str
    words: str
    binding: int
    domain: str
    in_equations: bool
    """Whether a method's equation text may use it."""
    over_span: bool = False
    """Whether it sums over a span of rows: quantities of the row itself then count for each row of the span."""


def _ratio_or_zero(a: Array, b: Array) -> Array:
    a, b = np.broadcast_arrays(np.asarray(a, float), np.asarray(b, float))
    out: Array = np.zeros(a.shape)
    np.divide(a, b, out=out, where=b != 0)
    return out


def _power(a: Array, b: Array) -> Array:
    result: Array = np.power(np.asarray(a, float), np.asarray(b, float))
    return result


def _student(p: Array, nu: Array) -> Array:
    upper, nu = np.broadcast_arrays((1.0 + np.asarray(p, float)) / 2.0, np.clip(np.asarray(nu, float), 1.0, LARGE_DOF))
    # Thousands of results share a few pairs, and the quantile is slow: each pair once.
    pairs, place = np.unique(upper + 1j * nu, return_inverse=True)
    factors = np.where(pairs.imag >= LARGE_DOF, ndtri(pairs.real), stdtrit(pairs.imag, pairs.real))
    result: Array = factors[place].reshape(nu.shape)
    return result


def _student_lower(z: Array, nu: Array) -> Array:
    z, nu = np.broadcast_arrays(np.asarray(z, float), np.asarray(nu, float))
    result: Array = np.where(nu >= LARGE_DOF, ndtr(z), stdtr(np.clip(nu, 1.0, LARGE_DOF), z))
    return result


def _chi_upper(chi: Array, dof: Array) -> Array:
    result: Array = np.asarray(chdtrc(dof, chi), dtype=np.float64)
    return result


def _f_upper(f: Array, dof1: Array, dof2: Array) -> Array:
    result: Array = np.asarray(fdtrc(dof1, dof2, f), dtype=np.float64)
    return result


def _fold(function: Callable[[Array, Array], Array]) -> Callable[..., Array]:
    def over_arguments(*arguments: Array) -> Array:
        total = np.asarray(arguments[0], float)
        for argument in arguments[1:]:
            total = function(total, argument)
        return total

    return over_arguments


def _sum_squares(*arguments: Array) -> Array:
    return _fold(np.add)(*[np.square(argument) for argument in arguments])


def _extreme(pick: np.ufunc) -> Callable[[Array], Array]:
    def over_span(a: Array) -> Array:
        if a.shape[-1] == 0:
            return np.zeros(a.shape[:-1])
        # fmax and fmin pass over the padding; an empty span gives 0, as MAX of an empty range does.
        result: Array = np.nan_to_num(pick.reduce(a, axis=-1))
        return result

    return over_span


def _p_power(a: Expression, b: Expression) -> tuple[Expression, ...]:
    return b * a ** (b - 1), apply("ln", a) * a**b


def _p_if(name: str) -> Partials:
    def partials(a: Expression, b: Expression, x: Expression, y: Expression) -> tuple[Expression, ...]:
        return ZERO, ZERO, apply(name, a, b, 1, 0), apply(name, a, b, 0, 1)

    return partials


TABLE: dict[str, Operation] = {
    row.name: row
    for row in (
        Operation("add", 2, np.add, lambda a, b: (ONE, ONE), "{0}+{1}", "{0} + {1}", 2, "all", True),
        Operation("subtract", 2, np.subtract, lambda a, b: (ONE, -ONE), "{0}-{1}", "{0} - {1}", 2, "all", True),
        Operation("multiply", 2, np.multiply, lambda a, b: (b, a), "{0}*{1}", "{0}·{1}", 3, "all", True),
        Operation("divide", 2, np.divide, lambda a, b: (1 / b, -a / b**2), "{0}/{1}", "{0}/{1}", 3, "b ≠ 0", True),
        Operation("power", 2, _power, _p_power, "{0}^{1}", "{0}^{1}", 4, "a > 0, or a ≠ 0 and b whole", True),
        Operation("negate", 1, np.negative, lambda a: (-ONE,), "(-{0})", "-{0}", 3, "all", True),
        Operation(
            "sqrt",
            1,
            np.sqrt,
            lambda a: (0.5 / apply("sqrt", a),),
            "SQRT({0})",
            "sqrt({0})",
            9,
            "a > 0",
            True,
        ),
        Operation("exp", 1, np.exp, lambda a: (apply("exp", a),), "EXP({0})", "exp({0})", 9, "all", True),
        Operation("ln", 1, np.log, lambda a: (1 / a,), "LN({0})", "ln({0})", 9, "a > 0", True),
        Operation(
            "log10",
            1,
            np.log10,
            lambda a: (1 / (a * np.log(10.0)),),
            "LOG10({0})",
            "log10({0})",
            9,
            "a > 0",
            True,
        ),
        Operation("abs", 1, np.abs, lambda a: (apply("sign", a),), "ABS({0})", "abs({0})", 9, "a ≠ 0", True),
        Operation("sign", 1, np.sign, lambda a: (ZERO,), "SIGN({0})", "sign({0})", 9, "a ≠ 0", False),
        Operation("whole", 1, np.floor, lambda a: (ZERO,), "INT({0})", "whole({0})", 9, "a not whole", False),
        Operation(
            "larger",
            2,
            np.maximum,
            lambda a, b: (apply("if_less", a, b, 0, 1), apply("if_less", a, b, 1, 0)),
            "MAX({0},{1})",
            "larger({0}, {1})",
            9,
            "a ≠ b",
            False,
        ),
        Operation(
            "smaller",
            2,
            np.minimum,
            lambda a, b: (apply("if_less", a, b, 1, 0), apply("if_less", a, b, 0, 1)),
            "MIN({0},{1})",
            "smaller({0}, {1})",
            9,
            "a ≠ b",
            False,
        ),
        Operation(
            "if_less",
            4,
            lambda a, b, x, y: np.where(np.less(a, b), x, y),
            _p_if("if_less"),
            "IF({0}<{1},{2},{3})",
            "if({0} < {1}; {2}; {3})",
            9,
            "a ≠ b",
            False,
        ),
        Operation(
            "if_equal",
            4,
            lambda a, b, x, y: np.where(np.equal(a, b), x, y),
            _p_if("if_equal"),
            "IF({0}={1},{2},{3})",
            "if({0} = {1}; {2}; {3})",
            9,
            "a ≠ b",
            False,
        ),
        # Safe quotient of evaluated statistics: a divisor of zero (no reading left, no slope) gives 0 here and a
        # status beside it; no error value may spread through a sheet.
        Operation(
            "ratio_or_zero",
            2,
            _ratio_or_zero,
            lambda a, b: (apply("ratio_or_zero", 1, b), -apply("ratio_or_zero", a, b**2)),
            "IF({1}=0,0,{0}/{1})",
            "{0}/{1}",
            3,
            "b ≠ 0",
            False,
        ),
        Operation("student", 2, _student, None, "", "t({0}; {1})", 9, "0 < p < 1, nu ≥ 1", False),
        # Lower tail of Student's t; from LARGE_DOF on of the normal distribution. TDIST knows positive arguments alone.
        Operation(
            "student_lower",
            2,
            _student_lower,
            None,
            f"IF({{1}}>={LARGE_DOF},NORMSDIST({{0}}),IF({{0}}<0,TDIST(ABS({{0}}),{{1}},1),1-TDIST(ABS({{0}}),{{1}},1)))",
            "P(t < {0}; {1})",
            9,
            "nu ≥ 1",
            False,
        ),
        Operation("f_upper", 3, _f_upper, None, "FDIST({0},{1},{2})", "P(F > {0}; {1}, {2})", 9, "a ≥ 0", False),
        Operation("chi_upper", 2, _chi_upper, None, "CHIDIST({0},{1})", "P(χ² > {0}; {1})", 9, "a ≥ 0", False),
        Operation("round", 2, round_half_up, None, "ROUND({0},{1})", "round({0}; {1})", 9, "all", False),
        Operation(
            "add_all",
            None,
            _fold(np.add),
            lambda *a: (ONE,) * len(a),
            "SUM({all})",
            "sum({all})",
            9,
            "all",
            False,
        ),
        Operation(
            "sum_squares",
            None,
            _sum_squares,
            lambda *a: tuple(2 * x for x in a),
            "SUMSQ({all})",
            "sum of squares({all})",
            9,
            "all",
            False,
        ),
        Operation("largest_of", None, _fold(np.maximum), None, "MAX({all})", "largest({all})", 9, "all", False),
        # Over a span of rows of another table: the last axis of the array, padded with NaN beyond a span's end.
        Operation("total", 1, lambda a: np.nansum(a, axis=-1), None, "SUM({0})", "sum({0})", 9, "all", False, True),
        Operation(
            "total_product",
            2,
            lambda a, b: np.nansum(np.multiply(a, b), axis=-1),
            None,
            "SUMPRODUCT({0},{1})",
            "sum({0}·{1})",
            9,
            "all",
            False,
            True,
        ),
        Operation(
            "total_of", 1, lambda a: np.nansum(a, axis=-1), None, "SUMPRODUCT({0})", "sum({0})", 9, "all", False, True
        ),
        Operation(
            "total_where",
            3,
            lambda keys, key, values: np.nansum(np.where(keys == key, values, 0.0), axis=-1),
            None,
            "SUMIF({0},{1},{2})",
            "sum({2} where {0} = {1})",
            9,
            "all",
            False,
            True,
        ),
        # Change of a broken line from its first point to x: slopes times the part of each step that lies below x.
        Operation(
            "rise",
            4,
            lambda x, at, step, slope: np.nansum(slope * (np.abs(x - at) - np.abs(x - at - step) + step) / 2, axis=-1),
            None,
            "SUMPRODUCT({3},(ABS({0}-{1})-ABS({0}-{1}-{2})+{2})/2)",
            "sum({3}·part of {2} below {0})",
            9,
            "all",
            False,
            True,
        ),
        Operation("largest", 1, _extreme(np.fmax), None, "MAX({0})", "largest({0})", 9, "all", False, True),
        Operation("smallest", 1, _extreme(np.fmin), None, "MIN({0})", "smallest({0})", 9, "all", False, True),
    )
}

# Spelled with its switch to the normal quantile, which needs an argument twice.
TABLE["student"] = Operation(
    **{
        **TABLE["student"].__dict__,
        "cell": f"IF({{1}}>={LARGE_DOF},NORMSINV((1+{{0}})/2),TINV(1-{{0}},{{1}}))",
    }
)

for _row in TABLE.values():
    if not all((_row.cell, _row.words, _row.domain, _row.binding)):
        raise TypeError(f"operation {_row.name}: a rendering is missing")
    if _row.in_equations and _row.partials is None:
        raise TypeError(f"operation {_row.name}: allowed in equations but without partial derivatives")
