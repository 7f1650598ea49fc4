"""An invented run of zinc compared with limits under every rule, with a declared level function."""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import METHOD, READINGS, write_run

AGREED = """
source = "invented specification, edition 1"
agreed_by = "invented client"
agreed_on = 2026-01-05
"""
LIMITS = f"""
[[level_function]]
analytes = ["Zn"]
constant = "0.8 mg/kg"
relative = "1.5 %"
from = "5 mg/kg"
to = "1000 mg/kg"
dof = 40
source = "invented validation"

[[tolerance_limit]]
name = "simple"
upper = "130 mg/kg"
rule = "simple acceptance"
required_U = "5 %"
{AGREED}

[[tolerance_limit]]
name = "guarded"
upper = "0.115 g/kg"
rule = "guarded acceptance"
guard_multiple = 1
compares = "reported"
{AGREED}

[[tolerance_limit]]
name = "by risk"
lower = "50 mg/kg"
upper = "200 mg/kg"
rule = "guarded acceptance"
guard_risk = 0.05
uncertainty = "at the limit"
distribution = "t"
required_U = "3 %"
{AGREED}

[[tolerance_limit]]
name = "enforcement"
analyte = "Zn"
upper = "110 mg/kg"
rule = "guarded rejection"
guard_risk = 0.01
distribution = "t"
{AGREED}

[[tolerance_limit]]
name = "four words"
lower = "100 mg/kg"
upper = "500 mg/kg"
rule = "non-binary"
guard_multiple = 1
prior = "invented lots of a year"
prior_mean = "120 mg/kg"
prior_sd = "30 mg/kg"
{AGREED}
"""
WITH_LIMITS = {
    "method": METHOD + LIMITS,
    "readings": READINGS.replace("0.205,0.206,0.350", "0.205,0.206,0.207"),
}


def decided_run(folder: Path, **changed: str) -> Path:
    folder.mkdir(exist_ok=True)
    return write_run(folder, **{**WITH_LIMITS, **changed})


def with_change(old: str, new: str) -> dict[str, str]:
    assert old in WITH_LIMITS["method"], old
    return {"method": WITH_LIMITS["method"].replace(old, new, 1)}
