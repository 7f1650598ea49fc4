"""A run of any size in the shape that laboratories know: digests on one balance, diluted, read on two lines an element.

Every figure is invented. One result has 24 or 25 input quantities, none of them zero: six of the weighing, nine of the
volumes of sample and blank, the dilution and the temperature, five of the curve with its stock, two of the blank, and
recovery, dry mass and precision between runs. Where a digest is diluted in the flask it was made up in, that flask's
calibration is one quantity."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import numpy as np

ELEMENTS = ("Al", "As", "Ba", "Cd", "Co", "Cr", "Cu", "Fe", "Mn", "Ni", "Pb", "Sb", "Sr", "V", "Zn")
LEVELS = (0.0, 0.5, 1.0, 2.0, 3.5, 5.0)
"""mg/L."""
OFFSETS = (0.3, -0.4, 0.2, 0.1, -0.4, 0.2)
"""Of the levels from the line, in units of the scatter."""
BLANKS, REPLICATES, FLASKS, PIPETTES = 3, 3, 12, 4
DAY = dt.date(2026, 3, 17)

_EFFECTS = """
[effects]
"reading scatter" = "counted"
"weighing repeatability" = "counted"
"filling repeatability" = "counted"
"delivery repeatability" = "counted"
"blank scatter" = "counted"
"sample homogeneity" = "negligible: invented"

[coverage]
rule = "t"
probability = 0.9545
"""
_TEMPERATURE = """
[symbols.{symbol}.temperature]
half_range = "4 K"
distribution = "rectangular"
expansion = "2.1e-4 1/K"
shared = true
source = "room, invented"
"""
_METHOD = """
[method]
id = "M-BIG"
title = "Invented method for a run of many results"
version = "1"
status = "approved"
author = "author"
approver = "approver"
effective = {day}
review = 2027-01-12
measurand = "mass fraction of the extractable element"
basis = "dry mass"
defined_by = "the invented digestion of this method"
unit = "mg/kg"
equation = "w = (c*V*f - c_blank*V_blank)/(m*R)*F_dry + d_L"

[symbols.c]
operation = "calibration"
quantity = "mass concentration in the measured solution"
unit = "mg/L"
curve = "line"
scatter = "residual"

[symbols.c.preparation]
u = "0.3 %"
source = "pipettes and flasks of the standards, invented"

[symbols.V]
operation = "volume"
quantity = "volume of the digest"
unit = "mL"
ware_column = "flask"
{temperature_of_digest}
[symbols.f]
operation = "dilution"
quantity = "dilution factor"
{temperature_of_dilution}
[symbols.c_blank]
operation = "blank"
quantity = "mean mass concentration in the procedural blanks"
unit = "mg/L"

[symbols.V_blank]
operation = "volume"
quantity = "volume of the blank"
unit = "mL"
of = "blank"
ware_column = "flask"
{temperature_of_blank}
[symbols.m]
operation = "weighing"
quantity = "mass of the test portion"
unit = "g"
balance = "BAL"
tare_column = "tare"
gross_column = "gross"

[symbols.F_dry]
operation = "dry mass factor"
quantity = "factor to dry mass"
column = "moisture"
u = "0.15 %"
dof = 11
evaluation = "A"
source = "duplicate determinations, invented"

[symbols.R]
operation = "input"
quantity = "recovery of the digestion"
group = "recovery"

[symbols.d_L]
operation = "precision"
quantity = "precision between runs"
part = "between runs"
relative = "1.5 %"
dof = 20
source = "control material, invented"
"""
_BALANCE = """
title = "Invented register"
revision = "1"
date = 2026-02-27

[[equipment]]
id = "BAL"
kind = "balance"
description = "analytical balance"
resolution = "0.1 mg"
repeatability = "0.1 mg"
repeatability_dof = 9

[[equipment.certificate]]
number = "B-1"
issuer = "calibration service (invented)"
accreditation = "invented"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"

[[equipment.certificate.property]]
value = "0 mg"
U = "0.2 mg"
k = 2
"""
_WARE = """
[[equipment]]
id = "{id}"
kind = "{kind}"
description = "{kind} {nominal} mL"
use = "individual"
nominal = "{nominal} mL"
repeatability = "{filling} mL"
repeatability_dof = 9

[[equipment.certificate]]
number = "V-{id}"
issuer = "calibration service (invented)"
accreditation = "invented"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram and density of water, by weighing"
ends_at = "SI"

[[equipment.certificate.property]]
value = "{value} mL"
U = "{U} mL"
k = 2
"""
_STOCK = """
[[reference_material]]
id = "STK-{element}"
kind = "stock solution"
description = "{element}, nominally 1000 mg/L"
lot = "{element}-1"
expiry = 2027-12-31
measurand = "mass concentration"

[[reference_material.certificate]]
number = "S-{element}"
issuer = "producer (invented)"
accreditation = "invented"
route = "accredited producer"
issued = 2025-06-16
due = 2027-12-31
traceable_to = "mole and kilogram"
ends_at = "SI"

[[reference_material.certificate.property]]
value = "{value} mg/L"
U = "2 mg/L"
k = 2
"""


def write_run(folder: Path, samples: int, lines: int = 30) -> Path:
    """Writes the files of a run with `samples` × `lines` results; the same numbers give the same files."""
    rng = np.random.default_rng(samples * 1000 + lines)
    chosen = [(ELEMENTS[number // 2], f"{200 + 7 * number}.{number % 10}") for number in range(lines)]
    elements = list(dict.fromkeys(element for element, _ in chosen))
    folder.mkdir(parents=True, exist_ok=True)
    tables = {
        "method.toml": _method(chosen, elements, rng),
        "register.toml": _register(elements, rng),
        "run.toml": _run(elements),
        "samples.csv": _samples(samples, rng),
        "solutions.csv": _solutions(samples),
        "readings.csv": _readings(samples, chosen, rng),
    }
    for name, text in tables.items():
        (folder / name).write_text(f"# INVENTED for benchmarks\n{text}" if name.endswith("toml") else text, "utf-8")
    return folder


def _method(chosen: list[tuple[str, str]], elements: list[str], rng: np.random.Generator) -> str:
    text = _METHOD.format(
        day=DAY,
        temperature_of_digest=_TEMPERATURE.format(symbol="V"),
        temperature_of_dilution=_TEMPERATURE.format(symbol="f"),
        temperature_of_blank=_TEMPERATURE.format(symbol="V_blank"),
    )
    listed = "\n".join(f"{element} = {[line for e, line in chosen if e == element]}" for element in elements)
    recoveries = "\n".join(
        f'\n[[symbols.R.for]]\nanalyte = "{element}"\nestimate = {rng.uniform(0.94, 1.0):.3f}\nu = 0.012\ndof = 14\n'
        'evaluation = "A"\nsource = "spiked samples, invented"'
        for element in elements
    )
    return f"{text}\n[analytes]\n{listed}\n{recoveries}\n{_EFFECTS}"


def _register(elements: list[str], rng: np.random.Generator) -> str:
    flasks = [
        _WARE.format(
            id=f"F50-{number}", kind="flask", nominal=50, filling=0.02, value=f"{rng.normal(50, 0.02):.3f}", U=0.02
        )
        for number in range(1, FLASKS + BLANKS + 1)
    ]
    pipettes = [
        _WARE.format(
            id=f"P5-{number}", kind="pipette", nominal=5, filling=0.006, value=f"{rng.normal(5, 0.003):.4f}", U=0.006
        )
        for number in range(1, PIPETTES + 1)
    ]
    stocks = [_STOCK.format(element=element, value=f"{rng.normal(1000, 2):.1f}") for element in elements]
    return "".join([_BALANCE, *flasks, *pipettes, *stocks])


def _run(elements: list[str]) -> str:
    head = (
        f'\n[run]\nid = "BIG"\ndate = {DAY}\nanalyst = "analyst"\nmethod = "method.toml"\nregister = "register.toml"\n'
        'samples = "samples.csv"\nsolutions = "solutions.csv"\nreadings = "readings.csv"\nreading_unit = "1/s"\n'
    )
    standards = [
        f'\n[[standard]]\nlabel = "S{number}"\nconcentration = {{ '
        + ", ".join(f'{element} = "{level:g} mg/L"' for element in elements)
        + " }\n"
        for number, level in enumerate(LEVELS)
    ]
    stocks = [f'\n[stocks.{element}]\nitem = "STK-{element}"\ncalculated_with = "1000 mg/L"\n' for element in elements]
    return head + "".join(standards) + "".join(stocks)


def _samples(samples: int, rng: np.random.Generator) -> str:
    rows = ["sample,portion,kind,solution,matrix,material,tare [g],gross [g],flask,moisture [%]"]
    rows += [f"BL-{number},1,blank,BL-{number},reagents,,,,F50-{FLASKS + number}," for number in range(1, BLANKS + 1)]
    for number in range(samples):
        tare, net, moisture = rng.uniform(39, 43), rng.uniform(0.45, 0.55), rng.uniform(1.5, 3.5)
        name, flask = _name(number), f"F50-{number % FLASKS + 1}"
        rows.append(f"{name},1,sample,{name},soil,,{tare:.4f},{tare + net:.4f},{flask},{moisture:.2f}")
    return "\n".join(rows) + "\n"


def _solutions(samples: int) -> str:
    rows = [
        f"{_name(number)}-D,{_name(number)},P5-{number % PIPETTES + 1} > F50-{number % (FLASKS - 1) + 1},"
        for number in range(samples)
    ]
    return "\n".join(["solution,from,dilution,reports", *rows]) + "\n"


def _name(number: int) -> str:
    return f"X-{number + 1:05d}"


def _readings(samples: int, chosen: list[tuple[str, str]], rng: np.random.Generator) -> str:
    concentrations = {f"S{number}": level for number, level in enumerate(LEVELS)}
    concentrations |= {f"BL-{number}": 0.02 for number in range(1, BLANKS + 1)}
    rows = [f"solution,analyte,line,{','.join(f'r{number + 1}' for number in range(REPLICATES))}"]
    steepness = rng.uniform(8000, 40000, len(chosen))
    solutions = [*concentrations, *(f"{_name(number)}-D" for number in range(samples))]
    for solution in solutions:
        content = np.full(len(chosen), concentrations.get(solution, np.nan))
        content = np.where(np.isnan(content), rng.uniform(0.6, 4.5, len(chosen)), content)
        signal = 150 + steepness * content
        scatter = rng.normal(0, 1, (len(chosen), REPLICATES))
        if solution.startswith("S"):
            # The same on all lines, so that no test of a curve finds anything by chance.
            scatter = np.broadcast_to(np.linspace(-1, 1, REPLICATES) + OFFSETS[int(solution[1:])], scatter.shape)
        counts = signal[:, None] + 0.01 * steepness[:, None] * scatter
        for (element, line), values in zip(chosen, counts, strict=True):
            rows.append(f"{solution},{element},{line},{','.join(f'{max(value, 1):.0f}' for value in values)}")
    return "\n".join(rows) + "\n"
