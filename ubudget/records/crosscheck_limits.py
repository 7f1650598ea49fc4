"""Tolerance limits against their method and run: known names, units and basis of the results, an order of limits."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.amount import Amount
from ubudget.records.finding import Finding, Severity
from ubudget.records.level_function import LevelFunction, level_function_for
from ubudget.records.method import Method
from ubudget.records.records import Records
from ubudget.records.run import Run
from ubudget.records.tolerance_limit import LIMITS_COLUMN, ToleranceLimit, limits_named
from ubudget.records.unit_comparison import in_unit

NO_STATEMENT = "no statement on conformity is possible with it"


def limit_findings(records: Records) -> list[Finding]:
    """All that is wrong with the tolerance limits of a method, and with those that samples name."""
    method = records.method
    if not method.tolerance_limits:
        return []
    found: list[Finding] = []
    seen: set[tuple[str, ...]] = set()
    for number, limit in enumerate(method.tolerance_limits, start=1):
        check = _Check(records, limit, f"tolerance_limit {number} ({limit.name})")
        found += check.all()
        key = (limit.name, limit.analyte, limit.line, limit.matrix)
        if key in seen:
            accepted = "one table for each name, analyte, line and matrix"
            found.append(check.find("", "a second limit for the same results", accepted, "delete one"))
        seen.add(key)
    return found + (list(_samples(records, records.run)) if records.run else [])


def measured_as(method: Method, analyte: str) -> list[tuple[str, str, str]]:
    """What a limit or level function may be for: name, unit and basis of the results of an analyte, or of all."""
    document = method.document
    own = [(name, document.unit, document.basis) for name in method.analytes or (document.measurand,)]
    own += [(derived.name, derived.unit, derived.basis) for derived in method.derived]
    return [one for one in own if analyte in ("", one[0])]


class _Check:
    def __init__(self, records: Records, limit: ToleranceLimit, place: str) -> None:
        self.method, self.limit, self.place = records.method, limit, place
        self.file = records.file("method")

    def find(
        self, key: str, found: str, accepted: str, remedy: str = "correct it", severity: Severity = "stop"
    ) -> Finding:
        place = f"{self.place}, {key}" if key else self.place
        return Finding(severity, self.file, place, found, accepted, remedy)

    def all(self) -> Iterator[Finding]:
        limit, results = self.limit, measured_as(self.method, self.limit.analyte)
        if not results:
            names = ", ".join(name for name, _, _ in measured_as(self.method, ""))
            yield self.find("analyte", f"the unknown analyte {limit.analyte}", f"results of the method: {names}")
        lines = [line for name in self.method.analytes for line in self._lines(name)]
        if limit.line and limit.line not in lines:
            accepted = f"lines of the method: {', '.join(lines) or 'none'}"
            yield self.find("line", f"the unknown line {limit.line}", accepted, "correct it")
        yield from self._order()
        yield from self._results(results)
        yield from self._percentages()
        yield from self._levels(results)
        if not limit.agreed_by or limit.agreed_on is None:
            accepted = "agreed_by and agreed_on (ISO/IEC 17025:2017, 7.1.3)"
            yield self.find("agreed_by", "a rule that nobody is named for", accepted, "add them", "note")

    def _lines(self, analyte: str) -> list[str]:
        """The lines of an analyte that the limit may be for, in both spellings."""
        if self.limit.analyte not in ("", analyte):
            return []
        return [name for line in self.method.analytes[analyte] for name in (line, f"{analyte} {line}")]

    def _order(self) -> Iterator[Finding]:
        low, high = self.limit.lower, self.limit.upper
        if low is None or high is None:
            return
        same = in_unit(low.value, low.unit, high.unit)
        if same is None:
            yield self.find("lower", low.text, f"a lower limit in a unit that converts to {high.unit or '1'}")
        elif same >= high.value:
            yield self.find("lower", f"{low.text}, not below the upper {high.text}", "a lower limit below the upper")

    def _results(self, results: list[tuple[str, str, str]]) -> Iterator[Finding]:
        limit = self.limit
        main = limit.upper or limit.lower
        assert main is not None
        # One finding for each key, whatever number of analytes a general limit has.
        for name, unit, _ in results:
            if in_unit(main.value, main.unit, unit) is None:
                accepted = f"a unit that converts to {unit or '1'}, that of {name}"
                key, remedy = "upper" if limit.upper else "lower", f"correct the unit; {NO_STATEMENT}"
                yield self.find(key, main.text, accepted, remedy, "attend")
                break
        for name, _, basis in results:
            if limit.basis != basis:
                found = f"the basis {limit.basis!r}" if limit.basis else "no basis"
                accepted = f"the basis of {name}: {basis!r}"
                yield self.find("basis", found, accepted, f"correct it; {NO_STATEMENT}", "attend")
                break
        for key in ("prior_mean", "prior_sd"):
            amount: Amount | None = getattr(limit, key)
            if amount is not None and in_unit(amount.value, amount.unit, main.unit) is None:
                yield self.find(key, amount.text, f"a unit that converts to {main.unit or '1'}")

    def _percentages(self) -> Iterator[Finding]:
        for key in ("required_U", "required_quantification_limit"):
            amount: Amount | None = getattr(self.limit, key)
            if amount is not None and amount.unit != "%":
                yield self.find(key, amount.text, 'a percentage of the limit, e.g. "25 %"')
            main = self.limit.upper or self.limit.lower
            if amount is not None and main is not None and main.value == 0:
                yield self.find(key, f"{amount.text} of a limit of zero", "a limit other than zero", "delete it")

    def _levels(self, results: list[tuple[str, str, str]]) -> Iterator[Finding]:
        limit = self.limit
        at_limit = limit.uncertainty == "at the limit"
        if not at_limit and limit.required_U is None:
            return
        key, remedy = ("uncertainty", NO_STATEMENT) if at_limit else ("required_U", "it cannot be judged")
        for name, unit, _ in results:
            number = level_function_for(self.method.level_functions, name)
            if number is None:
                accepted = f"a table [[level_function]] for {name}"
                yield self.find(key, "no level function", accepted, f"add it; until then {remedy}", "attend")
            else:
                yield from self._range(self.method.level_functions[number], name, unit, key, remedy)

    def _range(self, function: LevelFunction, name: str, unit: str, key: str, remedy: str) -> Iterator[Finding]:
        for amount in (self.limit.lower, self.limit.upper):
            level = None if amount is None else in_unit(amount.value, amount.unit, unit)
            ends = [None if e is None else in_unit(e.value, e.unit, unit) for e in (function.lowest, function.highest)]
            low, high = ends
            if amount is None or level is None:
                continue
            if (low is not None and level < low) or (high is not None and level > high):
                found = f"{amount.text}, where the level function of {name} does not hold"
                accepted = "a level function whose range holds the limit"
                yield self.find(key, found, accepted, f"extend it by validation; until then {remedy}", "attend")


def _samples(records: Records, run: Run) -> Iterator[Finding]:
    """The column of the samples table that names limits."""
    limits = records.method.tolerance_limits
    known = {limit.name for limit in limits}
    file = records.file("samples")
    first: dict[str, tuple[str, ...]] = {}
    for portion in run.portions:
        names = limits_named(portion.columns.get(LIMITS_COLUMN)) or ()
        place = f"sample row {portion.row + 1} ({portion.sample}), {LIMITS_COLUMN}"
        if portion.kind != "sample":
            if names:
                found = f"limits for a {portion.kind}"
                yield Finding("stop", file, place, found, "limits of samples alone", "empty the cell")
            continue
        for name in names:
            if name not in known:
                accepted = f"limits of the method, joined by ;: {', '.join(sorted(known))}"
                yield Finding("stop", file, place, f"the unknown limit {name}", accepted, "correct the name")
            elif not any(one.name == name and one.matrix in ("", portion.matrix) for one in limits):
                found, accepted = f"{name}, which is for another matrix", "a limit for the matrix of the sample"
                yield Finding("attend", file, place, found, accepted, "correct the name or the matrix")
        if first.setdefault(portion.sample, names) != names:
            accepted = f"the same in every row of {portion.sample}"
            yield Finding("stop", file, place, "; ".join(names) or "nothing", accepted, "write it alike")
