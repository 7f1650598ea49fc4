"""An invented run of zinc compared with limits under every rule, with a declared level function."""

from __future__ import annotations

from pathlib import Path

from tests.findings.small_run import METHOD, READINGS, SAMPLES, write_run

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


MORE_SAMPLES = """SED-03,,12.1000,12.6008,2.9
SED-04,,12.1010,12.6003,2.9
SED-05,,12.1020,12.6013,2.9
"""
MORE_READINGS = """SED-03,Zn,213.9,0.302,0.303,0.304
SED-04,Zn,213.9,0.105,0.106,0.104
SED-05,Zn,213.9,0.052,0.053,0.051
"""
FITTED = """
[[level_function]]
origin = "fitted"

[[tolerance_limit]]
name = "plan"
upper = "90 mg/kg"
rule = "guarded acceptance"
guard_multiple = 0.83
uncertainty = "at the limit"
distribution = "t"
required_U = "4 %"
source = "invented"
"""


def fitted_run(folder: Path, limits: str = FITTED) -> Path:
    """Five samples, to whose results the level function is fitted."""
    folder.mkdir(exist_ok=True)
    texts = {"samples": SAMPLES + MORE_SAMPLES, "readings": WITH_LIMITS["readings"] + MORE_READINGS}
    return write_run(folder, **{**texts, "method": METHOD + limits})


ALL_PASS = """
[[tolerance_limit]]
name = "generous"
upper = "900 mg/kg"
rule = "simple acceptance"
source = "invented"
agreed_by = "invented client"
agreed_on = 2026-01-05
"""
