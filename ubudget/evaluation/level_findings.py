"""Findings on fitted level functions: too few results, or a part that the fit leaves at zero."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.bench.assembly import Assembly
from ubudget.evaluation.level_function import FEWEST
from ubudget.evaluation.level_tables import FUNCTIONS, USABLE, functions_of
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding


def fit_findings(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    """One finding for each function that its results do not determine."""
    file = assembly.records.file("method")
    for row, function in enumerate(functions_of(assembly)):
        if function.function.origin != "fitted":
            continue
        n = int(numbers.column(FUNCTIONS, "n")[row])
        place = f"level_function {function.number + 1}, {' '.join(filter(None, (function.analyte, function.line)))}"
        if n < FEWEST:
            accepted = f"{FEWEST} results or more for a fit"
            remedy = "declare it from validation; until then it holds nowhere"
            yield Finding("attend", file, place, f"{n} results", accepted, remedy)
            continue
        if numbers.column(FUNCTIONS, USABLE)[row] == 0:
            remedy = "declare it from validation; until then it holds nowhere"
            yield Finding("attend", file, place, "results at one level", "results at several levels", remedy)
            continue
        for part, words in (("s0", "constant"), ("s1", "relative")):
            if numbers.column(FUNCTIONS, part)[row] == 0:
                found = f"a fit with {words} part zero: its least squares would be negative"
                remedy = "look at the residuals on the sheet uncertainty by level"
                yield Finding("note", file, place, found, "both parts above zero", remedy)
