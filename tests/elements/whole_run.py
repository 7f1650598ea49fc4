"""An invented run with overlaps, recovery, conversion factors and molar masses in one equation.

Three lines: iron disturbs aluminium, aluminium and iron disturb arsenic. Samples of two matrices, one with two
portions, two blanks. Readings are made by a straight line with a fixed scatter.
"""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import write_run

LINES = {"As": "193.7", "Al": "396.2", "Fe": "259.9"}
SLOPE = {"As": 40.0, "Al": 300.0, "Fe": 500.0}
K = {("As", "Al"): 0.004, ("As", "Fe"): -0.0006, ("Al", "Fe"): 0.012}
STANDARDS = {
    "S0": {"As": 0.0, "Al": 0.0, "Fe": 0.0},
    "S1": {"As": 0.5, "Al": 20.0, "Fe": 40.0},
    "S2": {"As": 1.0, "Al": 40.0, "Fe": 80.0},
    "S3": {"As": 2.0, "Al": 60.0, "Fe": 120.0},
}
SOLUTIONS = {
    "BL-1": {"As": 0.011, "Al": 0.21, "Fe": 0.35},
    "BL-2": {"As": 0.016, "Al": 0.28, "Fe": 0.47},
    "SED-01": {"As": 0.42, "Al": 38.0, "Fe": 71.0},
    "SED-01 b": {"As": 0.44, "Al": 37.2, "Fe": 72.5},
    "SLAG-1": {"As": 0.91, "Al": 12.0, "Fe": 103.0},
}
NOISE = (0.31, -0.52, 0.17, -0.23, 0.44, -0.11, 0.09, -0.38, 0.27, 0.05, -0.19)

METHOD = """
[method]
id = "M-NET"
title = "Three elements as amount of oxide"
version = "1"
status = "approved"
measurand = "amount concentration of the total element as oxide"
basis = "dry mass"
unit = "umol/L"
equation = "n = (c_net - cb_net)*F*u_1/(R*M)"

[coverage]
rule = "t"
probability = 0.9545

[analytes]
As = ["193.7"]
Al = ["396.2"]
Fe = ["259.9"]

[symbols.u_1]
operation = "constant"
quantity = "one"
value = "1"

[symbols.c]
operation = "calibration"
quantity = "concentration as read"
unit = "mg/L"
scatter = "residual"
standards_exact = "invented for this test"

[symbols.c_net]
operation = "spectral overlap"
quantity = "concentration, less overlaps"
unit = "mg/L"
of = "c"

[symbols.cb]
operation = "blank"
quantity = "mean blank as read"
unit = "mg/L"

[symbols.cb_net]
operation = "spectral overlap"
quantity = "mean blank, less overlaps"
unit = "mg/L"
of = "cb"

[[overlap]]
analyte = "As"
line = "193.7"
interferent = "Al"
interferent_line = "396.2"
factor = 0.004
u = "10 %"
source = "single-element solutions of aluminium, invented"

[[overlap]]
analyte = "As"
line = "193.7"
interferent = "Fe"
interferent_line = "259.9"
factor = -0.0006
u = 0.0001
dof = 6

[[overlap]]
analyte = "Al"
line = "396.2"
interferent = "Fe"
interferent_line = "259.9"
factor = 0.012
half_width = 0.002
distribution = "rectangular"

[symbols.F]
operation = "conversion factor"
quantity = "from the element to its oxide"

[[symbols.F.for]]
analyte = "As"
from = "As"
to = "As2O3"

[[symbols.F.for]]
analyte = "Al"
from = "Al"
to = "Al2O3"

[[symbols.F.for]]
analyte = "Fe"
from = "Fe"
to = "Fe2O3"

[symbols.M]
operation = "molar mass"
quantity = "molar mass of the oxide"

[[symbols.M.for]]
analyte = "As"
formula = "As2O3"

[[symbols.M.for]]
analyte = "Al"
formula = "Al2O3"

[[symbols.M.for]]
analyte = "Fe"
formula = "Fe2O3"

[atomic_weights.O]
value = "15.9995 g/mol"
U = "0.0002 g/mol"
k = 2
source = "isotopic certificate, invented"

[symbols.R]
operation = "recovery"
quantity = "recovery"
treatment = "corrected"
significance = "t"
combine = "product"
RECOVERY

[[symbols.R.for]]
analyte = "Al"
treatment = "uncorrected, widened"

[[symbols.R.for]]
analyte = "Fe"
treatment = "not significant"

[[symbols.R.reference_material]]
item = "RM-1"
analyte = "As"
measured = "7.91 mg/kg"
s = "0.31 mg/kg"
n = 8

[[symbols.R.reference_material]]
measured = "4.90 %"
u = "0.05 %"
dof = 5
certified = "5.03 %"
U = "0.06 %"
k = 2

[[symbols.R.spike]]
analyte = "As"
matrix = "slag"
recovered = "0.95"
s = "2 %"
n = 6
added_u = "0.6 %"

[[symbols.R.spike]]
matrix = "sediment"
recovered = "1.96 mg/L"
s = "0.04 mg/L"
n = 5
added = "2.00 mg/L"
added_u = "0.01 mg/L"

[effects]
"reading scatter" = "counted"
"blank scatter" = "counted"
"sample homogeneity" = "negligible: solutions"
"""

REGISTER = """
title = "Invented register"
revision = "1"
date = 2026-01-15

[[reference_material]]
id = "RM-1"
kind = "matrix reference material"
description = "invented sediment"
lot = "L1"
basis = "dry  Mass"
measurand = "total mass fraction"

[[reference_material.certificate]]
number = "C-1"
issuer = "Invented producer"
issued = 2025-03-04
due = 2028-03-04

[[reference_material.certificate.property]]
analyte = "As"
value = "8.12 mg/kg"
U = "0.24 mg/kg"
k = 2
"""

RUN = """
[run]
id = "NET-1"
date = 2026-03-10
analyst = "A. Invented"
method = "method.toml"
register = "register.toml"
samples = "samples.csv"
readings = "readings.csv"
"""

SAMPLES = """sample,portion,kind,solution,matrix
SED-01,1,,SED-01,sediment
SED-01,2,,SED-01 b,sediment
SLAG-1,1,,SLAG-1,slag
BL-1,1,blank,BL-1,
BL-2,1,blank,BL-2,
"""


def readings_text() -> str:
    """What the lines would read: the element itself, and what the others add."""
    lines = ["solution,analyte,line,r1,r2,r3"]
    turn = 0
    for solution, true in {**STANDARDS, **SOLUTIONS}.items():
        for analyte, line in LINES.items():
            # Standards are of one element each on its line, so that no overlap is in the curve.
            mixed = solution not in STANDARDS
            more = sum(k * true[other] for (on, other), k in K.items() if on == analyte) if mixed else 0.0
            values = []
            for _ in range(3):
                turn += 1
                values.append(round(SLOPE[analyte] * (true[analyte] + more) + 1.5 + NOISE[turn % 11], 3))
            lines.append(",".join([solution, analyte, line, *map(str, values)]))
    return "\n".join(lines) + "\n"


def whole_run(
    folder: Path, *, method: str = METHOD, recovery: str = "", readings: str = "", register: str = REGISTER
) -> Path:
    """The run in `folder`; `recovery` adds lines to the recovery's table."""
    standards = "".join(
        f'\n[[standard]]\nlabel = "{label}"\nconcentration = {{ '
        + ", ".join(f'{analyte} = "{value} mg/L"' for analyte, value in of.items())
        + " }\n"
        for label, of in STANDARDS.items()
    )
    return write_run(
        folder,
        run=RUN + standards,
        method=method.replace("RECOVERY", recovery),
        register=register,
        samples=SAMPLES,
        readings=readings or readings_text(),
    )
