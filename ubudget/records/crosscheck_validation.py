"""The second route of a method: units, analytes, reviews, and what it cannot stand beside."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.finding import Finding
from ubudget.records.records import Records
from ubudget.records.unit_comparison import in_unit


def validation_findings(records: Records) -> list[Finding]:
    """Findings on `[validation]` of the method."""
    return list(_findings(records))


def _findings(records: Records) -> Iterator[Finding]:
    method, file, run = records.method, records.file("method"), records.run
    route = method.validation
    if route is None:
        return
    unit = method.document.unit
    for number, case in enumerate(route.cases, start=1):
        place = f"validation, for {number}"
        for name in ("u_Rw", "u_bias", "level_from", "level_to"):
            amount = getattr(case, name)
            fits = amount is None or (amount.unit == "%" and name.startswith("u_"))
            if not fits and in_unit(amount.value, amount.unit, unit) is None:
                accepted = f"a unit that converts to {unit or '1'}" + (", or %" if name.startswith("u_") else "")
                yield Finding("stop", file, f"{place}, {name}", amount.text, accepted, "correct the unit")
        if case.analyte and case.analyte not in method.analytes:
            accepted = f"analytes of the method: {', '.join(method.analytes) or 'none yet'}"
            yield Finding("stop", file, f"{place}, analyte", case.analyte, accepted, "correct the name")
    if route.reported and (method.several_lines or method.derived):
        other = "several_lines" if method.several_lines else "derived"
        found = f"reported = true beside {other}"
        accepted = "results of single lines alone"
        yield Finding("stop", file, "validation, reported", found, accepted, "report by the budget, or by lines")
    if route.reported and run is None:
        found, accepted = "reported = true in a method that stands alone", "a run"
        yield Finding("stop", file, "validation, reported", found, accepted, "set reported = false")
    if run is not None and route.review is not None and route.review < run.file.run.date:
        found = f"review due on {route.review}, before the run of {run.file.run.date}"
        accepted = "a review date on or after the day of the run"
        yield Finding("attend", file, "validation, review", found, accepted, "review the figures")
