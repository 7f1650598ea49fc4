"""Units: exact factors, and equations whose dimensions fit. Factors are those of the SI Brochure, 9th edition."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ubudget.quantity.parsing import parse
from ubudget.quantity.units import UnitError, convert, dimension, equation_dimension, factor, per, same_dimension


@pytest.mark.parametrize(
    ("value", "source", "target", "expected"),
    [
        (0.0001, "g", "mg", 0.1),
        (0.1, "mg", "kg", 1e-7),
        (1, "mg/L", "ug/mL", 1),
        (1, "mg/kg", "ug/g", 1),
        (1, "mg/kg", "%", 1e-4),
        (2.5, "%", "", 0.025),
        (1, "mL", "L", 1e-3),
        (1, "dm^3", "L", 1),
        (1, "cm^3", "mL", 1),
        (0.3, "mm", "um", 300),
        (4, "K", "°C", 4),
        (2.1e-4, "1/K", "1/°C", 2.1e-4),
        (1, "mol/L", "mmol/mL", 1),
        (60, "1/min", "1/s", 1),
        (1, "µg/L", "ng/mL", 1),
        (5, "1", "", 5),
    ],
)
def test_conversions_are_exact(value: float, source: str, target: str, expected: float) -> None:
    assert convert(value, source, target) == expected


def test_factors_are_fractions() -> None:
    assert factor("mg/L", "kg/m^3") == Fraction(1, 1000)
    assert factor("in", "mm") == Fraction(254, 10)


@pytest.mark.parametrize(
    "unit",
    [
        "furlongs per",
        "mg//L",
        "mg/",
        "(mg",
        "m**m",
        "m^999999999",
        "2**2**99",
        "__import__('os')",
        "mg;L",
        "=A1",
    ],
)
def test_text_that_is_no_unit_is_refused(unit: str) -> None:
    with pytest.raises(UnitError) as refusal:
        dimension(unit)
    assert refusal.value.found and refusal.value.accepted


@pytest.mark.parametrize(("a", "b"), [("mg", "mL"), ("mg/L", "mg/kg"), ("K", ""), ("1/s", "s")])
def test_unlike_units_do_not_convert(a: str, b: str) -> None:
    assert not same_dimension(a, b)
    with pytest.raises(UnitError):
        convert(1.0, a, b)


UNITS = {"c": "mg/L", "V": "mL", "m": "g", "T": "K", "a": "1/K", "x": "", "p": "%", "A": "m^2"}


@pytest.mark.parametrize(
    ("equation", "unit", "expected"),
    [
        ("c*V/m", "mg/kg", Fraction(1)),  # mg/L · mL/g = 1e-3 mg/g = mg/kg
        ("c*V/m", "%", Fraction(1, 10_000)),
        ("c*V*(1 + a*T)", "ug", Fraction(1)),  # mg/L · mL = 1e-3 mg
        ("V^2/V", "L", Fraction(1, 1000)),
        ("sqrt(A)", "mm", Fraction(1000)),
        ("m/(m + m)*exp(x)*ln(1+x)", "", Fraction(1)),
        ("p*m", "mg", Fraction(10)),
        ("-m + 0", "g", Fraction(1)),
    ],
)
def test_dimension_and_factor_of_an_equation(equation: str, unit: str, expected: Fraction) -> None:
    found, wanted = equation_dimension(parse(equation), UNITS.__getitem__), dimension(unit)
    assert found.powers == wanted.powers
    assert found.factor / wanted.factor == expected


@pytest.mark.parametrize(
    "equation", ["c + V", "m + 1", "exp(T)", "ln(m)", "m^x", "x^m", "sqrt(m)*2 + V", "1 + p", "2^T", "V^0.5"]
)
def test_equations_that_do_not_fit_are_refused(equation: str) -> None:
    with pytest.raises(UnitError):
        equation_dimension(parse(equation), UNITS.__getitem__)


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.text(alphabet="mgLkK%12-9*/^().·µ°C s", max_size=12))
def test_any_text_is_a_unit_or_refused(text: str) -> None:
    try:
        found = dimension(text)
    except UnitError as error:
        assert error.found and error.accepted
    else:
        assert found.factor > 0


@pytest.mark.parametrize(
    ("above", "below", "written"),
    [
        ("mg/kg", "mL", "(mg/kg)/mL"),
        ("mg/kg", "", "mg/kg"),
        ("g", "g", "1"),
        ("", "K", "1/K"),
        ("K", "degC", "K/degC"),
        ("1/s", "mg/L", "(1/s)/(mg/L)"),
        ("mg/kg", "%", "(mg/kg)/%"),
    ],
)
def test_the_unit_of_a_ratio_is_written_as_a_reader_would(above: str, below: str, written: str) -> None:
    assert per(above, below) == written


@pytest.mark.parametrize("above", ["", "mg/kg", "1/s", "nm"])
@pytest.mark.parametrize("below", ["", "mL", "mg/L", "1/K", "dm^2", "(1/s)/(mg/L)"])
def test_the_unit_of_a_ratio_has_the_dimension_of_the_ratio(above: str, below: str) -> None:
    # The package pint divides the magnitudes; the written unit must mean the same.
    written, top, bottom = dimension(per(above, below)), dimension(above), dimension(below)
    assert written.factor == top.factor / bottom.factor
    powers = dict(top.powers)
    for base, exponent in bottom.powers:
        powers[base] = powers.get(base, Fraction(0)) - exponent
    assert dict(written.powers) == {base: exponent for base, exponent in powers.items() if exponent}
