"""Findings on spectral overlap that only numbers can show."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.bench.assembly import Assembly
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.overlap import OVERLAPS
from ubudget.bench.structure import Curve
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding


def overlap_numbers_findings(assembly: Assembly, numbers: Numbers) -> Iterator[Finding]:
    """Interferents above their highest standard: what is subtracted is extrapolated."""
    structure = assembly.structure
    if structure is None or OVERLAPS not in assembly.graph.tables:
        return
    above = numbers.column(SIGNALS, "range") > 0
    row_of = {(item.solution, item.curve): row for row, item in enumerate(structure.measured)}
    told: set[tuple[str, tuple[str, str]]] = set()
    for result in structure.results:
        item = structure.measured[result.measured]
        for overlap in assembly.records.method.overlaps:
            row = row_of.get((item.solution, Curve(*overlap.of, item.reading.block)))
            if overlap.on != item.line or row is None or not above[row] or (item.solution, overlap.of) in told:
                continue
            told.add((item.solution, overlap.of))
            yield Finding(
                "attend",
                assembly.records.file("readings"),
                f"{item.solution}, {' '.join(overlap.of).strip()}",
                "an interferent above its highest standard, so that the overlap is extrapolated",
                "interferents within the range of their calibration",
                "add a standard for the interferent, or dilute",
            )
