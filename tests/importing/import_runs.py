"""Two small runs, invented: copper and zinc in well water, read as intensities and as concentrations of the device.

TRUTH and CONCENTRATIONS are the readings behind every export of the corpus, written here by hand; a file of the corpus
holds them in another shape."""

from __future__ import annotations

from pathlib import Path

Key = tuple[str, str, str]

LINES = (("Cu", "324.754"), ("Zn", "213.857"))
TRUTH: dict[Key, tuple[str, ...]] = {
    ("S0", "Cu", "324.754"): ("12.5", "-3.5", "8.25"),
    ("S0", "Zn", "213.857"): ("0.5", "4.75", "2.5"),
    ("S1", "Cu", "324.754"): ("1203.5", "1211.25", "1198.5"),
    ("S1", "Zn", "213.857"): ("803.5", "799.25", "810.5"),
    ("S2", "Cu", "324.754"): ("2407.5", "2399.25", "2411.5"),
    ("S2", "Zn", "213.857"): ("1604.5", "1611.25", "1598.5"),
    ("S3", "Cu", "324.754"): ("4811.5", "4795.25", "4802.5"),
    ("S3", "Zn", "213.857"): ("3204.5", "3188.25", "3211.5"),
    ("BL-1", "Cu", "324.754"): ("-6.5", "2.25", "-1.5"),
    ("BL-1", "Zn", "213.857"): ("1.5", "-2.25", "0.5"),
    ("1-2", "Cu", "324.754"): ("1807.5", "1811.25", "1799.5"),
    ("1-2", "Zn", "213.857"): ("905.5", "899.25", "911.5"),
    ("MAR1", "Cu", "324.754"): ("707.5", "711.25", "699.5"),
    ("MAR1", "Zn", "213.857"): ("2205.5", "2199.25", "2211.5"),
    ("00123", "Cu", "324.754"): ("3007.5", "3011.25", "2999.5"),
    ("00123", "Zn", "213.857"): ("405.5", "399.25", "411.5"),
}
CONCENTRATIONS: dict[Key, tuple[str, ...]] = {
    ("S1", "Cu", "324.754"): ("0.2508", "0.2512", "0.2497"),
    ("S1", "Zn", "213.857"): ("0.2491", "0.2488", "0.2503"),
    ("CHK", "Cu", "324.754"): ("0.5051", "0.4993", "0.5022"),
    ("CHK", "Zn", "213.857"): ("0.4951", "0.4893", "0.4922"),
    ("1-2", "Cu", "324.754"): ("0.3751", "0.3763", "0.3742"),
    ("1-2", "Zn", "213.857"): ("0.2851", "0.2793", "0.2822"),
    ("MAR1", "Cu", "324.754"): ("0.0051", "-0.0003", "0.0012"),
    ("MAR1", "Zn", "213.857"): ("0.6851", "0.6793", "0.6822"),
}

RUN = """# INVENTED
[run]
id = "WW-7"
date = 2026-03-10
analyst = "analyst 1"
method = "method.toml"
samples = "samples.csv"
readings = "readings.csv"
reading_unit = "1/s"
"""
STANDARDS = """
[[standard]]
label = "S0"
concentration = { Cu = "0 mg/L", Zn = "0 mg/L" }

[[standard]]
label = "S1"
concentration = { Cu = "0.25 mg/L", Zn = "0.25 mg/L" }

[[standard]]
label = "S2"
concentration = { Cu = "0.5 mg/L", Zn = "0.5 mg/L" }

[[standard]]
label = "S3"
concentration = { Cu = "1 mg/L", Zn = "1 mg/L" }
"""
METHOD = """
[method]
id = "M-WW"
title = "Copper and zinc in well water"
version = "1"
status = "approved"
author = "method owner"
approver = "head of laboratory"
effective = 2026-01-01
review = 2027-01-01
measurand = "mass concentration of the dissolved element"
unit = "mg/L"
equation = "rho = c*F"

[analytes]
Cu = ["324.754"]
Zn = ["213.857"]

[symbols.F]
operation = "input"
quantity = "factor for the acid added"
estimate = 1.01
u = 0.001
source = "validation file (invented)"

[effects]
"reading scatter" = "counted"
"sample homogeneity" = "negligible: filtered water"
"""
CALIBRATED = """
[symbols.c]
operation = "calibration"
quantity = "mass concentration in the solution measured"
unit = "mg/L"
scatter = "own"
preparation = { u = "0.3 %", source = "validation file (invented)" }
"""
BY_DEVICE = """
[symbols.c]
operation = "device concentration"
quantity = "mass concentration in the solution measured"
unit = "mg/L"
curve_from = "declared"

[[symbols.c.curve]]
u = "1.5 %"
source = "validation file (invented)"
"""
SAMPLES = "sample,kind,solution\nWell 1,sample,1-2\nWell 2,sample,MAR1\n"
MORE_SAMPLES = SAMPLES + "Well 3,sample,00123\nBlank 1,blank,BL-1\n"
CHECKS = """
[[check_solution]]
label = "CHK"
concentration = { Cu = "0.5 mg/L", Zn = "0.5 mg/L" }
u = "0.6 %"
source = "check solution C-4 (invented)"
"""


def write_calibrated(folder: Path, *, standards: str = STANDARDS, method: str = "", run: str = "") -> Path:
    """A run folder without readings whose method calibrates intensities."""
    return _write(folder, RUN + run + standards, METHOD + CALIBRATED + method, MORE_SAMPLES)


def write_by_device(folder: Path, *, method: str = BY_DEVICE) -> Path:
    """A run folder without readings whose method takes concentrations of the device."""
    (standard,) = (part for part in STANDARDS.split("[[standard]]") if '"S1"' in part)
    return _write(folder, f"{RUN}{CHECKS}\n[[standard]]{standard}", METHOD + method, SAMPLES)


def _write(folder: Path, run: str, method: str, samples: str) -> Path:
    folder.mkdir(exist_ok=True)
    for name, text in (("run.toml", run), ("method.toml", method), ("samples.csv", samples)):
        (folder / name).write_text(text, encoding="utf-8")
    return folder
