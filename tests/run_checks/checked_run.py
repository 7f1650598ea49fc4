"""An invented run of zinc that carries every kind of check: check solutions, blanks, duplicate, spike and material."""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import METHOD, READINGS, REGISTER, RUN, SAMPLES, write_run

LIMITS = """
[[quality_limit]]
kind = "check solution"
recovery = ["90 %", "110 %"]
source = "invented"

[[quality_limit]]
kind = "blank"
at_most = "0.05 mg/L"

[[quality_limit]]
kind = "duplicate"
at_most = "10 %"

[[quality_limit]]
kind = "spike"
recovery = ["80 %", "120 %"]

[[quality_limit]]
kind = "reference material"
analytes = ["Zn"]
recovery = ["85 %", "115 %"]
"""
CHECKS = """
[[check_solution]]
label = "CHK"
concentration = { Zn = "1.2 mg/L" }

[[spike]]
sample = "SED-02 S"
of = "SED-02"
added = { Zn = "50 mg/kg" }

[[duplicate]]
samples = ["SED-02", "SED-02 D"]
"""
MATERIAL = """
[[reference_material]]
id = "RM-1"
kind = "matrix reference material"
description = "invented sediment"
lot = "L9"

[[reference_material.certificate]]
number = "C-90"
issuer = "Invented producer"
accreditation = "X 2"
route = "accredited producer"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "mole"
ends_at = "SI"

[[reference_material.certificate.property]]
value = "96 mg/kg"
U = "4 mg/kg"
k = 2
analyte = "Zn"
"""
MORE_SAMPLES = [
    "SED-02 S,,12.1000,12.6008,2.9,",
    "SED-02 D,,12.1010,12.6003,2.9,",
    "RM,reference material,12.0500,12.5502,1.0,RM-1",
]
MORE_READINGS = [
    "CHK,Zn,213.9,0.242,0.241,0.240",
    "CHK #2,Zn,213.9,0.246,0.245,0.247",
    "SED-02 S,Zn,213.9,0.302,0.303,0.304",
    "SED-02 D,Zn,213.9,0.209,0.210,0.208",
    "RM,Zn,213.9,0.196,0.197,0.195",
]
WITH_CHECKS = {
    "method": METHOD + LIMITS,
    "run": RUN.partition("[[exclude_reading]]")[0] + CHECKS,
    "register": REGISTER + MATERIAL,
    "samples": "\n".join(
        [SAMPLES.splitlines()[0] + ",material", *(f"{line}," for line in SAMPLES.splitlines()[1:]), *MORE_SAMPLES]
    )
    + "\n",
    "readings": READINGS.replace("0.205,0.206,0.350", "0.205,0.206,0.207") + "\n".join(MORE_READINGS) + "\n",
}


def checked_run(folder: Path, **changed: str) -> Path:
    folder.mkdir(exist_ok=True)
    return write_run(folder, **{**WITH_CHECKS, **changed})


def with_change(role: str, old: str, new: str) -> dict[str, str]:
    assert old in WITH_CHECKS[role], old
    return {role: WITH_CHECKS[role].replace(old, new, 1)}
