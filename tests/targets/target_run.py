"""The small invented run of zinc with target uncertainties, and a second flask to choose."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.findings.small_run import METHOD, REGISTER, write_run
from tests.workbooks.books import evaluated
from ubudget.evaluation.evaluate import Evaluation
from ubudget.files.reading import read_records

GENERAL = METHOD.replace('unit = "mg/kg"\nequation', 'unit = "mg/kg"\ntarget_uncertainty = "4 %"\nequation')
CASES = """
[[target]]
analyte = "Zn"
level_to = "300 mg/kg"
U = "5 mg/kg"

[[target]]
analyte = "Zn"
level_from = "300 mg/kg"
u = "2 %"
source = "invented"
"""
FLASK = """
[[equipment]]
id = "F100-1"
kind = "flask"
description = "flask 100 mL"
nominal = "100 mL"
tolerance = "0.1 mL"

[[equipment.certificate]]
number = "E-4"
issuer = "Invented service"
accreditation = "X 1"
route = "accredited laboratory"
issued = 2025-03-04
due = 2027-03-04
traceable_to = "kilogram"
ends_at = "SI"
"""
WITH_FLASK = REGISTER.replace("[[reference_material]]", FLASK + "\n[[reference_material]]", 1)


@cache
def evaluation_of(method: str = GENERAL) -> Evaluation:
    """The run with a method's text."""
    with TemporaryDirectory() as folder:
        records, findings = read_records(write_run(Path(folder), method=method, register=WITH_FLASK))
    assert records is not None, [finding.line() for finding in findings]
    return evaluated(records)
