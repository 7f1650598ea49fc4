"""Limits of the method that fit no result of the run: a matrix may be misspelt, and nothing would be compared."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.bench.assembly import Assembly
from ubudget.evaluation.comparisons import comparisons_of
from ubudget.evaluation.level_tables import functions_of
from ubudget.records.finding import Finding


def unused_limit_findings(assembly: Assembly) -> Iterator[Finding]:
    """One finding for each; a person must look where the analyte is compared with no other limit either."""
    limits, run = assembly.records.method.tolerance_limits, assembly.records.run
    if not limits or run is None:
        return
    made = comparisons_of(assembly, functions_of(assembly))
    used = {one.limit for one in made}
    names = {limits[number].name for number in used}
    compared = {assembly.keys[one.result].analyte for one in made}
    measured = {key.analyte for key in assembly.keys}
    matrices = sorted({portion.matrix for portion in run.portions if portion.kind == "sample" and portion.matrix})
    for number, limit in enumerate(limits):
        if number in used or limit.name in names or (limit.analyte and limit.analyte not in measured):
            continue
        alone = not compared if not limit.analyte else limit.analyte not in compared
        yield Finding(
            "attend" if alone else "note",
            assembly.records.file("method"),
            f"tolerance_limit {number + 1} ({limit.name})",
            "no sample of this run that it fits" + (f"; it is for matrix {limit.matrix}" if limit.matrix else ""),
            f"samples of its matrix; those of the run: {', '.join(matrices) or 'none named'}",
            "compare the names of matrix and line with the samples table",
        )
