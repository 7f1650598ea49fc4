"""Density of air and buoyancy against points worked out elsewhere, and against figures that the standards print."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path

import pytest

from ubudget.bench import air
from ubudget.quantity.expression import Expression, Symbol
from ubudget.quantity.numbers import evaluate

DATA = Path(__file__).parent / "data"


def rows(name: str) -> list[dict[str, str]]:
    text = (DATA / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in text if not line.startswith("#")))


POINTS = rows("air_density.csv")


def number(expression: Expression, **values: float) -> float:
    return float(evaluate(expression, lambda name: values[name]))


def terms(t: float, p: float, h: float) -> Mapping[str, float]:
    """Intermediate terms and density by CIPM-2007; t in degC, p in hPa, h in %."""
    T, pa = t + air.KELVIN, 100 * p
    p_sv = number(air.saturation_pressure(T))
    f = number(air.enhancement(pa, t))
    x_v = number(air.vapour_fraction(h / 100, f, p_sv, pa))
    Z = number(air.compressibility(pa, T, t, x_v))
    rho = number(air.density_cipm(pa, T, Z, x_v, air.dry_molar_mass(air.CARBON_DIOXIDE)))
    return {"p_sv_Pa": p_sv, "enhancement_f": f, "x_v": x_v, "Z": Z, "cipm2007_kg_m3": rho}


def short(t: float, p: float, h: float) -> float:
    return number(air.density_short(p, h, t))


@pytest.mark.parametrize("point", POINTS, ids=lambda point: f"{point['t_C']}-{point['p_hPa']}-{point['rh_percent']}")
def test_points_of_both_formulas(point: dict[str, str]) -> None:
    t, p, h = (float(point[key]) for key in ("t_C", "p_hPa", "rh_percent"))
    found = terms(t, p, h)
    for key, tolerance in (("p_sv_Pa", 1e-6), ("enhancement_f", 1e-6), ("x_v", 1e-5), ("Z", 1e-6)):
        assert found[key] == pytest.approx(float(point[key]), rel=tolerance), key
    assert found["cipm2007_kg_m3"] == pytest.approx(float(point["cipm2007_kg_m3"]), rel=1e-6)
    assert short(t, p, h) == pytest.approx(float(point["simplified_kg_m3"]), rel=1e-6)
    # The short formula is good to 2e-4 (OIML R 111-1:2004, E.3).
    assert short(t, p, h) == pytest.approx(found["cipm2007_kg_m3"], rel=2e-4)


def test_the_density_that_is_commonly_quoted() -> None:
    """1.199 kg/m³ at 20 °C, 1013.25 hPa and 50 % (common practice, no source)."""
    assert round(terms(20, 1013.25, 50)["cipm2007_kg_m3"], 3) == 1.199
    assert round(short(20, 1013.25, 50), 3) == 1.199


@pytest.mark.parametrize(
    ("moved", "printed"),
    [((0, 0.01, 0), 1e-5), ((1e-3, 0, 0), -4e-3), ((0, 0, 1e-2), -9e-5)],
    ids=["per Pa", "per K", "per % humidity"],
)
def test_relative_sensitivities_of_the_standard(moved: tuple[float, float, float], printed: float) -> None:
    """1e-5 per Pa, -4e-3 per K, -9e-3 per unit humidity at 20 °C, to one digit (OIML R 111-1:2004, C.6.3.6)."""
    at = (20.0, 1013.25, 50.0)
    ends = [
        [formula(*(x + sign * step for x, step in zip(at, moved, strict=True))) for sign in (1, -1)]
        for formula in (lambda t, p, h: terms(t, p, h)["cipm2007_kg_m3"], short)
    ]
    step = 2 * (100 * moved[1] or moved[0] or moved[2])
    for above, below in ends:
        slope = (above - below) / step / 1.1993
        assert float(f"{slope:.0e}") == printed


def test_carbon_dioxide_makes_air_heavier() -> None:
    """M_a = [28.965 46 + 12.011 (x - 0.0004)] g/mol (Picard and others 2008, equation 3)."""
    assert number(air.dry_molar_mass(Symbol("x")), x=0.0004) == pytest.approx(28.96546e-3, rel=1e-12)
    assert number(air.dry_molar_mass(Symbol("x")), x=0.0014) == pytest.approx(28.977471e-3, rel=1e-12)


@pytest.mark.parametrize("point", rows("buoyancy.csv"), ids=lambda point: f"{point['material']} {point['rho_a_kg_m3']}")
def test_buoyancy_to_the_printed_digit(point: dict[str, str]) -> None:
    factor = number(air.buoyancy_factor(float(point["rho_a_kg_m3"]), 8000, float(point["rho_s_kg_m3"])))
    assert f"{factor:.7f}" == point["factor"]
    assert math.isclose(100 * (factor - 1), float(point["effect_percent"]), abs_tol=0.5000001e-4)


def test_conventional_mass_of_platinum() -> None:
    """m_c/m = (1 - 1.2/21500)/(1 - 1.2/8000) = 1.000 094 200 (OIML D 28:2004, definition of conventional mass)."""
    factor = number(air.buoyancy_factor(1.2, 8000, 21500))
    assert 1 / factor == pytest.approx(1.000094200, abs=5e-10)
