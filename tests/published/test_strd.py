"""The certified values of the NIST Statistical Reference Datasets (public domain), through the public functions.

How many digits each set reaches is kept in `strd_digits.md`, misses and all; here a new calculation is held against it.
"""

import math
import re

import numpy as np
import pytest

import ubudget
from tests.published import strd_digits
from tests.published.strd_digits import TABLE, Row, certified, digits, load, truths_of, worst

PLATFORM = 1
"""Digits by which another platform's arithmetic may differ from the table."""


@pytest.fixture(scope="module")
def rows() -> dict[str, list[Row]]:
    return strd_digits.all_rows()


def shown(text: str) -> list[tuple[str, list[int], str]]:
    """Name, figures and verdict of every line of the tables."""
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in re.findall(r"^\|.*\|$", text, re.M)]
    return [(first, [int(cell) for cell in middle], last) for first, *middle, last in cells if middle[0].isdigit()]


def test_every_set_reaches_its_digits(rows: dict[str, list[Row]]) -> None:
    short = [row for group in rows.values() for row in group if row.reached < row.required]
    assert short == []


def test_the_committed_table_tells_what_is_reached(rows: dict[str, list[Row]]) -> None:
    committed, new = TABLE.read_text(encoding="utf-8"), strd_digits.as_text(rows)
    assert re.sub(r"\|.*", "", committed) == re.sub(r"\|.*", "", new), "renew: python -m tests.published.strd_digits"
    for (name, old, missed), (new_name, now, now_missed) in zip(shown(committed), shown(new), strict=True):
        assert (name, old[:2], missed) == (new_name, now[:2], now_missed)
        assert all(abs(a - b) <= PLATFORM for a, b in zip(old, now, strict=True)), name


@pytest.mark.parametrize("name", strd_digits.LINEAR)
def test_analysis_of_variance(name: str) -> None:
    """R² and F, built from the residuals of the fit as the certificate defines them."""
    certificate, columns = load(name)
    fit = ubudget.least_squares(strd_digits.design_of(certificate, columns), columns["y"])
    y = np.array(columns["y"])
    intercept = "uncentred" not in certificate["model"]["r_squared_definition"]
    squares = math.fsum((y - y.mean() * intercept) ** 2)
    left = math.fsum(fit.residuals**2)
    assert digits(1 - left / squares, certified(certificate, "r_squared")) >= 12
    if any(row["quantity"] == "F" for row in certificate["result"]):
        first = fit.parameters.size - intercept
        ratio = (squares - left) / first / (left / fit.degrees_of_freedom)
        assert digits(ratio, certified(certificate, "F")) >= strd_digits.LINEAR[name]


@pytest.mark.parametrize(
    ("name", "kind"),
    [("norris", "line"), ("pontius", "quadratic"), ("noint1", "line-through-zero"), ("noint2", "line-through-zero")],
)
def test_calibration_curves_reach_the_same_digits(name: str, kind: str) -> None:
    certificate, columns = load(name)
    parameters, sds, residual_sd = truths_of(certificate)
    fit = ubudget.fit_curve(kind, columns["x"], columns["y"])
    assert worst(fit.parameters.tolist(), parameters) >= 12
    assert worst(fit.standard_uncertainties.tolist(), sds) >= 12
    assert digits(float(fit.residual_sd), residual_sd) >= 12


def test_the_counter_of_digits() -> None:
    assert digits(1.5, "1.5") == 15
    assert digits(1.0001, "1") == pytest.approx(4, abs=0.01)
    assert digits(1e-12, "0") == pytest.approx(12)
