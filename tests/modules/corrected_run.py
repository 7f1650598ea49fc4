"""An invented run with internal standard and drift check: zinc and copper in solutions, three samples, two blanks.

Readings fall by about 1 % from check to check, and the internal standard follows the amount of solution taken up.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tests.findings.small_run import write_run

INTERNAL = '[symbols.c.internal_standard]\nanalyte = "Y"\nline = "371.029"\nadded = "0.5 %"\nlimits = [90, 110]\n'
DRIFT = '[symbols.c.drift]\ncheck = "CHK"\nresidual = "0.3 %"\nsource = "invented"\n'
LINES = (("Zn", "213.9"), ("Cu", "324.8"))
ORDER = ["CHK", "S0", "S1", "S2", "S3", "CHK", "BL-1", "BL-2", "SED-01", "SED-02", "CHK", "SED-03", "CHK"]
CONCENTRATION = {"S0": 0.0, "S1": 0.5, "S2": 1.0, "S3": 2.0}
LEVEL = CONCENTRATION | {"CHK": 1.0, "BL-1": 0.01, "BL-2": 0.016, "SED-01": 0.83, "SED-02": 1.41, "SED-03": 0.52}
SLOPE = {"Zn": 200.0, "Cu": 350.0}
UPTAKE = (1.0, 1.02, 0.99, 1.01, 0.97, 1.0, 1.03, 0.98, 1.04, 0.95, 1.01, 1.02, 0.99)
NOISE = (0.31, -0.52, 0.17, -0.23, 0.44, -0.11, 0.09, -0.38, 0.27, 0.05, -0.19)

METHOD = """
[method]
id = "M-CORR"
title = "Zinc and copper in solutions"
version = "1"
status = "approved"
measurand = "mass concentration"
unit = "mg/L"
equation = "w = c - cb"

[coverage]
rule = "t"
probability = 0.9545

[analytes]
Zn = ["213.9"]
Cu = ["324.8"]

[symbols.c]
operation = "calibration"
quantity = "concentration in the measured solution"
unit = "mg/L"
scatter = "SCATTER"
standards_exact = "invented for this test"
MORE
CORRECTIONS
[symbols.cb]
operation = "blank"
quantity = "mean blank"
unit = "mg/L"
own_blank = "negligible: not part of this test"

[effects]
"reading scatter" = "counted"
"blank scatter" = "counted"
"sample homogeneity" = "negligible: solutions"
"""

RUN = """
[run]
id = "CORR-1"
date = 2026-03-10
analyst = "A. Invented"
method = "method.toml"
samples = "samples.csv"
readings = "readings.csv"
"""


@dataclass(frozen=True)
class Read:
    """Replicates of one solution on one line."""

    position: int
    solution: str
    analyte: str
    line: str
    values: tuple[float, ...]


def readings(order: tuple[str, ...] = tuple(ORDER), internal: bool = True) -> list[Read]:
    """Three replicates of every solution in the order of reading; the internal standard beside them."""
    found = []
    turn = 0
    for position, solution in enumerate(order, start=1):
        sensitivity = UPTAKE[(position - 1) % len(UPTAKE)] * (1 - 0.002 * position)
        rows: list[Read] = []
        for analyte, line in LINES:
            values = []
            for _ in range(3):
                turn += 1
                values.append(round((SLOPE[analyte] * LEVEL[solution] + 1.5) * sensitivity + NOISE[turn % 11], 3))
            rows.append(Read(position, solution, analyte, line, tuple(values)))
        if internal:
            scaled = tuple(round(5000 * sensitivity + 30 * NOISE[(turn + k) % 11], 1) for k in range(3))
            rows.append(Read(position, solution, "Y", "371.029", scaled))
        found += rows
    return found


def readings_text(rows: list[Read], position: bool = True) -> str:
    heading = ["solution", "analyte", "line", *(["position"] if position else []), "r1", "r2", "r3"]
    lines = [",".join(heading)]
    for row in rows:
        place = [str(row.position)] if position else []
        lines.append(",".join([row.solution, row.analyte, row.line, *place, *(f"{value}" for value in row.values)]))
    return "\n".join(lines) + "\n"


def corrected_run(
    folder: Path,
    *,
    corrections: str = INTERNAL + DRIFT,
    scatter: str = "residual",
    more: str = "",
    method: str = METHOD,
    run: str = "",
    text: str = "",
    standards: tuple[str, ...] = tuple(CONCENTRATION),
) -> Path:
    """The run in `folder`; `more` adds lines to the calibration, `run` to the run, `text` replaces the readings."""
    internal, drift = "internal_standard" in corrections, "drift" in corrections
    used = {"CHK"} if drift else set()
    order = tuple(label for label in ORDER if label in used | set(standards) or label not in {"CHK", *CONCENTRATION})
    filled = method.replace("SCATTER", scatter).replace("MORE", more).replace("CORRECTIONS", corrections)
    tables = "".join(
        f'\n[[standard]]\nlabel = "{label}"\nconcentration = {{ Zn = "{CONCENTRATION[label]} mg/L", '
        f'Cu = "{CONCENTRATION[label]} mg/L" }}\n'
        for label in standards
    )
    return write_run(
        folder,
        run=RUN + tables + run if run.lstrip().startswith("[") else RUN + run + tables,
        method=filled,
        samples="sample,kind\nSED-01,\nSED-02,\nSED-03,\nBL-1,blank\nBL-2,blank\n",
        readings=text or readings_text(readings(order, internal)),
    )
