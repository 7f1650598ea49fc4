"""Every row of the operation table: numbers, partial derivatives, both spellings."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from tests.engines import ironcalc_values, require_engine
from tests.operations.points import COMPLEX, OVER_SPANS, PLAIN, POINTS
from tests.safe_formulas import assert_safe_formulas
from ubudget.quantity.derivative import NoDerivative, derivative
from ubudget.quantity.expression import Apply, Expression, Number, Symbol, apply
from ubudget.quantity.numbers import evaluate
from ubudget.quantity.operations import TABLE
from ubudget.quantity.parsing import parse
from ubudget.quantity.spelling import cell_text, number_text, readable_text

CASES = [(name, point) for name, points in POINTS.items() for point in points]
ALONE = [case for case in CASES if case[0] not in OVER_SPANS]
NAMES = "abxyzw"


def applied(name: str, count: int) -> Apply:
    return Apply(name, tuple(Symbol(letter) for letter in NAMES[:count]))


def numbers(expression: Expression, point: tuple[float, ...]) -> float:
    return float(evaluate(expression, dict(zip(NAMES, point, strict=False)).__getitem__))


def test_every_row_has_points() -> None:
    assert POINTS.keys() == TABLE.keys() == PLAIN.keys()


@pytest.mark.parametrize(("name", "point"), CASES)
def test_numbers_are_those_of_plain_arithmetic(name: str, point: tuple[float, ...]) -> None:
    if name in OVER_SPANS:
        # A span is the last axis, padded with NaN beyond its end.
        ranges = [np.append(part, np.nan) for part in np.split(np.array(point), OVER_SPANS[name])]
        found = float(TABLE[name].numbers(*ranges))
    else:
        found = numbers(applied(name, len(point)), point)
    assert found == pytest.approx(PLAIN[name](*point), rel=1e-12, abs=1e-300)


@pytest.mark.parametrize(("name", "point"), [case for case in ALONE if TABLE[case[0]].partials])
def test_partials_equal_the_slope_of_the_operation(name: str, point: tuple[float, ...]) -> None:
    expression = applied(name, len(point))
    for place, value in enumerate(point):
        if name == "power" and place == 1 and point[0] < 0:
            continue  # of a negative base only whole powers exist: there is no slope in the exponent
        if name in ("if_less", "if_equal") and place < 2:
            expected = 0.0  # away from the border the choice does not change
        elif name in COMPLEX:
            step = 1e-30
            moved = [complex(x, step if other == place else 0.0) for other, x in enumerate(point)]
            expected = COMPLEX[name](*moved).imag / step
        else:
            step = 2.0**-20
            up, down = ([x + sign * step * (o == place) for o, x in enumerate(point)] for sign in (1, -1))
            expected = (PLAIN[name](*up) - PLAIN[name](*down)) / (2 * step)
        found = numbers(derivative(expression, NAMES[place]), point)
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-12 * max(1.0, abs(value))), NAMES[place]


@pytest.mark.parametrize("name", [name for name, row in TABLE.items() if row.partials is None])
def test_a_row_without_partials_says_so(name: str) -> None:
    with pytest.raises(NoDerivative):
        derivative(applied(name, TABLE[name].arity or 2), "a")


@pytest.mark.parametrize(("name", "point"), [case for case in ALONE if TABLE[case[0]].in_equations])
def test_readable_spelling_reads_back_as_the_same_numbers(name: str, point: tuple[float, ...]) -> None:
    with_symbols = applied(name, len(point))
    with_numbers = Apply(name, tuple(Number(value) for value in point))
    for expression in (with_symbols, with_numbers):
        again = parse(readable_text(expression))
        assert numbers(again, point) == pytest.approx(PLAIN[name](*point), rel=1e-15)
    put_in = readable_text(with_symbols, {n: number_text(v) for n, v in zip(NAMES, point, strict=False)})
    assert numbers(parse(put_in), ()) == pytest.approx(PLAIN[name](*point), rel=1e-15)


def nested() -> list[tuple[Expression, tuple[float, ...]]]:
    """Signs, powers and the order of operations, where cells and arithmetic part ways: -2^2 is 4 in a cell."""
    a, b, x = (Symbol(letter) for letter in "abx")
    return [
        (expression, point)
        for point in ((2.0, 3.0, 0.5), (-2.0, 3.0, -1.5), (-0.25, 2.0, 4.0))
        for expression in (
            -(a**2),
            (-a) ** 2,
            Apply("negate", (Apply("negate", (-a,)),)),
            a - (b - x),
            a - b - x,
            a / (b / x),
            a / b / x,
            a / (b * x),
            -a * -b,
            -(a + b) * x,
            a - -b,
            a**2**1,
            (a**2) ** b,
            a ** (b - 1),
            a**-2 * b,
            (a + b) * (a - b) / -x,
            -((a / b) ** 2),
            Number(-2) ** 2,
            Number(-2.5) * a - Number(-1e-7),
            Number(1e22) * a,
            a + (b + x),
            a * (b * x),
            a - Number(-3),
            a ** Number(-3),
            Apply("abs", (-a,)) - Apply("exp", (-b,)),
            Apply("ratio_or_zero", (a - b, x)) * 2,
            2 / Apply("ratio_or_zero", (a, b)),
            Apply("if_less", (a, -b, -x, a - b)) ** 2,
        )
    ]


def operations_of(expression: Expression) -> set[str]:
    if not isinstance(expression, Apply):
        return set()
    return {expression.operation}.union(*(operations_of(argument) for argument in expression.arguments))


def test_nested_spellings_read_back_as_the_same_numbers() -> None:
    for expression, point in nested():
        if all(TABLE[name].in_equations for name in operations_of(expression)):
            text = readable_text(expression)
            assert numbers(parse(text), point) == pytest.approx(numbers(expression, point), rel=1e-15), text


def test_cells_calculate_what_the_library_calculates(tmp_path: Path) -> None:
    """Each formula in ironcalc, an engine that shares nothing with numpy, with its arguments in cells."""
    require_engine("ironcalc")
    rows: list[tuple[Expression, tuple[float, ...], float]] = [
        (applied(name, len(point)), point, PLAIN[name](*point)) for name, point in ALONE
    ]
    rows += [
        (Apply(name, tuple(Number(value) for value in point)), point, PLAIN[name](*point)) for name, point in ALONE
    ]
    rows += [(expression, point, numbers(expression, point)) for expression, point in nested()]
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for line, (expression, point, _) in enumerate(rows, start=1):
        for column, value in enumerate(point, start=2):
            sheet.cell(line, column, value)
        cells = {letter: f"{chr(66 + place)}{line}" for place, letter in enumerate(NAMES)}
        sheet.cell(line, 1, "=" + cell_text(expression, cells.__getitem__))
    for line, (name, point) in enumerate((c for c in CASES if c[0] in OVER_SPANS), start=len(rows) + 1):
        for column, value in enumerate(point, start=2):
            sheet.cell(line, column, value)
        width = len(point) // OVER_SPANS[name]
        spans = {
            letter: f"{chr(66 + place * width)}{line}:{chr(65 + (place + 1) * width)}{line}"
            for place, letter in enumerate(NAMES[: OVER_SPANS[name]])
        }
        formula = "=" + cell_text(applied(name, OVER_SPANS[name]), spans.__getitem__)
        sheet.cell(line, 1, formula)
    path = tmp_path / "operations.xlsx"
    book.save(path)
    assert_safe_formulas(path)
    (found,) = ironcalc_values([path])
    wanted = [value for *_, value in rows] + [PLAIN[n](*p) for n, p in CASES if n in OVER_SPANS]
    for line, value in enumerate(wanted, start=1):
        cell = found[sheet.title][f"A{line}"]
        formula = str(sheet.cell(line, 1).value)
        assert isinstance(cell, int | float), f"{formula}: {cell}"
        digits = 1e-9 if any(name in formula for name in ("TINV", "TDIST", "NORMSDIST")) else 1e-12
        assert math.isclose(cell, value, rel_tol=digits, abs_tol=1e-300), f"{formula}: {cell}, not {value}"


def test_an_argument_within_a_sum_is_bracketed() -> None:
    """TINV(1-(a-b),…): without brackets b would count with the wrong sign."""
    p = Symbol("A1") - Symbol("B1")
    spelled = cell_text(apply("student", p, Symbol("C1")), str)
    assert "1-(A1-B1)" in spelled and "(1+(A1-B1))" in spelled
