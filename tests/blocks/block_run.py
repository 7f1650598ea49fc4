"""An invented run of zinc in two calibration blocks: in the afternoon the device is a quarter more sensitive."""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import READINGS, RUN, write_run

STANDARDS = {"S0": 0.0, "S1": 0.5, "S2": 1.0, "S3": 2.0}
MORNING = [line.split(",") for line in READINGS.splitlines()[1:] if not line.startswith("SED-02")]
AFTERNOON = [
    ["S0", "Zn", "213.9", "0.002", "0.001", "0.003"],
    ["S1", "Zn", "213.9", "0.126", "0.127", "0.125"],
    ["S2", "Zn", "213.9", "0.251", "0.252", "0.250"],
    ["S3", "Zn", "213.9", "0.502", "0.503", "0.500"],
    ["SED-02", "Zn", "213.9", "0.256", "0.258", "0.257"],
]
BLANKS = [["BL-1", "Zn", "213.9", "0.004", "0.005", ""], ["BL-2", "Zn", "213.9", "0.003", "0.004", ""]]
RERUN = ["SED-01 d", "Zn", "213.9", "0.050", "0.051", "0.0505"]
WITHOUT_EXCLUSION = RUN.partition("[[exclude_reading]]")[0]


def table(*blocks: tuple[str, list[list[str]]], rerun: str = "") -> str:
    """Readings of named blocks; `rerun` stands beside the repeated solution of a later block."""
    lines = ["solution,analyte,line,block,rerun,r1,r2,r3"]
    seen: set[str] = set()
    for name, rows in blocks:
        for solution, analyte, line, *values in rows:
            again = rerun if solution in seen and solution not in STANDARDS else ""
            lines.append(",".join([solution, analyte, line, name, again, *values]))
        seen |= {row[0] for row in rows}
    return "\n".join(lines) + "\n"


def run_in(folder: Path, readings: str, run: str = WITHOUT_EXCLUSION, **changed: str) -> Path:
    folder.mkdir(exist_ok=True)
    return write_run(folder, run=run, readings=readings, **changed)
