"""The rinse-water example calculated anew from its raw figures: readings, certificates and limits, typed in or read
here as plain numbers, without any part of ubudget.

Straight line by least squares about the centroid, with residual s for readings and line (GUM H.3; QUAM:2012 E.4);
triangular limits of ware a/√6 and expanded uncertainties U/k (GUM 4.3.3, 4.3.9). The result is a function of its input
quantities, so that the same code serves numbers of the package `uncertainties` and arrays of draws.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

EXAMPLE = Path(__file__).parents[2] / "worked_examples" / "rinse_water"
LINES = ("Cu", "Zn", "Ca", "Mg")
SMALL, LARGE = (0.0, 0.5, 1.0, 2.0, 5.0), (0.0, 20.0, 40.0, 60.0, 100.0)
NOMINAL = {"Cu": SMALL, "Zn": SMALL, "Ca": LARGE, "Mg": tuple(x / 4 for x in LARGE)}
STOCK = {"Cu": (1003.0, 2.5), "Zn": (998.0, 2.0), "Ca": (1001.0, 2.0), "Mg": (999.0, 2.0)}
CALCULATED_WITH = 1000.0
FLOWS = {"RINSE-1": 6.4, "RINSE-2": 3.1, "OUT-1": 9.3}
SAMPLES = ("RINSE-1", "RINSE-2", "OUT-1", "OUT-2", "OUT-3", "OUT-1-F")
MOLAR = {"Ca": (40.078, 0.004), "Mg": ((24.304 + 24.307) / 2, 0.0015)}
"""Standard atomic weights (IUPAC 2021) and the half-width of what is stated: ± for calcium, an interval for
magnesium."""

Make = Callable[[str, float, float], Any]
"""Name, estimate and standard uncertainty → a quantity."""


def readings() -> dict[tuple[str, str], list[float]]:
    """Readings by solution and analyte, from the CSV file."""
    with (EXAMPLE / "readings.csv").open(encoding="utf-8", newline="") as file:
        return {
            (row["solution"], row["analyte"]): [float(row[name]) for name in ("r1", "r2", "r3")]
            for row in csv.DictReader(file)
        }


@dataclass
class Model:
    """Input quantities are made once each, by name: the same name is the same deviation."""

    make: Make
    known: dict[str, Any] = field(default_factory=dict)
    read: Mapping[tuple[str, str], list[float]] = field(default_factory=readings)

    def quantity(self, name: str, estimate: float, u: float) -> Any:
        if name not in self.known:
            self.known[name] = self.make(name, estimate, u)
        return self.known[name]

    def concentration(self, solution: str, analyte: str) -> Any:
        """Read from the line of the analyte, on the scale of its stock solution."""
        x = np.repeat(NOMINAL[analyte], 3) * STOCK[analyte][0] / CALCULATED_WITH
        y = np.concatenate([self.read[f"S{level}", analyte] for level in range(5)])
        mean_x, mean_y = x.mean(), y.mean()
        square = ((x - mean_x) ** 2).sum()
        b = ((x - mean_x) * (y - mean_y)).sum() / square
        s = math.sqrt(((y - mean_y - b * (x - mean_x)) ** 2).sum() / (len(x) - 2))
        centroid = self.quantity(f"centroid {analyte}", mean_y, s / math.sqrt(len(x)))
        slope = self.quantity(f"slope {analyte}", b, s / math.sqrt(square))
        reading = self.quantity(
            f"reading {solution} {analyte}", float(np.mean(self.read[solution, analyte])), s / math.sqrt(3)
        )
        stock = self.quantity(f"stock {analyte}", *STOCK[analyte])
        preparation = self.quantity(f"preparation {analyte}", 1.0, 0.003)
        return (mean_x + (reading - centroid) / slope) * (stock / STOCK[analyte][0]) * preparation

    def dilution(self, sample: str) -> Any:
        """5 mL by the one pipette to 50 mL in a flask of a set."""
        pipette = self.quantity("P5", 5.004, 0.004)
        delivery = self.quantity(f"delivery {sample}", 0.0, 0.006)
        flask = self.quantity(f"flask {sample}", 50.0, 0.06 / math.sqrt(6))
        filling = self.quantity(f"filling {sample}", 0.0, 0.02)
        return (flask + filling) / (pipette + delivery)

    def result(self, sample: str, analyte: str) -> Any:
        """rho = c*f + d_L, d_L with u = 1.2 % of the level."""
        diluted = sample.startswith("RINSE") and analyte in ("Cu", "Zn")
        c = self.concentration(f"{sample}-D" if diluted else sample, analyte)
        f = self.dilution(sample) if diluted else 1.0
        return c * f * (1 + self.quantity(f"between runs {analyte}", 0.0, 0.012))

    def flow(self, sample: str) -> Any:
        return self.quantity(f"flow {sample}", FLOWS[sample], 0.015 * FLOWS[sample])

    def molar_mass(self, element: str) -> Any:
        value, half_width = MOLAR[element]
        return self.quantity(f"M {element}", value, half_width / math.sqrt(3))

    def derived(self) -> dict[tuple[str, str], Any]:
        """All derived results of the example by sample and name."""
        w = {(sample, analyte): self.result(sample, analyte) for sample in SAMPLES for analyte in LINES}
        found: dict[tuple[str, str], Any] = {}
        for sample in SAMPLES:
            hardness = w[sample, "Ca"] / self.molar_mass("Ca") + w[sample, "Mg"] / self.molar_mass("Mg")
            found[sample, "total hardness"] = hardness
            found[sample, "sum of metals"] = w[sample, "Cu"] + w[sample, "Zn"]
        for analyte in ("Cu", "Zn"):
            out = (w["OUT-1", analyte] + w["OUT-2", analyte] + w["OUT-3", analyte]) / 3
            load = self.flow("RINSE-1") * w["RINSE-1", analyte] + self.flow("RINSE-2") * w["RINSE-2", analyte]
            kept = load - self.flow("OUT-1") * out
            found["outflow", f"particulate {analyte}"] = w["OUT-1", analyte] - w["OUT-1-F", analyte]
            found["outflow", f"mean outflow {analyte}"] = out
            found["inflow", f"ratio of rinses {analyte}"] = w["RINSE-1", analyte] / w["RINSE-2", analyte]
            found["treatment", f"load in {analyte}"] = load
            found["treatment", f"retained {analyte}"] = kept
            found["treatment", f"removal efficiency {analyte}"] = 100 * kept / load
        return found
