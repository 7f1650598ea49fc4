"""Invented runs for every kind of curve and weighting: standards by pipette and flask, one of them from another.

The ware is poor beside the stock and the readings, so that a deviation shared too little or too much shows in u.

Stock, ware and preparation stand here once as figures: the files of a run are written from them, and the tests that
calculate a calibration on their own read the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from ubudget.bench.kinds import KINDS
from ubudget.evaluation.evaluate import Evaluation, evaluate
from ubudget.files.reading import records_from_texts
from ubudget.records.records import Edit, Records, SourceText

TWO_POINTS, ERRORS_IN_VARIABLES = "two points", "errors in variables"
WEIGHTS = ("none", "1/x", "1/x^2", "1/y", "1/s^2", "noise model", "pooled s per level")
REPLICATES = 3
FLOOR = 0.5
"""Smallest concentration that a weight uses, in mg/L."""
NOISE_CONSTANT, NOISE_RELATIVE = 8.0, 0.002
"""Scatter of one reading: s^2 = constant^2 + (relative * reading)^2, in counts per second."""
LEVEL_S = {"": ((0.0, 6.0, 40), (10.0, 25.0, 32), (30.0, 70.0, 24)), "259.372": ((5.0, 10.0, 18), (20.0, 20.0, 16))}
"""Line (empty: every other) → concentration in mg/L, s of one reading in counts per second, degrees of freedom."""
STANDARD_U = 0.2
"""Independent standard uncertainty of each standard under errors in variables, in per cent."""
LINES = {"257.610": 1.0, "259.372": 0.4}
"""Line of manganese and its sensitivity beside the first line's."""


@dataclass(frozen=True)
class Ware:
    """A pipette or flask: volumes in mL; a numbered piece deviates alike at each use."""

    nominal: float
    tolerance: float
    repeatability: float
    numbered: bool = True


@dataclass(frozen=True)
class Stock:
    """Certified concentration in mg/L, expanded uncertainty and coverage factor."""

    value: float = 100.3
    U: float = 0.3
    k: float = 2.0


STOCK = Stock()
WARE = {
    "P5": Ware(5, 0.03, 0.006),
    "P10": Ware(10, 0.08, 0.008),
    "P20": Ware(20, 0.12, 0.015),
    "F50-1": Ware(50, 0.2, 0.03),
    "F100-1": Ware(100, 0.5, 0.05),
    "F100": Ware(100, 0.3, 0.05, numbered=False),
}
PREPARATION: dict[str, tuple[str, str, str] | None] = {
    "S0": None,
    "S1": ("S3", "P10", "F100"),
    "S2": ("stock", "P5", "F100"),
    "S3": ("stock", "P10", "F100-1"),
    "S4": ("stock", "P20", "F100"),
    "S5": ("stock", "P20", "F50-1"),
}
"""Standard → what it is made from, pipette and flask; None for the zero standard."""
SAMPLES = {"A": 3.3, "B": 21.7, "C": 31.4}
"""Measured solution → its concentration in mg/L, known to the inventor of the run alone."""
DILUTED = ("C-D", "C", "P10", "F100-1", 12.4)
"""A sample diluted with pipette and flask of the standards: label, source, pipette, flask, concentration."""


@dataclass(frozen=True)
class Declared:
    """What the method of a run declares about its calibration."""

    curve: str = "line"
    weights: str = "none"
    fit_on: str = "readings"
    standards: str = "prepared"
    """`prepared` by pipette and flask, `stated` as concentrations, or `exact` (prepared, uncertainty left out)."""
    uncertain: bool = False
    """Standards weighed in the fit by their own uncertainty: errors in variables."""
    scatter: str = "residual"
    known: bool = False
    """Weighted scatter: known from the weights (true) or estimated from residuals."""
    between_levels: str = ""
    """Term between levels, with its unit; empty = none."""
    preparation_scatter: str = "counted"
    """Mark of the effect `standard repeatability`."""
    lines: tuple[str, ...] = tuple(LINES)
    replicates: int = REPLICATES

    @property
    def read(self) -> tuple[str, ...]:
        """Standards that are read; the others are there to make them from."""
        return ("S1", "S5") if self.curve == TWO_POINTS else tuple(PREPARATION)

    def __str__(self) -> str:
        kind = ERRORS_IN_VARIABLES if self.uncertain else self.curve
        known = ["known"] if self.known else []
        known += [f"between levels {self.between_levels}"] if self.between_levels else []
        return ", ".join([kind, self.weights, *known, f"on {self.fit_on}", self.standards, f"{self.scatter} scatter"])


def of_kind(kind: str, weights: str = "none", **fixed: Any) -> Declared:
    """A declaration of one kind of calibration."""
    if kind == ERRORS_IN_VARIABLES:
        return Declared(**{"weights": weights, "scatter": "own", **fixed, "uncertain": True})
    return Declared(**{"curve": kind, "weights": weights, **fixed})


def every_kind(**fixed: Any) -> Iterator[Declared]:
    """All kinds, each with the weights that it knows."""
    known = {TWO_POINTS: ("none",), ERRORS_IN_VARIABLES: ("none", "noise model")}
    for kind in KINDS:
        for weights in known.get(kind, WEIGHTS):
            yield of_kind(kind, weights, **fixed)


def concentrations() -> dict[str, float]:
    """Concentration of every standard, in mg/L, without any deviation."""
    found: dict[str, float] = {}
    for label in sorted(PREPARATION, key=_depth):
        made = PREPARATION[label]
        if made is None:
            found[label] = 0.0
            continue
        source, pipette, flask = made
        above = STOCK.value if source == "stock" else found[source]
        found[label] = above * WARE[pipette].nominal / WARE[flask].nominal
    return found


def _depth(label: str) -> int:
    made = PREPARATION.get(label)
    return 0 if made is None else 1 + _depth(made[0])


def signal(curve: str, x: float) -> float:
    """The invented instrument: counts per second at a concentration in mg/L.

    A line through zero reads a small background at the zero standard, so that every rule of weighting is defined."""
    if curve == "quadratic":
        return 60 + 1000 * x - 6 * x**2
    if curve == "rational":
        return (60 + 1000 * x) / (1 + 0.01 * x)
    return 1000 * x + (30 if curve == "line through zero" and x == 0 else 60 * (curve == "line"))


def readings(declared: Declared) -> dict[tuple[str, str], list[float]]:
    """(solution, line) → replicate readings, the same at every call."""
    random = np.random.default_rng(2026)
    solutions = {**concentrations(), **SAMPLES, DILUTED[0]: DILUTED[4]}
    found = {}
    for line in declared.lines:
        for label, x in solutions.items():
            if label in PREPARATION and label not in declared.read:
                continue
            y = LINES[line] * signal(declared.curve, x)
            s = np.hypot(NOISE_CONSTANT, NOISE_RELATIVE * y) * (0.5 if x == 0 else 1.0)
            found[label, line] = [round(float(value), 1) for value in random.normal(y, s, declared.replicates)]
    return found


# --- The files of a run ---


def _register() -> str:
    parts = ['title = "Invented register"\nrevision = "1"\ndate = 2026-01-01\n']
    for key, ware in WARE.items():
        kind = "pipette" if key.startswith("P") else "flask"
        use = "individual" if ware.numbered else "one of a set"
        parts.append(
            f'[[equipment]]\nid = "{key}"\nkind = "{kind}"\ndescription = "{kind}"\nuse = "{use}"\n'
            f'nominal = "{ware.nominal} mL"\ntolerance = "{ware.tolerance} mL"\n'
            f'tolerance_distribution = "triangular"\nrepeatability = "{ware.repeatability} mL"\n'
            "repeatability_dof = 9\n"
        )
    parts.append(
        '[[reference_material]]\nid = "STK"\nkind = "stock solution"\ndescription = "invented"\nlot = "1"\n'
        '[[reference_material.certificate]]\nnumber = "C-1"\nissuer = "invented"\n'
        "issued = 2025-03-04\ndue = 2027-03-04\n"
        f'[[reference_material.certificate.property]]\nvalue = "{STOCK.value} mg/L"\nU = "{STOCK.U} mg/L"\n'
        f"k = {STOCK.k:g}\n"
    )
    return "\n".join(parts)


def _method(declared: Declared) -> str:
    rule = {
        "1/x": f'weight_floor = "{FLOOR} mg/L"\n',
        "1/x^2": f'weight_floor = "{FLOOR} mg/L"\n',
        "noise model": f'noise_constant = "{NOISE_CONSTANT}"\nnoise_relative = "{100 * NOISE_RELATIVE:g} %"\n',
    }.get(declared.weights, "")
    if declared.weights == "1/y" and declared.curve == "line through zero":
        # Its zero standard has the ordinate 0.
        rule = f'weight_floor = "{FLOOR} mg/L"\n'
    levels = "".join(
        f'[[symbols.c.level_s]]\nconcentration = "{x:g} mg/L"\ns = {s:g}\ndof = {dof}\nline = "{line}"\n'
        for line, stated in LEVEL_S.items()
        if not line or line in declared.lines
        for x, s, dof in stated
        if declared.weights == "pooled s per level"
    )
    between = f'between_levels = "{declared.between_levels}"\n' if declared.between_levels else ""
    known = 'weighted_scatter = "known"\n' if declared.known else ""
    treatment = 'standards = "propagated"'
    if declared.standards == "exact":
        treatment = 'standards = "exact"\nstandards_exact = "invented reason"'
    elif declared.uncertain:
        treatment = f'standards = "{ERRORS_IN_VARIABLES}"\nstandard_u = "{STANDARD_U:g} %"'
    return f"""
[method]
id = "M-CAL"
title = "Invented method"
version = "1"
status = "approved"
measurand = "mass concentration of dissolved manganese"
unit = "mg/L"
equation = "w = c*f"

[analytes]
Mn = [{", ".join(f'"{line}"' for line in declared.lines)}]

[symbols.c]
operation = "calibration"
quantity = "concentration in the measured solution"
unit = "mg/L"
curve = "{declared.curve}"
weights = "{declared.weights}"
{rule}{known}{between}fit_on = "{declared.fit_on}"
scatter = "{declared.scatter}"
{treatment}
{levels}

[symbols.f]
operation = "dilution"
quantity = "dilution factor"

[effects]
"reading scatter" = "counted"
"delivery repeatability" = "counted"
"filling repeatability" = "counted"
"standard repeatability" = "{declared.preparation_scatter}"
"sample homogeneity" = "negligible: a solution"
"""


def _run(declared: Declared) -> str:
    parts = [
        '[run]\nid = "R-1"\ndate = 2026-03-01\nanalyst = "A. Invented"\nmethod = "method.toml"\n'
        'register = "register.toml"\nsamples = "samples.csv"\nsolutions = "solutions.csv"\n'
        'readings = "readings.csv"\n\n[stocks.Mn]\nitem = "STK"\ncalculated_with = "100 mg/L"\n'
    ]
    for label, made in PREPARATION.items():
        entry = f'[[standard]]\nlabel = "{label}"\n'
        if made is None or declared.standards == "stated":
            # As calculated with the nominal value of the stock.
            nominal = concentrations()[label] / STOCK.value * 100
            entry += f'concentration = {{ Mn = "{nominal:g} mg/L" }}\n'
        else:
            source, pipette, flask = made
            entry += f'from = "{source}"\n' if source != "stock" else ""
            entry += f'step = [{{ aliquot = "{pipette}", to = "{flask}" }}]\n'
        parts.append(entry)
    return "\n".join(parts)


def texts(declared: Declared) -> list[SourceText]:
    """The files of a run, as text."""
    label, source, pipette, flask, _ = DILUTED
    head = "solution,analyte,line," + ",".join(f"r{number + 1}" for number in range(declared.replicates))
    rows = [f"{solution},Mn,{line},{','.join(map(str, y))}" for (solution, line), y in readings(declared).items()]
    return [
        SourceText("run", "run.toml", _run(declared)),
        SourceText("method", "method.toml", _method(declared)),
        SourceText("register", "register.toml", _register()),
        SourceText(
            "samples", "samples.csv", _table("sample,portion,kind,solution", [f"{s},1,sample,{s}" for s in SAMPLES])
        ),
        SourceText(
            "solutions",
            "solutions.csv",
            _table("solution,from,dilution,reports", [f"{label},{source},{pipette} > {flask},Mn"]),
        ),
        SourceText("readings", "readings.csv", _table(head, rows)),
    ]


def _table(head: str, rows: list[str]) -> str:
    return "\n".join([head, *rows]) + "\n"


def records_of(declared: Declared, edits: tuple[Edit, ...] = ()) -> Records:
    records, findings = records_from_texts(texts(declared), list(edits))
    assert records is not None, [finding.line() for finding in findings]
    return records


def evaluated(declared: Declared, edits: tuple[Edit, ...] = ()) -> Evaluation:
    evaluation, findings = evaluate(records_of(declared, edits))
    assert evaluation is not None, [finding.line() for finding in findings]
    return evaluation
