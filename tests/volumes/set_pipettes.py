"""An invented run in which pipettes are set: standards and dilutions by a certified piston pipette and by others.

PP1 is certified at three volumes, PP5 has the limits of ISO 8655-2, BUR (a burette) is certified at two volumes. PP1
makes standards and dilutes sample A: its deviation is one."""

from __future__ import annotations

from ubudget.records.records import SourceText


def equipment(key: str, kind: str, nominal: str, *lines: str, points: tuple[tuple[str, str, str], ...] = ()) -> str:
    """A table of the register; `points` are at, value and U with k = 2."""
    text = [
        "[[equipment]]",
        f'id = "{key}"',
        f'kind = "{kind}"',
        f'description = "{kind} {nominal}"',
        f'nominal = "{nominal}"',
        *lines,
    ]
    if points:
        text += [
            "[[equipment.certificate]]",
            f'number = "C-{key}"',
            'issuer = "invented"',
            'accreditation = "invented"',
            'route = "accredited laboratory"',
            'traceable_to = "kilogram"',
            'ends_at = "SI"',
            "issued = 2026-01-10",
            "due = 2028-01-10",
        ]
    for at, value, U in points:
        text += ["[[equipment.certificate.property]]", f'at = "{at}"', f'value = "{value}"', f'U = "{U}"', "k = 2"]
    return "\n".join(text) + "\n\n"


PP1_POINTS = (
    ("100 µL", "100.6 µL", "0.8 µL"),
    ("500 µL", "501.1 µL", "1.2 µL"),
    ("1000 µL", "998.2 µL", "2.4 µL"),
)
BUR_POINTS = (("5 mL", "5.012 mL", "0.006 mL"), ("10 mL", "10.003 mL", "0.009 mL"))
PP1 = equipment(
    "PP1", "piston pipette", "1000 µL", 'repeatability = "1.1 µL"', "repeatability_dof = 9", points=PP1_POINTS
)
PP5 = equipment("PP5", "piston pipette", "5 mL")
BUR = equipment("BUR", "burette", "10 mL", points=BUR_POINTS)
FLASKS = equipment("F50", "flask", "50 mL", 'accuracy_class = "A"') + equipment(
    "F100", "flask", "100 mL", 'accuracy_class = "A"'
)
STOCK = """
[[reference_material]]
id = "STK"
kind = "stock solution"
description = "zinc 1000 mg/L"
lot = "Z-9"
expiry = 2027-01-01

[[reference_material.certificate]]
number = "C-9"
issuer = "invented"
issued = 2025-06-01
due = 2027-06-01
route = "accredited producer"
accreditation = "invented"
traceable_to = "kilogram, through high-purity metal"
ends_at = "SI"

[[reference_material.certificate.property]]
value = "1002 mg/L"
U = "3 mg/L"
k = 2
"""
REGISTER = 'title = "Invented register"\nrevision = "1"\ndate = 2026-01-15\n\n' + PP1 + PP5 + BUR + FLASKS + STOCK
METHOD = """
[method]
id = "M-ZN"
title = "Zinc"
version = "1"
status = "approved"
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

[symbols.f]
operation = "dilution"
quantity = "dilution factor"

[effects]
"reading scatter" = "counted"
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

[stocks]
Zn = { item = "STK", calculated_with = "1000 mg/L" }

[[standard]]
label = "S0"
concentration = { Zn = "0 mg/L" }

[[standard]]
label = "S1"
step = [{ aliquot = "PP1", to = "F50", set_to = "250 µL" }]

[[standard]]
label = "S2"
step = [{ aliquot = "PP1", to = "F50", set_to = "0.7 mL" }]

[[standard]]
label = "S3"
step = [{ aliquot = "PP1", to = "F50" }]
"""
SAMPLES = """sample,kind,solution
A,sample,A
B,sample,B
C,sample,C
"""
SOLUTIONS = """solution,from,dilution,set_to [mL]
A-D,A,PP1 > F100,0.3
B-D,B,PP5 > F100,2.5
C-D,C,BUR > F100,3
"""
READINGS = """solution,analyte,line,r1,r2,r3
S0,Zn,213.9,52,47,50
S1,Zn,213.9,1058,1047,1052
S2,Zn,213.9,2860,2849,2853
S3,Zn,213.9,4041,4060,4048
A-D,Zn,213.9,3020,3031,3011
B-D,Zn,213.9,1650,1641,1656
C-D,Zn,213.9,2005,2011,1998
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
