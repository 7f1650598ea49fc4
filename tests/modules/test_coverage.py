"""Coverage factors, effective degrees of freedom and reported figures against published tables and rules."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest

from ubudget.evaluation import notebook
from ubudget.evaluation.notebook import budget, input_quantity
from ubudget.quantity.operations import TABLE

T_TABLE = tomllib.loads(
    (Path(__file__).parents[1] / "published" / "data" / "tables" / "t_factors.toml").read_text(encoding="utf-8")
)
MISPRINTS = {(entry["nu"], entry["p_percent"]): entry["correct"] for entry in T_TABLE["misprint"]}
EXACT = {
    "68.27": math.erf(1 / math.sqrt(2)),
    "95.45": math.erf(math.sqrt(2)),
    "99.73": math.erf(3 / math.sqrt(2)),
}
"""What three of the percentages stand for."""

ENTRIES = [
    (nu, p, MISPRINTS.get((nu, p), printed))
    for nu, row in T_TABLE["table"].items()
    for p, printed in zip(T_TABLE["p_percent"], row, strict=True)
]


def one_unit(dof: float | None, **how: float) -> notebook.Budget:
    """A budget of one input with u = 1 and the given degrees of freedom."""
    return budget(input_quantity("x", 10, u=1, dof=dof), **how)  # type: ignore[arg-type]  # k or probability


@pytest.mark.parametrize(("nu", "p", "printed"), ENTRIES)
def test_student_factors_of_the_published_table(nu: str, p: str, printed: str) -> None:
    """NIST TN 1297, Table B.1 (GUM Table G.2); its one misprint is named in the data."""
    found = float(TABLE["student"].numbers(EXACT.get(p, float(p) / 100), min(float(nu), 1e99)))
    assert f"{found:.{len(printed.partition('.')[2])}f}" == printed


def test_the_table_is_whole() -> None:
    assert len(ENTRIES) == 168 and len(MISPRINTS) == 1


@pytest.mark.parametrize(
    ("nu", "printed"),
    list(
        zip(
            [1, 2, 3, 4, 5, 6, 7, 8, 10, 20, 50],
            ["13.97", "4.53", "3.31", "2.87", "2.65", "2.52", "2.43", "2.37", "2.28", "2.13", "2.05"],
            strict=True,
        )
    ),
)
def test_coverage_factors_of_the_calibration_guide(nu: float, printed: str) -> None:
    """EA-4/02 M:2022, Annex E, Table E.1 (from memory; agrees with NIST TN 1297)."""
    found = one_unit(nu)
    assert f"{found.coverage_factor:.2f}" == printed
    assert found.expanded_uncertainty == found.coverage_factor


def test_an_infinite_number_of_degrees_of_freedom_gives_k_two() -> None:
    """EA-4/02 Annex E; 95.45 % is the normal fraction at k = 2."""
    found = one_unit(None)
    assert found.effective_degrees_of_freedom is None
    assert f"{found.coverage_factor:.2f}" == "2.00"


# --- Effective degrees of freedom ---


def test_effective_degrees_of_freedom_of_the_guide() -> None:
    """GUM G.4.1, example (from memory): product of three inputs, relative u of 0.25 %, 0.57 % and 0.82 % from
    10, 5 and 15 readings; printed: u = 1.03 %, nu = 19.0, t at 95 % 2.09, U = 2.2 %."""
    x1, x2, x3 = (
        input_quantity(f"X{place}", 1, u=f"{u} %", dof=n - 1)
        for place, (u, n) in enumerate([(0.25, 10), (0.57, 5), (0.82, 15)], start=1)
    )
    found = budget(x1 * x2 * x3, probability=0.95)
    assert f"{100 * found.standard_uncertainty:.2f}" == "1.03"
    assert found.effective_degrees_of_freedom is not None
    assert f"{found.effective_degrees_of_freedom:.1f}" == "19.0"
    # The source enters its t table at 19; the exact figure is 18.9987, and cut down to 18 the factor is 2.10.
    assert f"{found.coverage_factor:.2f}" == "2.10"
    assert f"{100 * found.expanded_uncertainty:.1f}" == "2.2"


@pytest.mark.parametrize(("reliability", "printed"), [(0.10, 50), (0.25, 8), (0.50, 2)])
def test_degrees_of_freedom_of_a_judged_uncertainty(reliability: float, printed: int) -> None:
    """GUM G.4.2 eq. G.3 and its example: nu = 8 for 25 %; 50 and 2 from the same formula."""
    x = input_quantity("x", 1, u=0.1, reliability=reliability)
    assert budget(x + 0).effective_degrees_of_freedom == pytest.approx(printed, rel=1e-12)


@pytest.mark.parametrize(("dof", "whole"), [(2.9999999999, 3), (3.0, 3), (2.9999, 2), (3.9, 3), (9.9999995, 10)])
def test_degrees_of_freedom_are_cut_down_but_not_by_rounding_in_binary(dof: float, whole: int) -> None:
    """GUM G.4.1, note: cut to the next lower integer; one millionth is left to binary arithmetic."""
    assert one_unit(dof).coverage_factor == one_unit(float(whole)).coverage_factor


def test_a_fixed_factor_on_few_degrees_of_freedom_is_flagged() -> None:
    found = one_unit(2, k=2)
    assert found.coverage_factor == 2
    # 4.53: NIST TN 1297, Table B.1.
    assert any("4.53" in flag for flag in found.flags)
    assert one_unit(10, k=2).flags == ()


# --- Reported figures ---


def reported(value: float, u: float, **how: int) -> tuple[float | None, float | None]:
    """With k = 1, so that U is the u stated."""
    found = budget(input_quantity("x", value, u=u) + 0, k=1, **how).result  # type: ignore[arg-type]  # digits
    return found.reported_value, found.reported_expanded_uncertainty


@pytest.mark.parametrize(
    ("U", "digits", "expected"),
    [
        (1.23, 2, 1.2),
        (1.049, 1, 1.0),
        (1.4, 1, 2.0),
        (0.00234, 1, 0.003),
        (2.07, 1, 2.0),
        (96.0, 1, 100.0),
    ],
)
def test_rounding_of_the_calibration_guide(U: float, digits: int, expected: float) -> None:
    """EA-4/02 M:2022, 6.3: to the nearest, but up where that would lower the figure by more than 5 % (own cases)."""
    assert reported(50, U, digits=digits)[1] == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "u", "expected"),
    [
        (10.05762, 0.027, (10.058, 0.027)),  # GUM 7.2.6, last sentence
        (28050.0, 28.05, (28050.0, 28.0)),  # GUM 7.2.6, u = 28.05 kHz becomes 28 kHz
        (100.02147, 0.00079, (100.02147, 0.00079)),  # GUM 7.2.4
        (1234.0, 567.0, (1230.0, 570.0)),
        (0.5, 0.0996, (0.5, 0.1)),
        (-2.675, 0.0995, (-2.68, 0.1)),
        (3.14159, 1.0, (3.1, 1.0)),
    ],
)
def test_the_value_follows_the_place_of_its_uncertainty(value: float, u: float, expected: tuple[float, float]) -> None:
    """GUM 7.2.6; cases without mark are our own."""
    assert reported(value, u) == pytest.approx(expected, rel=1e-12)
