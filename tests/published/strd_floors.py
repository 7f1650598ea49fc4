"""What perfect arithmetic would make of the StRD sets once their decimal inputs are stored as doubles.

No program that takes doubles can come nearer to the certified values than this, however well it computes. Written in
fractions and 60-digit decimals, apart from the library.
"""

from collections.abc import Sequence
from decimal import Decimal, localcontext
from fractions import Fraction
from itertools import pairwise
from typing import Any

from tests.published.strd_models import DECIMALS, Model

DIGITS = 60


def _decimal(exact: Fraction) -> Decimal:
    return Decimal(exact.numerator) / Decimal(exact.denominator)


def _inverse(matrix: list[list[Any]]) -> list[list[Any]]:
    """By Gauss-Jordan elimination; exact for fractions, good to the context's digits for decimals."""
    count = len(matrix)
    one, zero = matrix[0][0] / matrix[0][0], matrix[0][0] - matrix[0][0]
    rows = [[*row, *(one if i == j else zero for j in range(count))] for i, row in enumerate(matrix)]
    for column in range(count):
        pivot = max(range(column, count), key=lambda row: abs(rows[row][column]))
        rows[column], rows[pivot] = rows[pivot], rows[column]
        rows[column] = [entry / rows[column][column] for entry in rows[column]]
        for row in range(count):
            if row != column:
                factor = rows[row][column]
                rows[row] = [a - factor * b for a, b in zip(rows[row], rows[column], strict=True)]
    return [row[count:] for row in rows]


def _normal(rows: Sequence[Sequence[Any]], y: Sequence[Any]) -> tuple[list[list[Any]], list[Any]]:
    columns = list(zip(*rows, strict=True))
    matrix = [[sum(a * b for a, b in zip(u, v, strict=True)) for v in columns] for u in columns]
    return matrix, [sum(a * b for a, b in zip(u, y, strict=True)) for u in columns]


def _solve(rows: Sequence[Sequence[Any]], y: Sequence[Any]) -> tuple[list[Any], list[list[Any]]]:
    matrix, right = _normal(rows, y)
    inverse = _inverse(matrix)
    return [sum(a * b for a, b in zip(row, right, strict=True)) for row in inverse], inverse


def linear(rows: list[list[float]], y: list[float]) -> tuple[list[Decimal], list[Decimal], Decimal]:
    """Parameters, their standard deviations and the residual standard deviation of the doubles given."""
    with localcontext(prec=DIGITS):
        design = [[Fraction(entry) for entry in row] for row in rows]
        observed = [Fraction(value) for value in y]
        b, inverse = _solve(design, observed)
        residuals = [
            v - sum(a * c for a, c in zip(row, b, strict=True)) for row, v in zip(design, observed, strict=True)
        ]
        variance = sum(r * r for r in residuals) / (len(y) - len(b))
        sds = [_decimal(inverse[j][j] * variance).sqrt() for j in range(len(b))]
        return [_decimal(value) for value in b], sds, _decimal(Fraction(variance)).sqrt()


def nonlinear(
    model: Model, x: list[float], y: list[float], certified: list[str]
) -> tuple[list[Decimal], list[Decimal], Decimal]:
    """As `linear`, by Gauss-Newton steps from the certified values until they no longer count."""
    with localcontext(prec=DIGITS):
        p = [Decimal(value) for value in certified]
        points, observed = [Decimal(value) for value in x], [Decimal(value) for value in y]
        for _ in range(60):
            values = [model(DECIMALS, point, *p) for point in points]
            residuals = [v - value for v, (value, _) in zip(observed, values, strict=True)]
            step, inverse = _solve([list(slopes) for _, slopes in values], residuals)
            p = [a + b for a, b in zip(p, step, strict=True)]
            if all(abs(b) <= abs(a) * Decimal("1e-20") for a, b in zip(p, step, strict=True)):
                break
        variance = sum((r * r for r in residuals), Decimal(0)) / (len(y) - len(p))
        return p, [(inverse[j][j] * variance).sqrt() for j in range(len(p))], variance.sqrt()


def univariate(y: list[float]) -> tuple[Decimal, Decimal, Decimal]:
    """Mean, standard deviation and lag-1 autocorrelation of the doubles given."""
    with localcontext(prec=DIGITS):
        values = [Fraction(value) for value in y]
        mean = sum(values, Fraction(0)) / len(values)
        deviations = [value - mean for value in values]
        squares = sum((d * d for d in deviations), Fraction(0))
        neighbours = sum((a * b for a, b in pairwise(deviations)), Fraction(0))
        sd = _decimal(squares / (len(y) - 1)).sqrt()
        return _decimal(mean), sd, _decimal(neighbours / squares)
