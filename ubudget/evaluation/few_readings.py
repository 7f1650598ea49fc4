"""Readings behind a result, and the word on a scatter that rests on few of them."""

from __future__ import annotations

from ubudget.bench.assembly import Assembly
from ubudget.quantity.numbers import Numbers
from ubudget.records.calibration import Calibration
from ubudget.records.device_concentration import DeviceConcentration

FEW_READINGS = 4


def measured_rows(assembly: Assembly, row: int) -> list[int]:
    """Rows of the measured lines from which a result, or what it is derived from, was read; none where the scatter is
    not their own."""
    own = any(
        isinstance(operation, Calibration | DeviceConcentration) and operation.scatter == "own"
        for operation in assembly.records.method.symbols.values()
    )
    if not own or assembly.structure is None:
        return []
    key, derived = assembly.keys[row], assembly.derived.get(row)
    own_lines = tuple((key.analyte, line) for line in assembly.lines_of(row) or (key.line or "",))
    lines = derived.components if derived else own_lines
    portions = key.portions if derived is None else derived.portions
    return [
        result.measured for result in assembly.structure.results if result.portion in portions and result.line in lines
    ]


def few_readings(assembly: Assembly, numbers: Numbers, row: int) -> list[str]:
    """A flag where the scatter of a result is its own and comes from fewer than four readings."""
    rows = measured_rows(assembly, row)
    if not rows:
        return []
    n = numbers.column("measured lines", "n")
    fewest = int(min(n[measured] for measured in rows))
    return [f"own scatter from {fewest} readings (four or more are better)"] if fewest < FEW_READINGS else []
