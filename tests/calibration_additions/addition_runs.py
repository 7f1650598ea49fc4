"""Runs with standard additions as text files: two published series, and an invented one with all its ware."""

from __future__ import annotations

from pathlib import Path

_METHOD = """
[method]
id = "{id}"
title = "{title}"
version = "1"
status = "approved"
measurand = "{measurand}"
unit = "{unit}"
equation = "{equation}"

[analytes]
{analyte} = []

[symbols.c]
operation = "standard additions"
quantity = "concentration in the solution read"
unit = "{unit_c}"
form = "{form}"
variance = "{variance}"
additions_exact = "{exact}"
{symbols}
[coverage]
rule = "t"
probability = 0.95

[effects]
"reading scatter" = "counted"
"sample homogeneity" = "negligible: one portion"
{effects}
"""
_RUN = """
[run]
id = "{id}"
date = 2026-03-10
analyst = "A. Invented"
method = "method.toml"
register = "register.toml"
samples = "samples.csv"
readings = "readings.csv"
"""
_REGISTER = """
title = "Register of the run"
revision = "1"
date = 2026-01-15

[[equipment]]
id = "PP"
kind = "piston pipette"
description = "adjustable pipette to 0.3 mL"
nominal = "0.3 mL"
tolerance = "0.002 mL"
repeatability = "0.0006 mL"
repeatability_dof = 9

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
id = "V5"
kind = "pipette"
description = "pipette 5 mL"
nominal = "5 mL"
tolerance = "0.015 mL"

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
id = "V2"
kind = "pipette"
description = "pipette 2 mL"
nominal = "2 mL"
tolerance = "0.01 mL"

[[equipment.certificate]]
number = "E-3"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[equipment]]
id = "F25"
kind = "flask"
description = "flask 25 mL, numbered"
nominal = "25 mL"
tolerance = "0.04 mL"

[[equipment.certificate]]
number = "E-4"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[equipment]]
id = "F25-B"
kind = "flask"
description = "flask 25 mL, numbered"
nominal = "25 mL"
tolerance = "0.04 mL"
repeatability = "0.01 mL"

[[equipment.certificate]]
number = "E-5"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[equipment]]
id = "F25-S"
kind = "flask"
description = "flasks 25 mL, without number"
use = "one of a set"
nominal = "25 mL"
tolerance = "0.04 mL"

[[equipment.certificate]]
number = "E-6"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[reference_material]]
id = "ST"
kind = "stock solution"
description = "standard for additions"
lot = "L1"

[[reference_material.certificate]]
number = "C-1"
issuer = "Invented producer"
accreditation = "X 2"
route = "accredited producer"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "mole"
ends_at = "SI"

[[reference_material.certificate.property]]
value = "{stock}"
U = "{U}"
k = 2
analyte = "{analyte}"
"""
_ADDITION = """
[[addition]]
solution = "{solution}"
added_to = "{added_to}"
standard = "{standard}"
pipette = "PP"
delivered = "{delivered} mL"
{vessel}
"""
EXACT = "the source takes the added amounts as exact"


def _written(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def _readings(analyte: str, signals: dict[str, list[float]]) -> str:
    rows = [f"{solution},{analyte},,{','.join(map(str, values))}" for solution, values in signals.items()]
    widest = max(len(values) for values in signals.values())
    heading = ",".join(["solution", "analyte", "line", *(f"r{n}" for n in range(1, widest + 1))])
    return "\n".join([heading, *rows]) + "\n"


def aluminium(folder: Path, data: dict[str, list[float]], variance: str, *, by_volume: bool = True) -> Path:
    """Aluminium in chewing gum, constant volume 25 mL. `data`: V_std in mL, signal. Additions by volume of a standard
    of 300 mg/L, or as the concentrations that follow."""
    symbols = """
[symbols.V]
operation = "constant"
quantity = "volume of the digest"
value = "100 mL"

[symbols.m]
operation = "constant"
quantity = "mass of the sample"
value = "3.12 g"
"""
    run = _RUN.format(id="AL")
    for number, volume in enumerate(data["V_std"][1:], start=1):
        if by_volume:
            run += _ADDITION.format(
                solution=f"A+{number}", added_to="A", standard="ST", delivered=volume, vessel='flask = "F25"'
            )
        else:
            amount = float(f"{300 * volume / 25:.12g}")
            run += (
                f'\n[[addition]]\nsolution = "A+{number}"\nadded_to = "A"\nconcentration = {{ Al = "{amount} mg/L" }}\n'
            )
    labels = ["A", *(f"A+{number}" for number in range(1, len(data["V_std"])))]
    method = _METHOD.format(
        id="AL",
        title="Aluminium by standard additions",
        measurand="mass fraction of aluminium",
        unit="mg/kg",
        equation="w = c*V/m",
        analyte="Al",
        unit_c="mg/L",
        form="constant volume",
        variance=variance,
        exact=EXACT,
        symbols=symbols,
        effects="",
    )
    return _written(
        folder,
        {
            "run.toml": run,
            "method.toml": method,
            "register.toml": _REGISTER.format(stock="300 mg/L", U="1 mg/L", analyte="Al"),
            "samples.csv": "sample,solution\nGUM,A\n",
            "readings.csv": _readings("Al", dict(zip(labels, [[y] for y in data["signal"]], strict=True))),
        },
    )


def volume_change(folder: Path, data: dict[str, list[float]]) -> Path:
    """Additions of a standard of 600 ug/L to 5.00 mL. `data`: V_std in mL, signal."""
    run = _RUN.format(id="VC")
    for number, volume in enumerate(data["V_std"][1:], start=1):
        run += _ADDITION.format(
            solution=f"A+{number}", added_to="A", standard="ST", delivered=volume, vessel='aliquot = "V5"'
        )
    labels = ["A", *(f"A+{number}" for number in range(1, len(data["V_std"])))]
    method = _METHOD.format(
        id="VC",
        title="Concentration by standard additions",
        measurand="concentration",
        unit="ug/L",
        equation="C = c",
        analyte="X",
        unit_c="ug/L",
        form="volume change",
        variance="line",
        exact=EXACT,
        symbols="",
        effects="",
    )
    return _written(
        folder,
        {
            "run.toml": run,
            "method.toml": method,
            "register.toml": _REGISTER.format(stock="600 ug/L", U="2 ug/L", analyte="X"),
            "samples.csv": "sample,solution\nS,A\n",
            "readings.csv": _readings("X", dict(zip(labels, [[y] for y in data["signal"]], strict=True))),
        },
    )


def sediment(folder: Path, form: str, variance: str = "line", *, repeatability: str = "counted") -> Path:
    """Invented: cadmium in two digests of harbour sediment, one of them diluted, additions with all their ware.

    The first series goes into two numbered flasks and one without number; the second is given a standard that was
    itself prepared from the same stock."""
    change = form == "volume change"
    run = _RUN.format(id="CD").replace(
        'readings = "readings.csv"', 'readings = "readings.csv"\nsolutions = "solutions.csv"'
    )
    run += """
[stocks.Cd]
item = "ST"
calculated_with = "10 mg/L"

[[standard]]
label = "INT"

[[standard.step]]
aliquot = "V2"
to = "F25"
"""
    flasks = ["F25", "F25-B", "F25-S"]
    for label, standard in (("A", "ST"), ("B/d", "INT")):
        for number, volume in enumerate((0.1, 0.2, 0.3)):
            vessel = 'aliquot = "V5"' if change else f'flask = "{flasks[number]}"'
            run += _ADDITION.format(
                solution=f"{label}+{number + 1}", added_to=label, standard=standard, delivered=volume, vessel=vessel
            )
    symbols = """
[symbols.V]
operation = "volume"
quantity = "volume of the digest"
unit = "mL"
ware = "F25"

[symbols.f]
operation = "dilution"
quantity = "dilution factor"

[symbols.m]
operation = "input"
quantity = "mass of the test portion"
unit = "g"
column = "mass"
u = "0.0002 g"
"""
    method = _METHOD.format(
        id="CD",
        title="Cadmium in harbour sediment by standard additions (invented)",
        measurand="mass fraction of cadmium",
        unit="mg/kg",
        equation="w = c*V*f/m",
        analyte="Cd",
        unit_c="mg/L",
        form=form,
        variance=variance,
        exact="",
        symbols=symbols,
        effects=f'"standard repeatability" = "{repeatability}"\n"filling repeatability" = "counted"\n'
        '"delivery repeatability" = "counted"',
    )
    signals = {
        "A": [0.214, 0.216],
        "A+1": [0.386, 0.381],
        "A+2": [0.554, 0.557],
        "A+3": [0.728, 0.724],
        "B/d": [0.119, 0.118],
        "B/d+1": [0.153, 0.155],
        "B/d+2": [0.190, 0.187],
        "B/d+3": [0.221, 0.223],
    }
    return _written(
        folder,
        {
            "run.toml": run,
            "method.toml": method,
            "register.toml": _REGISTER.format(stock="10.02 mg/L", U="0.06 mg/L", analyte="Cd"),
            "samples.csv": "sample,solution,mass [g]\nSED-A,A,0.5031\nSED-B,B,0.4987\n",
            "solutions.csv": "solution,from,dilution,reports\nB/d,B,V5 > F25-B,Cd\n",
            "readings.csv": _readings("Cd", signals),
        },
    )
