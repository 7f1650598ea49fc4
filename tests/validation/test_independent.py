"""The second calculation by itself: against the t distribution of scipy.stats, NIST data and hostile text.

It is no check of the first one unless it is right on its own account."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from scipy import stats

from tests.commands.running import ROOT
from ubudget.independent.equation import value_of
from ubudget.independent.formula import molar_mass
from ubudget.independent.propagation import recalculated
from ubudget.independent.quantiles import factor
from ubudget.independent.stated import line_through


@pytest.mark.parametrize("dof", [1, 2, 3, 4, 9, 10, 37, 38, 9_999, None])
@pytest.mark.parametrize("p", [0.5, 0.95, 0.9545, 0.9973])
def test_factors_are_those_of_the_t_distribution(dof: int | None, p: float) -> None:
    expected = stats.norm.ppf((1 + p) / 2) if dof is None else stats.t.ppf((1 + p) / 2, dof)
    assert factor(p, dof) == pytest.approx(float(expected), rel=1e-11)


def test_a_line_has_the_certified_parameters() -> None:
    """NIST Statistical Reference Datasets, Norris: parameters and their standard deviations."""
    folder = ROOT / "tests" / "published" / "data" / "strd"
    certified = tomllib.loads((folder / "norris.toml").read_text(encoding="utf-8"))
    rows = [line.split(",") for line in (folder / certified["data"]["file"]).read_text(encoding="utf-8").split()]
    y, x = (rows[0].index(name) for name in ("y", "x"))
    line = line_through([row[x] for row in rows[1:]], [row[y] for row in rows[1:]], 0)
    values = {row["quantity"]: float(row["value"]) for row in certified["result"]}
    found = {"B0": line.intercept, "B1": line.slope, "sd(B0)": line.u_intercept, "sd(B1)": line.u_slope}
    for name, value in found.items():
        assert float(value) == pytest.approx(values[name], rel=1e-13), name


def test_correlated_resistors_of_the_guide() -> None:
    """JCGM 100:2008, 5.2.2, example: ten resistors in series, r = 1, u_c = 10 × 100 mΩ; here two of them, 200 mΩ."""
    inputs = {name: {"kind": "input", "estimate": 1000, "u": 0.1, "components": []} for name in ("a", "b")}
    exported = {
        "equation": "R = a + b",
        "quantities": inputs,
        "data": {},
        "correlations": [{"between": ["a", "b"], "coefficient": 1}],
        "coverage": {"rule": "fixed", "k": 2},
    }
    assert recalculated(exported)["standard_uncertainty"] == pytest.approx(0.2, rel=1e-15)


def test_the_molar_mass_of_the_guide() -> None:
    """QUAM:2012.P1, Example A2: M(C8H5O4K) = 204.2212 g/mol, u = 0.0038 g/mol, from the atomic weights of 1997."""
    weights = {"C": ("12.0107", "0.0008"), "H": ("1.00794", "0.00007"), "O": ("15.9994", "0.0003")}
    weights["K"] = ("39.0983", "0.0001")
    elements = {
        name: {"estimate": weight, "half_width": half, "distribution": "rectangular"}
        for name, (weight, half) in weights.items()
    }
    mass, deviations = molar_mass("C8H5O4K", elements)
    assert round(mass, 4) == Decimal("204.2212")
    assert round(sum(each.u**2 for each in deviations) ** Decimal("0.5"), 4) == Decimal("0.0038")


@pytest.mark.parametrize("text", ["a.b", "a[0]", "open(a)", "a if a else a", "sqrt(a, a)", "'a'", "a = 1", "(a", "__a"])
def test_what_is_no_arithmetic_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        value_of(text, {"a": Decimal(1)})


def test_it_runs_by_itself(tmp_path: Path) -> None:
    exported = {"equation": "y = a^2", "data": {}, "correlations": [], "coverage": {"rule": "t", "probability": 0.95}}
    exported["quantities"] = {"a": {"kind": "input", "estimate": 3, "u": 0.5, "dof": 4, "components": []}}
    (tmp_path / "y.json").write_text(json.dumps(exported), encoding="utf-8")
    command = [sys.executable, "-m", "ubudget.independent", str(tmp_path / "y.json")]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    told = json.loads(done.stdout)
    # y = 9, dy/da = 6, u = 3; t(0.95; 4) = 2.776 (JCGM 100:2008, Table G.2: 2.78).
    assert (told["value"], told["standard_uncertainty"]) == pytest.approx((9, 3))
    assert round(told["coverage_factor"], 2) == 2.78
    assert subprocess.run(command[:-1], cwd=ROOT, capture_output=True, check=False).returncode == 2
