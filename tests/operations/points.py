"""For every operation of the table: points inside its domain, and the operation anew in plain Python.

The second calculation is ours only in the sense of school arithmetic (`math`); the table's own numpy functions
take no part in it.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable
from typing import Any

Point = tuple[float, ...]

POINTS: dict[str, list[Point]] = {
    "add": [(1.5, 2.25), (-3.0, 0.125), (-1e-3, -4e3)],
    "subtract": [(1.5, 2.25), (-3.0, -0.125), (2.0, 2.0)],
    "multiply": [(1.5, -2.25), (-3.0, -0.125), (0.0, 4.0)],
    "divide": [(1.5, -2.25), (-3.0, 0.125), (7.0, 3.0), (0.0, -2.0)],
    "power": [(2.0, 3.0), (2.5, 0.5), (0.3, -1.7), (-2.0, 2.0), (-2.0, 3.0), (-0.5, -2.0)],
    "negate": [(2.5,), (-3.75,)],
    "sqrt": [(2.0,), (1e-6,), (1e8,)],
    "exp": [(0.5,), (-3.0,), (12.0,)],
    "ln": [(2.0,), (1e-5,), (3e7,)],
    "log10": [(2.0,), (1e-5,), (1000.0,)],
    "abs": [(2.5,), (-2.5,)],
    "sign": [(2.5,), (-0.001,)],
    "whole": [(2.7,), (-2.7,), (0.3,)],
    "larger": [(2.0, 3.0), (-2.0, -3.0), (1.0, -1.0)],
    "smaller": [(2.0, 3.0), (-2.0, -3.0), (1.0, -1.0)],
    "if_less": [(1.0, 2.0, -5.0, 7.0), (2.0, 1.0, 5.0, -7.0), (-2.0, -1.0, 3.0, 4.0)],
    "if_equal": [(1.0, 2.0, -5.0, 7.0), (2.0, 2.0, 5.0, -7.0), (-2.0, -1.0, 3.0, 4.0)],
    "ratio_or_zero": [(1.5, -2.5), (-3.0, 0.25), (0.0, 2.0)],
    "student": [(0.95, 1.0), (0.9545, 9.0), (0.99, 30.0), (0.95, 20_000.0)],
    "student_lower": [(1.5, 4.0), (-2.25, 9.0), (-1.4, 20_000.0), (0.3, 1.0)],
    "round": [(2.5, 0.0), (-2.5, 0.0), (1234.5, -2.0), (0.125, 2.0), (-1.005, 2.0)],
    "add_all": [(1.5, -2.0, 4.25), (3.0,)],
    "sum_squares": [(1.5, -2.0, 4.25), (-3.0,)],
    "largest_of": [(1.5, -2.0, 4.25), (-3.0,)],
    "total": [(1.5, -2.0, 4.25), (3.0,)],
    "total_product": [(1.5, -2.0, 4.25, 2.0, -1.0, 0.5)],
    "chi_upper": [(3.0, 2.0), (0.5, 2.0)],
    "f_upper": [(3.0, 2.0, 10.0), (0.5, 2.0, 4.0)],
    "total_of": [(1.5, -2.0, 4.25), (3.0,)],
    "total_where": [(2.0, 2.0, 4.25), (3.0, 2.0, 4.25)],
    "rise": [(2.5, 1.0, 4.0, 0.25), (-2.5, 1.0, 4.0, 0.25), (7.0, 1.0, 4.0, -0.5)],
    "largest": [(1.5, -2.0, 4.25), (-3.0, -2.0)],
    "smallest": [(1.5, -2.0, 4.25), (3.0, 2.0)],
}

OVER_SPANS = {"total": 1, "total_product": 2, "total_of": 1, "total_where": 3, "rise": 4, "largest": 1, "smallest": 1}
"""Operations whose arguments are ranges of cells: number of ranges."""


def _half_away(x: float, places: float) -> float:
    scaled = round(abs(x) * 10**places, 9)
    return math.copysign(math.floor(scaled + 0.5) / 10**places, x)


def _student(p: float, nu: float) -> float:
    """Quantile by bisection on the distribution function, which is a finite sum for whole nu (Abramowitz and
    Stegun 26.7.3 and 26.7.4); the normal one at large nu."""
    if nu >= 10_000:
        from statistics import NormalDist

        return NormalDist().inv_cdf((1 + p) / 2)
    low, high = 0.0, 1e4
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if _within(middle, int(nu)) < p else (low, middle)
    return (low + high) / 2


def _student_lower(t: float, nu: float) -> float:
    if nu >= 10_000:
        return math.erfc(-t / math.sqrt(2)) / 2
    return (1 + _within(t, int(nu))) / 2


def _within(t: float, nu: int) -> float:
    theta = math.atan(t / math.sqrt(nu))
    cosine, sine = math.cos(theta), math.sin(theta)
    if nu % 2:
        term, total = cosine, 0.0
        for j in range(1, (nu - 1) // 2 + 1):
            total += term
            term *= cosine**2 * 2 * j / (2 * j + 1)
        return 2 / math.pi * (theta + sine * total)
    term, total = 1.0, 0.0
    for j in range(1, nu // 2 + 1):
        total += term
        term *= cosine**2 * (2 * j - 1) / (2 * j)
    return sine * total


PLAIN: dict[str, Callable[..., float]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": lambda a, b: a / b,
    "power": lambda a, b: a**b,
    "negate": lambda a: -a,
    "sqrt": math.sqrt,
    "exp": math.exp,
    "ln": math.log,
    "log10": math.log10,
    "abs": abs,
    "sign": lambda a: math.copysign(1.0, a),
    "whole": math.floor,
    "larger": max,
    "smaller": min,
    "if_less": lambda a, b, x, y: x if a < b else y,
    "if_equal": lambda a, b, x, y: x if a == b else y,
    "ratio_or_zero": lambda a, b: a / b if b else 0.0,
    "student": _student,
    "student_lower": _student_lower,
    "round": _half_away,
    "add_all": lambda *values: math.fsum(values),
    "sum_squares": lambda *values: math.fsum(value * value for value in values),
    "total": lambda *values: math.fsum(values),
    # With two degrees of freedom above, the tail has a closed form (from the definition of the F distribution).
    "chi_upper": lambda chi, two: math.exp(-chi / two),
    "f_upper": lambda f, above, below: (1 + above * f / below) ** (-below / 2),
    "largest_of": lambda *values: max(values),
    "total_of": lambda *values: math.fsum(values),
    "total_where": lambda key, wanted, value: value if key == wanted else 0.0,
    "rise": lambda x, at, step, slope: slope * min(max(x - at, 0.0), step),
    "total_product": lambda *values: math.fsum(
        a * b for a, b in zip(values[: len(values) // 2], values[len(values) // 2 :], strict=True)
    ),
    "largest": max,
    "smallest": min,
}

COMPLEX: dict[str, Callable[..., Any]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": lambda a, b: a / b,
    "power": lambda a, b: a**b,
    "negate": lambda a: -a,
    "sqrt": cmath.sqrt,
    "exp": cmath.exp,
    "ln": cmath.log,
    "log10": cmath.log10,
    "ratio_or_zero": lambda a, b: a / b,
    "add_all": lambda *values: sum(values),
    "sum_squares": lambda *values: sum(value * value for value in values),
}
"""Analytic operations, for derivatives by a complex step: f'(x) = Im f(x + ih)/h, exact to rounding."""
