"""An invented run whose standards come from a pure metal by every form of step: by volume, by mass, and across.

Z-1000 is weighed into a flask, Z-50 pipetted onto a balance; both are kept. S1 is made by mass, S2 by pipette from a
solution whose content is by mass, S3 weighed into a flask; sample B is diluted by mass. All figures are invented."""

from __future__ import annotations

from ubudget.records.records import SourceText

REGISTER = """
title = "Invented register"
revision = "1"
date = 2026-01-01

[[equipment]]
id = "BAL"
kind = "balance"
description = "analytical balance"
resolution = "0.1 mg"
linearity = "0.4 mg"
repeatability = "0.2 mg"
repeatability_dof = 9

[[equipment]]
id = "P25"
kind = "pipette"
description = "pipette 25 mL"
nominal = "25 mL"
tolerance = "0.09 mL"
tolerance_source = "class of a standard"
repeatability = "0.02 mL"
repeatability_dof = 9

[[equipment]]
id = "P5"
kind = "pipette"
description = "pipette 5 mL"
nominal = "5 mL"
tolerance = "0.04 mL"
tolerance_source = "class of a standard"
repeatability = "0.01 mL"
repeatability_dof = 9

[[equipment]]
id = "F500"
kind = "flask"
description = "flask 500 mL"
nominal = "500 mL"
tolerance = "0.5 mL"
tolerance_source = "class of a standard"
repeatability = "0.1 mL"
repeatability_dof = 9

[[equipment]]
id = "F100"
kind = "flask"
description = "flask 100 mL"
nominal = "100 mL"
tolerance = "0.2 mL"
tolerance_source = "class of a standard"
repeatability = "0.04 mL"
repeatability_dof = 9

[[equipment]]
id = "F50"
kind = "flask"
description = "flask 50 mL, unnumbered"
use = "one of a set"
nominal = "50 mL"
tolerance = "0.12 mL"
tolerance_source = "class of a standard"
repeatability = "0.03 mL"
repeatability_dof = 9

[[reference_material]]
id = "ZINC"
kind = "pure substance"
description = "zinc metal"
lot = "Z-7"

[[reference_material.certificate]]
number = "C-7"
issuer = "invented"
issued = 2025-01-01
due = 2030-01-01
route = "accredited producer"
accreditation = "invented"
traceable_to = "kilogram, through high-purity metal"
ends_at = "SI"

[[reference_material.certificate.property]]
value = "999.2 mg/g"
U = "0.8 mg/g"
k = 2

[[prepared_standard]]
id = "Z-1000"
description = "zinc, 1000 mg/L in 2 % nitric acid"
prepared = 2026-02-02
use_by = 2026-08-02
from = "ZINC"
analytes = ["Zn"]
stability = { half_width = "0.3 %", distribution = "rectangular" }
step = [{ aliquot_mass = "0.5013 g", to = "F500", balance = "BAL" }]

[[prepared_standard]]
id = "Z-50"
description = "zinc, 50 mg/kg"
prepared = 2026-03-02
use_by = 2026-04-02
from = "Z-1000"
step = [{ aliquot = "P25", total_mass = "503.27 g", balance = "BAL" }]
"""

METHOD = """
[method]
id = "M-ZN"
title = "Zinc"
version = "1"
status = "draft"
measurand = "mass concentration of zinc"
unit = "mg/L"
equation = "rho = c*f"

[analytes]
Zn = ["213.9"]

[symbols.c]
operation = "calibration"
quantity = "concentration"
unit = "mg/L"
scatter = "residual"

[symbols.c.temperature]
half_range = "3 K"
expansion = "2.1e-4 1/K"
shared = true

[symbols.f]
operation = "dilution"
quantity = "dilution factor"

[symbols.f.density]
value = "1.012 g/mL"
u = "0.004 g/mL"

[symbols.f.density_made]
value = "1.003 g/mL"
u = "0.002 g/mL"

[effects]
"reading scatter" = "counted"
"weighing repeatability" = "counted"
"delivery repeatability" = "counted"
"filling repeatability" = "counted"
"standard repeatability" = "covered by residual scatter"
"sample homogeneity" = "negligible: a solution"
"""

RUN = """
[run]
id = "R-1"
date = 2026-03-10
analyst = "invented"
method = "method.toml"
register = "register.toml"
samples = "samples.csv"
solutions = "solutions.csv"
readings = "readings.csv"

[[standard]]
label = "S0"
concentration = { Zn = "0 mg/L" }

[[standard]]
label = "S1"
from = "Z-50"

[[standard.step]]
aliquot_mass = "2.0125 g"
total_mass = "100.421 g"
balance = "BAL"
density_made = { value = "1.0052 g/mL", u = "0.003 g/mL" }

[[standard]]
label = "S2"
from = "Z-50"

[[standard.step]]
aliquot = "P5"
to = "F100"
density = { value = "1.0081 g/mL", u = "0.004 g/mL" }

[[standard]]
label = "S3"
from = "Z-1000"

[[standard.step]]
aliquot_mass = "0.2531 g"
to = "F50"
balance = "BAL"
density = { value = "1.0154 g/mL", U = "0.01 g/mL", k = 2 }
"""

SAMPLES = """sample,kind,solution
A,sample,A
B,sample,B
"""
SOLUTIONS = """solution,from,dilution,aliquot_mass [g],total_mass [g],balance
B-D,B,mass > mass,5.0214,50.338,BAL
"""
READINGS = """solution,analyte,line,r1,r2,r3
S0,Zn,213.9,52,47,50
S1,Zn,213.9,1058,1047,1052
S2,Zn,213.9,2581,2570,2567
S3,Zn,213.9,5041,5060,5048
A,Zn,213.9,3020,3031,3011
B-D,Zn,213.9,1650,1641,1656
"""


def texts(**changed: str) -> list[SourceText]:
    """The files of the run; a text given by its role replaces one."""
    files = {
        "run": ("run.toml", RUN),
        "method": ("method.toml", METHOD),
        "register": ("register.toml", REGISTER),
        "samples": ("samples.csv", SAMPLES),
        "solutions": ("solutions.csv", SOLUTIONS),
        "readings": ("readings.csv", READINGS),
    }
    return [SourceText(role, name, changed.get(role, text)) for role, (name, text) in files.items()]  # type: ignore[arg-type]
