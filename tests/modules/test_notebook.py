"""Quantities composed by arithmetic in a notebook."""

from __future__ import annotations

import dataclasses
import math
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from uncertainties import correlation_matrix

from ubudget.errors import UbudgetError
from ubudget.evaluation.notebook import budget, exp, input_quantity, ln, log10, sqrt

c = input_quantity("c", 2.51, "mg/L", u=0.02, dof=9, source="invented")
V = input_quantity("V", 50, "mL", half_width=0.06, distribution="triangular")
m = input_quantity("m", 0.5012, "g", U=0.0004, k=2)


def test_a_product_of_quantities() -> None:
    """Relative uncertainties add in squares (GUM 5.1.6); c in mg/L times V in mL over m in g is in mg/kg."""
    found = budget(c * V / m, "mg/kg")
    relative = math.sqrt((0.02 / 2.51) ** 2 + (0.06 / math.sqrt(6) / 50) ** 2 + (0.0002 / 0.5012) ** 2)
    assert found.value == pytest.approx(2.51 * 50 / 0.5012, rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(found.value * relative, rel=1e-12)
    # GUM G.4.1: one term with 9 degrees of freedom.
    nu = 9 * (relative / (0.02 / 2.51)) ** 4
    assert found.effective_degrees_of_freedom == pytest.approx(nu, rel=1e-12)
    assert found.expanded_uncertainty == found.coverage_factor * found.standard_uncertainty
    assert [row.symbol for row in found.rows] == ["c", "V", "m"]
    assert sum(row.share for row in found.rows) == pytest.approx(1, abs=1e-12)
    assert found.rows[0].source == "invented"


@pytest.mark.parametrize(
    ("unit", "factor"), [("mg/kg", 1.0), ("%", 1e-4), ("g/kg", 1e-3), ("ug/g", 1.0), ("", 1e-6), (None, 1.0)]
)
def test_the_conversion_factor_is_applied_and_shown(unit: str | None, factor: float) -> None:
    found = budget(c * V / m, unit)
    assert found.conversion_factor == factor
    assert found.value == pytest.approx(2.51 * 50 / 0.5012 * factor, rel=1e-12)
    assert ("conversion factor" in str(found)) == (factor != 1)


@pytest.mark.parametrize(
    ("make", "unit"),
    [
        (lambda: c * 2, "mg/L"),
        (lambda: c * V, "(mg/L)*mL"),
        (lambda: c / c * m, "g"),
        (lambda: m / (c * V), "g/((mg/L)*mL)"),
        (lambda: 1 / V, "1/mL"),
        (lambda: m**2, "g^2"),
        (lambda: sqrt(m * m), "g"),
        (lambda: -(m + m), "g"),
        (lambda: exp(m / m), "1"),
    ],
)
def test_without_unit_the_result_has_that_of_the_equation(make: Callable[[], Any], unit: str) -> None:
    found = budget(make())
    assert found.unit == unit
    assert found.conversion_factor == 1


def test_functions_of_plain_numbers() -> None:
    """Derivatives from any table: 1/(2 sqrt x), exp x, 1/x, 1/(x ln 10)."""
    x = input_quantity("x", 2.0, u=0.1)
    slopes = {sqrt: 0.5 / math.sqrt(2), exp: math.exp(2), ln: 0.5, log10: 0.5 / math.log(10)}
    for function, slope in slopes.items():
        assert budget(function(x)).standard_uncertainty == pytest.approx(0.1 * slope, rel=1e-12)


def test_one_object_is_one_deviation_and_two_objects_are_two() -> None:
    first, second = input_quantity("x", 3, u=0.1), input_quantity("x", 3, u=0.1)
    assert budget(first - first + 1).standard_uncertainty == 0
    assert budget(first * first).standard_uncertainty == pytest.approx(6 * 0.1, rel=1e-12)
    difference = budget(first - second)
    assert difference.standard_uncertainty == pytest.approx(0.1 * math.sqrt(2), rel=1e-12)
    assert [row.symbol for row in difference.rows] == ["x", "x (2)"]


def test_budgets_that_share_a_quantity_are_correlated() -> None:
    """GUM F.1.2.3: cov = product of the contributions of what is shared."""
    a, b, s = input_quantity("a", 1, u=0.3), input_quantity("b", 2, u=0.4), input_quantity("s", 5, u=0.5)
    first, second = budget(a + s), budget(b + 2 * s)
    found = correlation_matrix([first.as_ufloat(), second.as_ufloat()])[0][1]
    assert found == pytest.approx(0.5 * 1.0 / math.sqrt((0.09 + 0.25) * (0.16 + 1.0)), rel=1e-12)
    assert (first.as_ufloat() - first.as_ufloat()).std_dev == 0
    assert first.as_ufloat().nominal_value == first.value


# --- Declared correlations ---


@pytest.mark.parametrize(("r", "printed"), [(1.0, "1.00"), (0.0, "0.32")])
def test_ten_resistors_calibrated_against_one(r: float, printed: str) -> None:
    """GUM 5.2.2, example (from memory): ten of 1000 ohm, u = 0.1 ohm each; 1 ohm with r = 1, 0.32 ohm without."""
    ten = [input_quantity(f"R{place}", 1000, "ohm", u=0.1) for place in range(10)]
    pairs = {(ten[i], ten[j]): r for i in range(10) for j in range(i)}
    total = sum(ten[1:], start=ten[0] + 0 * ten[0])
    found = budget(total, "ohm", correlations=pairs)
    assert f"{found.standard_uncertainty:.2f}" == printed
    assert found.as_ufloat().std_dev == pytest.approx(found.standard_uncertainty, rel=1e-9)


def test_impedance_of_the_guide() -> None:
    """GUM H.2 (data from memory): Z = V/I from five simultaneous readings, 254.260 ohm with u = 0.236 ohm."""
    volts = [5.007, 4.994, 5.005, 4.990, 4.999]
    milliamperes = [19.663, 19.639, 19.640, 19.685, 19.678]
    r = float(np.corrcoef(volts, milliamperes)[0, 1])
    assert f"{r:.2f}" == "-0.36"
    U, current = input_quantity("U", unit="V", readings=volts), input_quantity("I", unit="mA", readings=milliamperes)
    found = budget(U / current, "ohm", correlations={("U", "I"): r})
    assert f"{found.value:.2f}" == "254.26"
    assert f"{found.standard_uncertainty:.3f}" == "0.236"
    assert found.conversion_factor == 1000
    assert found.as_ufloat().std_dev == pytest.approx(found.standard_uncertainty, rel=1e-12)
    (row,) = [row for row in found.rows if row.symbol == "cov(U, I)"]
    assert row.sensitivity_coefficient is None and row.standard_uncertainty is None


def test_results_with_the_same_declared_correlation_are_exactly_correlated() -> None:
    a, b = input_quantity("a", 1, u=0.3), input_quantity("b", 2, u=0.4)
    total = budget(a + b, correlations={(a, b): -0.6}).as_ufloat()
    difference = budget(a - b, correlations={("b", "a"): -0.6}).as_ufloat()
    # (a + b) + (a - b) = 2 a
    assert (total + difference).std_dev == pytest.approx(0.6, rel=1e-12)
    assert (total - difference).std_dev == pytest.approx(0.8, rel=1e-12)


# --- What is shown ---


def test_the_table_holds_what_a_reader_looks_for() -> None:
    text = str(budget(c * V / m, "mg/kg", k=2))
    lines = text.splitlines()
    assert lines[0] == "c·V/m"
    assert lines[-1].startswith("(250.4 ± 4.0) mg/kg") or "(250.4 ± 4.0) mg/kg" in lines
    assert len({len(line) for line in lines if set(line) == {"-"}}) == 1
    for word in ("triangular", "mg/L", "share", "∞"):
        assert word in text


def test_html_is_small_and_escaped() -> None:
    primed = input_quantity("m'", 1.5, "g", u=0.1)
    html = budget(primed * 2)._repr_html_()
    assert "m&#x27;" in html and "m'" not in html
    assert len(html) < 2_000
    assert html.count("<tr>") == html.count("</tr>") == 2


def test_a_budget_does_not_change() -> None:
    found = budget(c * V)
    with pytest.raises(dataclasses.FrozenInstanceError):
        found.equation = "d"  # type: ignore[misc]  # the test is that this fails
    with pytest.raises(AttributeError):
        found.value = 1.0  # type: ignore[misc]  # likewise
    with pytest.raises(dataclasses.FrozenInstanceError):
        c.name = "d"  # type: ignore[misc]  # likewise


# --- What is refused ---

REFUSED: dict[str, Callable[[], object]] = {
    "a name that is no symbol": lambda: input_quantity("<b>", 1, u=0.1),
    "no value": lambda: input_quantity("x", u=0.1),
    "value and readings": lambda: input_quantity("x", 1, readings=[1, 2]),
    "two statements": lambda: input_quantity("x", 1, u=0.1, U=0.2, k=2),
    "U without k": lambda: input_quantity("x", 1, U=0.2),
    "half-width without distribution": lambda: input_quantity("x", 1, half_width=0.2),
    "unknown distribution": lambda: input_quantity("x", 1, half_width=0.2, distribution="bell"),  # type: ignore[arg-type]  # refused
    "negative u": lambda: input_quantity("x", 1, u=-0.1),
    "zero degrees of freedom": lambda: input_quantity("x", 1, u=0.1, dof=0),
    "value that is no number": lambda: input_quantity("x", math.nan, u=0.1),
    "infinite u": lambda: input_quantity("x", 1, u=math.inf),
    "unknown unit": lambda: input_quantity("x", 1, "blorg", u=0.1),
    "figure in another dimension": lambda: input_quantity("x", 1, "g", u="0.1 mL"),
    "one reading": lambda: input_quantity("x", readings=[1.0]),
    "unlike terms": lambda: budget(c + V),
    "terms of different size": lambda: budget(V + input_quantity("W", 1, "L", u=0.1)),
    "unit that does not fit": lambda: budget(c * V / m, "mL"),
    "unit that is none": lambda: budget(c, "blorg"),
    "exponential of a mass": lambda: budget(exp(m)),
    "value out of the domain": lambda: budget(ln(input_quantity("x", -1, u=0.1))),
    "quotient by zero": lambda: budget(1 / input_quantity("x", 0, u=0.1)),
    "coefficient above one": lambda: budget(c * V, correlations={("c", "V"): 1.1}),
    "correlation with itself": lambda: budget(c * V, correlations={("c", "c"): 0.5}),
    "correlation with a stranger": lambda: budget(c * V, correlations={("c", "z"): 0.5}),
    "one correlation twice": lambda: budget(c * V, correlations={("c", "V"): 0.5, ("V", "c"): 0.4}),
    "correlations that contradict each other": lambda: budget(
        c * V * m, correlations={("c", "V"): 0.9, ("V", "m"): 0.9, ("c", "m"): -0.9}
    ),
    "k of zero": lambda: budget(c, k=0),
    "probability of one": lambda: budget(c, probability=1),
    "no quantity": lambda: budget(sqrt(2)),
}


@pytest.mark.parametrize("make", REFUSED.values(), ids=REFUSED.keys())
def test_what_cannot_be_is_refused_in_one_line(make: Callable[[], object]) -> None:
    with pytest.raises(UbudgetError) as refusal:
        make()
    assert "accepted" in str(refusal.value)
    assert "\n" not in str(refusal.value)


@pytest.mark.parametrize("how", ["sum", "squares"])
def test_an_equation_beyond_all_measure_is_refused_at_once(how: str) -> None:
    equation: Any = c / c
    for _ in range(2_000 if how == "sum" else 60):
        equation = equation + 1 if how == "sum" else equation * equation
    start = time.perf_counter()
    with pytest.raises(UbudgetError):
        budget(equation)
    assert time.perf_counter() - start < 1


def test_a_sum_of_two_hundred_quantities() -> None:
    """n equal independent terms: u·sqrt(n) (GUM 5.1.2)."""
    parts = [input_quantity(f"x{place}", 1, "mg", u=0.1) for place in range(200)]
    total: Any = parts[0]
    for part in parts[1:]:
        total = total + part
    assert budget(total).standard_uncertainty == pytest.approx(0.1 * math.sqrt(200), rel=1e-12)
