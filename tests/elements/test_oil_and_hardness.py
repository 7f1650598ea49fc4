"""The examples gearbox_oil and water_hardness against the package `uncertainties`.

The equations are written out here from the raw figures of the files; the law of propagation (JCGM 100:2008, equations
10 and 13) is the package's, and nothing of ours takes part.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from statistics import fmean, stdev
from typing import Any

import pytest
from uncertainties import nominal_value, ufloat

from tests.workbooks.books import EXAMPLES, written
from ubudget.evaluation.evaluate import Result

OIL, HARDNESS = EXAMPLES / "gearbox_oil", EXAMPLES / "water_hardness"


def result_of(sample: str, analyte: str = "") -> Result:
    example = written(OIL if analyte else HARDNESS)
    (found,) = [
        result for result in example.evaluation.results if result.sample == sample and analyte in ("", result.analyte)
    ]
    return found


# -- used oil: everything by mass --------------------------------------------------------------------------------------

RESOLUTION = 1 / math.sqrt(12)
"""Of one step of the balance, rectangular (GUM F.2.2.1)."""


def reading(grams: float, certificate: float, step: float, repeatability: float = 0.0) -> Any:
    """One reading of a balance: standard uncertainties of certificate and repeatability, and its step, in gram."""
    return ufloat(grams, math.hypot(certificate, step * RESOLUTION, repeatability))


def sample_mass(net: float) -> Any:
    """Of balance BAL-1, less its zero; repeatability is in the precision of the method."""
    return reading(net, 0.00015, 0.0001) - reading(0.0, 0.00015, 0.0001)


def step(aliquot: float, total: float, others_rest_on_it: bool) -> Any:
    """Mass fraction of the solution taken in a standard, of balance BAL-2; what one standard alone rests on has its
    repeatability in the residuals."""
    repeatability = 0.001 if others_rest_on_it else 0.0
    empty, taken, made = (reading(grams, 0.002, 0.001, repeatability) for grams in (0.0, aliquot, total))
    return (taken - empty) / (made - empty)


def ratios(analyte: str) -> dict[str, list[float]]:
    """Readings divided by those of cobalt in the same solution, times the mean of cobalt in the standards."""
    with (OIL / "readings.csv").open(encoding="utf-8", newline="") as file:
        rows = [
            (row["solution"], row["analyte"], [float(row[r]) for r in ("r1", "r2", "r3")])
            for row in csv.DictReader(file)
        ]
    cobalt = {solution: values for solution, element, values in rows if element == "Co"}
    mean = fmean(value for solution, values in cobalt.items() if solution in STANDARDS for value in values)
    return {
        solution: [value / by * mean for value, by in zip(values, cobalt[solution], strict=True)]
        for solution, element, values in rows
        if element == analyte
    }


STANDARDS = ("S0", "S1", "S2", "S3", "S4", "S5")


class Line:
    """Least squares by hand: standards and readings are numbers with uncertainty, the scatter s a plain one."""

    def __init__(self, x: Sequence[Any], y: Sequence[float]) -> None:
        slope, mean_x, mean_y = self._fit([nominal_value(value) for value in x], y)
        left = [b - mean_y - slope * (nominal_value(a) - mean_x) for a, b in zip(x, y, strict=True)]
        s = math.sqrt(math.fsum(value**2 for value in left) / (len(left) - 2))
        self.slope, self.mean_x, self.mean_y = self._fit(x, [ufloat(value, s) for value in y])

    @staticmethod
    def _fit(x: Sequence[Any], y: Sequence[Any]) -> tuple[Any, Any, Any]:
        mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
        products = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
        return products / sum((a - mean_x) ** 2 for a in x), mean_x, mean_y

    def at(self, readings: Sequence[float]) -> Any:
        """Inverse prediction (QUAM:2012.P1, E.4); the unknown's own scatter is in the precision of the method."""
        return self.mean_x + (fmean(readings) - self.mean_y) / self.slope


def oil(analyte: str, stock: Any, oil_mass: float, total: float, solution: str, recovery: Any) -> tuple[Any, Any]:
    """Mass fraction in the solution read and what a portion makes of it, for one analyte."""
    s5 = stock * step(8.021, 100.246, True)
    s4, s3 = s5 * step(50.126, 100.155, True), s5 * step(25.037, 100.094, True)
    s2, s1 = s4 * step(25.114, 100.208, False), s3 * step(10.052, 100.317, False)
    read = ratios(analyte)
    levels = dict(zip(STANDARDS, (0.0, s1, s2, s3, s4, s5), strict=True))
    line = Line([x for label, x in levels.items() for _ in read[label]], [y for label in levels for y in read[label]])
    single = [line.at(read[label]) for label in ("BL-1", "BL-2", "BL-3")]
    scatter = stdev(nominal_value(blank) for blank in single) / math.sqrt(3)
    blank = sum(single) / 3 + ufloat(0, scatter)
    return line.at(read[solution]), lambda c: (c - blank) * sample_mass(total) / (sample_mass(oil_mass) * recovery)


def with_precision(w: Any, constant: float, relative: float) -> Any:
    """Within the run s0 and s1·w, between runs 1.1 % (QUAM:2012.P1, E.5)."""
    level = nominal_value(w)
    return w + ufloat(0, constant) + ufloat(0, relative * level) + ufloat(0, 0.011 * level)


def spikes(recovered: float, s: float, added: float) -> Any:
    """Twelve recoveries that do not differ from 1: the factor 1 with u = sqrt(s²/12 + (R·u(added))²)."""
    return ufloat(1, math.hypot(s / math.sqrt(12), recovered * added))


def test_iron_in_a_gearbox_oil() -> None:
    recovery = spikes(0.989, 0.021, 0.006)
    c, portion = oil("Fe", ufloat(499, 1.5), 1.0342, 10.2216, "GB-02", recovery)
    w = with_precision(portion(c), 0.25, 0.016)
    found = result_of("GB-02", "Fe")
    assert found.value == pytest.approx(nominal_value(w), rel=1e-10)
    assert found.standard_uncertainty == pytest.approx(w.std_dev, rel=1e-7)


def test_zinc_by_a_further_dilution() -> None:
    """The solution HY-01-D was weighed in one vessel: its zero is one reading for aliquot and total."""
    recovery = spikes(0.992, 0.020, 0.007)
    c, portion = oil("Zn", ufloat(502, 2), 1.0276, 10.1954, "HY-01-D", recovery)
    empty, taken, made = (reading(grams, 0.00015, 0.0001) for grams in (0.0, 5.1042, 25.3318))
    w = with_precision(portion(c * (made - empty) / (taken - empty)), 0.20, 0.013)
    found = result_of("HY-01", "Zn")
    assert found.value == pytest.approx(nominal_value(w), rel=1e-10)
    assert found.standard_uncertainty == pytest.approx(w.std_dev, rel=1e-7)


# -- total hardness: one burette, one room -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sample", "pipette", "titrant"),
    [
        ("WELL", (49.987, 0.024, 0.015), (16.88, 16.93, 16.85)),
        ("SOFT", (100.02, 0.04, 0.03), (2.71, 2.67, 2.74)),
    ],
)
def test_hardness(sample: str, pipette: tuple[float, float, float], titrant: tuple[float, ...]) -> None:
    burette = ufloat(0, 0.04 / math.sqrt(6))  # tolerance, triangular: one deviation for every delivery
    # ±3 K; water, 2.07e-4 1/K at 20 °C (Tanaka et al., Metrologia 38 (2001) 301, of the density's slope there).
    warm = ufloat(0, 3 / math.sqrt(3)) * 2.07e-4

    def at_20(volume: Any) -> Any:
        return volume * (1 - warm)

    def weighed(grams: float) -> Any:
        return reading(grams, 0.0001, 0.0001, 0.0001)

    # Standard atomic weights 2021 (Prohaska et al., Pure Appl. Chem. 94 (2022) 573): Ca 40.078 ± 0.004, C between
    # 12.0096 and 12.0116, O between 15.99903 and 15.99977; rectangular.
    calcium = ufloat(40.078, 0.004 / math.sqrt(3))
    carbon = ufloat((12.0096 + 12.0116) / 2, 0.0010 / math.sqrt(3))
    oxygen = ufloat((15.99903 + 15.99977) / 2, 0.00037 / math.sqrt(3))
    molar_mass = calcium + carbon + 3 * oxygen
    blanks = (0.05, 0.08, 0.06, 0.05, 0.07)
    blank = ufloat(fmean(blanks), stdev(blanks) / math.sqrt(5))
    mass = weighed(19.4139) - weighed(18.4127)
    flask = at_20(ufloat(500.06, 0.06)) * ufloat(1, 0.00016)
    used = at_20(25.03 + burette) * ufloat(1, 0.0004) - blank
    c_titrant = 1000 * mass * ufloat(0.9995, 0.0004) * at_20(ufloat(25.008, 0.008)) / (molar_mass * flask * used)

    calibration = ufloat(0, pipette[1] / 2)
    portions = []
    for volume in titrant:
        read = sum(ufloat(0, 0.02 / math.sqrt(3)) for _ in range(3))  # at start, at end, last drop: ±0.02 mL each
        water = at_20(pipette[0] + calibration + ufloat(0, pipette[2]))
        delivered = at_20(volume + burette + read) + ufloat(0, 0.03) - blank
        portions.append(1000 * c_titrant * delivered / water)
    c = sum(portions) / len(portions)
    c += ufloat(0, 0.0035 * nominal_value(c))
    found = result_of(sample)
    assert found.value == pytest.approx(nominal_value(c), rel=1e-10)
    assert found.standard_uncertainty == pytest.approx(c.std_dev, rel=1e-6)


def test_the_burette_cancels_where_volumes_are_alike() -> None:
    """Of V_t/V_T a common error b leaves b(1/V_t - 1/V_T): 0.03 % at 16.8 mL, 0.6 % at 2.6 mL (by hand)."""
    for sample, volume in (("WELL", 16.8867), ("SOFT", 2.7067)):
        result = result_of(sample)
        (row,) = [row for row in result.budget if row.symbol == "V_T.calibration"]
        assert result.value is not None
        left = 1 / (volume - 0.062) - 1 / (25.03 - 0.062)
        assert row.contribution / result.value == pytest.approx(0.04 / math.sqrt(6) * left, rel=1e-4)


def test_controls_agree_with_their_certificates() -> None:
    """|x - x_cert| within sqrt(U² + U_cert²), k = 2 each (ISO/IEC Guide 98-3 5.1.2, for independent values)."""
    certified = {
        ("RM-OIL", "Fe"): (101.2, 3.0),
        ("RM-OIL", "Cu"): (49.3, 1.6),
        ("RM-OIL", "Zn"): (98.0, 3.2),
        ("RM-HARD", ""): (4.97, 0.05),
    }
    for (sample, analyte), (value, expanded) in certified.items():
        found = result_of(sample, analyte)
        assert found.value is not None and found.standard_uncertainty is not None
        assert abs(found.value - value) < math.hypot(2 * found.standard_uncertainty, expanded)
