"""Level functions against their method: known analytes, one for each, parts and range in a unit of the results."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.crosscheck_limits import measured_as
from ubudget.records.finding import Finding
from ubudget.records.level_function import LevelFunction
from ubudget.records.method import Method
from ubudget.records.unit_comparison import in_unit


def level_function_findings(method: Method, file: str) -> list[Finding]:
    found: list[Finding] = []
    seen: set[str] = set()
    for number, function in enumerate(method.level_functions, start=1):
        place = f"level_function {number}"
        for analyte in function.analytes or ("",):
            if not measured_as(method, analyte):
                names = ", ".join(name for name, _, _ in measured_as(method, ""))
                words = (f"the unknown analyte {analyte}", f"results of the method: {names}", "correct the name")
                found.append(Finding("stop", file, f"{place}, analytes", *words))
            if analyte in seen:
                second = f"a second level function for {analyte or 'all others'}"
                found.append(Finding("stop", file, place, second, "one for each analyte", "delete one"))
            seen.add(analyte)
        found += _figures(method, function, file, place)
    return found


def _figures(method: Method, function: LevelFunction, file: str, place: str) -> Iterator[Finding]:
    units = {unit for analyte in function.analytes for _, unit, _ in measured_as(method, analyte)}
    for unit in sorted(units or {method.document.unit}):
        ends = []
        for key, amount in (("constant", function.constant), ("from", function.lowest), ("to", function.highest)):
            value = None if amount is None else in_unit(amount.value, amount.unit, unit)
            ends.append(value)
            if amount is not None and value is None:
                accepted = f"a unit that converts to {unit or '1'}, that of the results"
                yield Finding("stop", file, f"{place}, {key}", amount.text, accepted, "correct the unit")
        _, low, high = ends
        if low is not None and high is not None and low >= high:
            yield Finding("stop", file, f"{place}, from", "a range without width", "from below to", "correct it")
    if function.relative is not None and function.relative.unit != "%":
        found, accepted = function.relative.text, 'a percentage, e.g. "2.5 %"'
        yield Finding("stop", file, f"{place}, relative", found, accepted, "write it in %")
    parts = [amount.value for amount in (function.constant, function.relative) if amount is not None]
    if parts and not any(parts):
        yield Finding("stop", file, place, "constant and relative part zero", "one of them above zero", "correct it")
