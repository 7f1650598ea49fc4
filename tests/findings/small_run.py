"""A small valid run, invented: zinc in harbour sediment, two samples, two blanks, four standards."""

from __future__ import annotations

from pathlib import Path

RUN = """
[run]
id = "HS-014"
date = 2026-03-10
analyst = "A. Invented"
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
concentration = { Zn = "0.5 mg/L" }

[[standard]]
label = "S2"
concentration = { Zn = "1 mg/L" }

[[standard]]
label = "S3"
concentration = { Zn = "2 mg/L" }

[stocks.Zn]
item = "ST-ZN"
calculated_with = "1000 mg/L"

[[exclude_reading]]
solution = "SED-02"
analyte = "Zn"
line = "213.9"
replicate = 3
reason = "air bubble seen"
"""

METHOD = """
[method]
id = "M-ZN"
title = "Zinc in harbour sediment"
version = "3"
status = "approved"
effective = 2026-01-01
review = 2027-01-01
measurand = "mass fraction of zinc"
unit = "mg/kg"
equation = "w = (c*V*f - cb*Vb*fb)/m*F*R"

[analytes]
Zn = ["213.9"]

[symbols.c]
operation = "calibration"
quantity = "concentration in the measured solution"
unit = "mg/L"
scatter = "own"

[symbols.cb]
operation = "blank"
quantity = "mean blank"
unit = "mg/L"

[symbols.V]
operation = "volume"
quantity = "volume of the digest"
unit = "L"
ware = "F50-2"

[symbols.Vb]
operation = "volume"
quantity = "volume of the blank"
unit = "L"
of = "blank"
ware = "F50-2"

[symbols.f]
operation = "dilution"
quantity = "dilution factor"

[symbols.fb]
operation = "dilution"
quantity = "dilution factor of the blank"
of = "blank"

[symbols.m]
operation = "weighing"
quantity = "mass of the test portion"
unit = "kg"
balance = "BAL-1"
tare_column = "tare"
gross_column = "gross"

[symbols.F]
operation = "dry mass factor"
quantity = "dry mass factor"
column = "moisture"
u = "0.2 %"

[symbols.R]
operation = "input"
quantity = "reciprocal recovery"
estimate = 1
U = "2 %"
k = 2

[exclusions]
leave = 2

[effects]
"weighing repeatability" = "counted"
"filling repeatability" = "counted"
"delivery repeatability" = "counted"
"reading scatter" = "counted"
"blank scatter" = "counted"
"sample homogeneity" = "negligible: ground below 100 um"
"""

REGISTER = """
title = "Invented register"
revision = "7"
date = 2026-01-15

[[equipment]]
id = "BAL-1"
kind = "balance"
description = "analytical balance"
resolution = "0.1 mg"
linearity = "0.2 mg"
repeatability = "0.1 mg"

[[equipment.certificate]]
number = "E-1"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[equipment]]
id = "F50-2"
kind = "flask"
description = "flask 50 mL"
nominal = "50 mL"
tolerance = "0.06 mL"

[[equipment.certificate]]
number = "E-2"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[equipment]]
id = "P5-1"
kind = "pipette"
description = "pipette 5 mL"
nominal = "5 mL"
tolerance = "0.015 mL"

[[equipment.certificate]]
number = "E-3"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[reference_material]]
id = "ST-ZN"
kind = "stock solution"
description = "zinc solution"
lot = "L1"

[[reference_material.certificate]]
number = "C-77"
issuer = "Invented producer"
accreditation = "X 2"
route = "accredited producer"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "mole"
ends_at = "SI"

[[reference_material.certificate.property]]
value = "1001 mg/L"
U = "4 mg/L"
k = 2
analyte = "Zn"
"""

SAMPLES = """sample,kind,tare [g],gross [g],moisture [%]
SED-01,,12.0012,12.5034,3.1
SED-02,,12.1012,12.6001,2.9
BL-1,blank,,,
BL-2,blank,,,
"""

SOLUTIONS = """solution,from,dilution,reports
SED-01 d,SED-01,P5-1 > F50-2,Zn
"""

READINGS = """solution,analyte,line,r1,r2,r3
S0,Zn,213.9,0.001,0.002,0.001
S1,Zn,213.9,0.101,0.102,0.100
S2,Zn,213.9,0.201,0.202,0.199
S3,Zn,213.9,0.401,0.403,0.399
SED-01,Zn,213.9,0.395,0.396,0.394
SED-01 d,Zn,213.9,0.040,0.041,0.040
SED-02,Zn,213.9,0.205,0.206,0.350
BL-1,Zn,213.9,0.003,0.004,
BL-2,Zn,213.9,0.002,0.004,
"""

FILES = {
    "run.toml": RUN,
    "method.toml": METHOD,
    "register.toml": REGISTER,
    "samples.csv": SAMPLES,
    "solutions.csv": SOLUTIONS,
    "readings.csv": READINGS,
}


def write_run(folder: Path, **changed: str) -> Path:
    """The run in `folder`; `changed` gives other texts by role (`samples=...`)."""
    for name, text in FILES.items():
        role = name.partition(".")[0]
        (folder / name).write_text(changed.get(role, text), encoding="utf-8", newline="\n")
    return folder


def replaced(name: str, old: str, new: str) -> str:
    """The text of a file with one thing changed."""
    text = FILES[name]
    assert old in text, f"{old!r} is not in {name}"
    return text.replace(old, new, 1)
