"""Rounding as in spreadsheets: half away from zero on 15 significant digits."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Context, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ubudget.quantity.rounding import round_half_up, to_digits


def by_decimal(x: float, places: int) -> float:
    """The same by the decimal module of Python: first 15 digits, then half away from zero."""
    fifteen = Context(prec=15, rounding=ROUND_HALF_UP).create_decimal(Decimal(repr(x)))
    return float(fifteen.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP, context=Context(prec=60)))


@pytest.mark.parametrize(
    ("x", "places", "expected"),
    [
        (0.5, 0, 1.0),
        (-0.5, 0, -1.0),
        (2.5, 0, 3.0),
        (-2.5, 0, -3.0),
        (1.005, 2, 1.01),  # in binary 1.00499999999999989
        (-1.005, 2, -1.01),
        (2.675, 2, 2.68),  # in binary 2.67499999999999982
        (1.45, 1, 1.5),
        (8.475, 2, 8.48),
        (150.0, -2, 200.0),
        (-1250.0, -2, -1300.0),
        (0.49999999999999994, 0, 1.0),  # a half on 15 digits
        (0.4999999999, 0, 0.0),
        (1e-9, 3, 0.0),
        (123456789012345.0, 0, 123456789012345.0),
        (0.0, 3, 0.0),
    ],
)
def test_ties_of_fifteen_digits_go_away_from_zero(x: float, places: int, expected: float) -> None:
    """Common practice of spreadsheets, no source; expected figures by decimal arithmetic on paper."""
    assert float(round_half_up(x, places)) == expected


@given(st.decimals(min_value=-100_000, max_value=100_000, places=6), st.integers(-3, 5))
def test_rounding_equals_decimal_arithmetic(x: Decimal, places: int) -> None:
    found = float(round_half_up(float(x), places))
    assert found == pytest.approx(by_decimal(float(x), places), rel=1e-15, abs=0)


@given(st.integers(-(10**15) + 1, 10**15 - 1), st.integers(-8, 8))
def test_a_number_of_fifteen_digits_stays_as_it_is(digits: int, exponent: int) -> None:
    """From 1e-8 upwards, where the powers of ten that take part are exact in binary."""
    x = float(f"{digits}e{exponent}")
    assert float(to_digits(x)) == x


@given(st.floats(1e-250, 1e250), st.sampled_from([1, -1]))
def test_fifteen_digits_equal_their_text(x: float, sign: int) -> None:
    """Within one unit of the fifteenth digit: a tie beyond it may fall either way in binary."""
    assert float(to_digits(sign * x)) == pytest.approx(float(f"{sign * x:.15g}"), rel=1e-14, abs=0)
