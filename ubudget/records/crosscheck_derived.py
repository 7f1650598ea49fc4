"""Derived results against their method and run: known names, no circle, one definition each."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.quantity.parsing import EquationError, parse_definition
from ubudget.records.derived import Derived, DerivedSymbol
from ubudget.records.finding import Finding, Severity
from ubudget.records.method import Constant, Input, Method, Precision
from ubudget.records.molar_mass import ConversionFactor, MolarMass
from ubudget.records.records import Records
from ubudget.records.recovery import Recovery
from ubudget.records.run import Run, amount_of
from ubudget.records.volume import Volume
from ubudget.records.weighing import Weighing

SAME_FOR_ALL = (Constant, MolarMass, ConversionFactor)
"""Operations whose value is the same for the whole run, unless they have cases."""
OF_PORTIONS = (Input, Weighing, Volume, *SAME_FOR_ALL)
"""Operations that a derived equation may use beside results."""


def derived_findings(records: Records) -> list[Finding]:
    """All that is wrong with the derived results of a method, told at once."""
    method, file = records.method, records.file("method")
    if not method.derived:
        return []
    if records.run is None:
        return [
            Finding(
                "stop",
                file,
                "derived",
                "derived results in a method that stands alone",
                "derived results of a run, which has results to derive them from",
                "give the run, or use one result equation with intermediate quantities",
            )
        ]
    return list(_Check(method, records.run, file).all())


def place_of(number: int, derived: Derived) -> str:
    """Where a derived result stands, for findings."""
    return f"derived {number + 1} ({derived.name})"


class _Check:
    def __init__(self, method: Method, run: Run, file: str) -> None:
        self.method, self.run, self.file = method, run, file
        self.names = [derived.name for derived in method.derived]
        self.samples = list(dict.fromkeys(portion.sample for portion in run.portions if portion.kind != "blank"))

    def find(
        self, place: str, found: str, accepted: str, remedy: str = "correct it", severity: Severity = "stop"
    ) -> Finding:
        return Finding(severity, self.file, place, found, accepted, remedy)

    def all(self) -> Iterator[Finding]:
        yield from self._rings()
        for number, derived in enumerate(self.method.derived):
            place = place_of(number, derived)
            if not derived.name.strip():
                yield self.find(place, "an empty name", "a name that stands in place of the analyte", "name it")
            if derived.name in self.method.analytes or derived.name in self.names[:number]:
                found = f"the name {derived.name} a second time"
                yield self.find(f"{place}, name", found, "a name of its own beside analytes and derived results")
            yield from self._known(place, "samples", derived.samples, self.samples)
            yield from self._known(place, "analytes", derived.analytes, list(self.method.analytes))
            if derived.analytes and derived.per != "analyte":
                accepted = 'analytes where per = "analyte"'
                yield self.find(f"{place}, analytes", f'analytes beside per = "{derived.per}"', accepted, "delete one")
            if derived.samples and derived.per != "sample":
                accepted = 'samples where per = "sample"'
                yield self.find(f"{place}, samples", f'samples beside per = "{derived.per}"', accepted, "delete one")
            yield from self._equation(place, derived)
            for name, symbol in derived.symbols.items():
                yield from self._symbol(f"{place}, symbol {name}", derived, number, symbol)

    def _known(self, place: str, key: str, names: tuple[str, ...], known: list[str]) -> Iterator[Finding]:
        for name in names:
            if name not in known:
                what = {"samples": "sample", "analytes": "analyte"}[key]
                yield self.find(f"{place}, {key}", f"the unknown {what} {name}", f"one of {_listed(known)}")

    def _equation(self, place: str, derived: Derived) -> Iterator[Finding]:
        at = f"{place}, equation"
        try:
            result, expression = parse_definition(derived.equation)
        except EquationError as error:
            yield self.find(at, error.found, error.accepted, "correct the equation")
            return
        if result in derived.symbols or result in expression.symbols:
            yield self.find(at, f"the result {result} among its own symbols", "a name of its own", "rename one")
        for name in dict.fromkeys(expression.symbols):
            if name in derived.symbols:
                continue
            operation = self.method.symbols.get(name)
            if operation is None:
                known = _listed([*derived.symbols, *self.method.symbols])
                remedy = f"add a table [derived.symbols.{name}] or correct the equation"
                yield self.find(at, f"the unknown symbol {name}", f"one of {known}", remedy)
                continue
            yield from self._of_method(f"{place}, symbol {name}", derived, DerivedSymbol(method_symbol=name))
        for name in derived.symbols:
            if name not in expression.symbols:
                found = f"the symbol {name}, which the equation does not use"
                yield self.find(f"{place}, symbol {name}", found, "symbols of the equation", "delete it", "attend")

    def _symbol(self, place: str, derived: Derived, number: int, symbol: DerivedSymbol) -> Iterator[Finding]:
        if symbol.sample:
            yield from self._known(place, "samples", (symbol.sample,), self.samples)
        if symbol.analyte:
            yield from self._known(place, "analytes", (symbol.analyte,), list(self.method.analytes))
        if symbol.derived and symbol.method_symbol:
            yield self.find(place, "both derived and method_symbol", "one of the two", "delete one")
        elif symbol.derived:
            yield from self._above(place, derived, number, symbol)
        elif symbol.method_symbol:
            if symbol.method_symbol not in self.method.symbols:
                yield self.find(
                    place, f"the unknown symbol {symbol.method_symbol}", f"one of {_listed(self.method.symbols)}"
                )
            else:
                yield from self._of_method(place, derived, symbol)
        else:
            yield from self._result(place, derived, symbol)

    def _above(self, place: str, derived: Derived, number: int, symbol: DerivedSymbol) -> Iterator[Finding]:
        if symbol.derived not in self.names:
            yield self.find(place, f"the unknown derived result {symbol.derived}", f"one of {_listed(self.names)}")
            return
        if self.names.index(symbol.derived) > number:
            found = f"{symbol.derived}, which is defined further down"
            yield self.find(
                place, found, "derived results in the order in which they build on one another", "move it up"
            )
        per = self.method.derived[self.names.index(symbol.derived)].per
        if symbol.line:
            yield self.find(
                place, "a line of a derived result", "no line: a derived result has none", "delete the line"
            )
        if per == "sample" and derived.per != "sample" and not symbol.sample:
            yield self.find(place, "no sample", f"the sample whose {symbol.derived} is meant", "add sample")
        if per == "analyte" and derived.per != "analyte" and not symbol.analyte:
            yield self.find(place, "no analyte", f"the analyte whose {symbol.derived} is meant", "add analyte")

    def _of_method(self, place: str, derived: Derived, symbol: DerivedSymbol) -> Iterator[Finding]:
        operation = self.method.symbols[symbol.method_symbol]
        if not isinstance(operation, OF_PORTIONS) or isinstance(operation, (Precision, Recovery)):
            found = f"{symbol.method_symbol}, a symbol of the operation {operation.operation}"
            accepted = "symbols of the operations input, constant, weighing, volume, molar mass, conversion factor"
            yield self.find(place, found, accepted, "take results, or such a symbol")
            return
        sample = symbol.sample or derived.per == "sample"
        if not sample and not _same_for_run(operation):
            accepted = "the sample it is taken from"
            remedy = f"write a table [derived.symbols.{symbol.method_symbol}] with method_symbol and sample"
            yield self.find(
                place, f"{symbol.method_symbol}, which may differ between samples, without sample", accepted, remedy
            )
        by_analyte = any(case.analyte or case.line for case in getattr(operation, "cases", ()))
        if by_analyte and not symbol.analyte and derived.per != "analyte":
            found = f"{symbol.method_symbol}, which differs by analyte, without analyte"
            yield self.find(place, found, "the analyte whose value is meant", "add analyte")
        if isinstance(operation, (Weighing, Volume)) or (isinstance(operation, Input) and operation.column):
            yield from self._one_value(place, symbol, derived, getattr(operation, "column", ""))

    def _one_value(self, place: str, symbol: DerivedSymbol, derived: Derived, column: str) -> Iterator[Finding]:
        """A quantity of a sample with several portions must be the sample's: the same in each row."""
        wanted = [symbol.sample] if symbol.sample else list(derived.samples or self.samples)
        for sample in wanted:
            portions = [p for p in self.run.portions if p.sample == sample and p.kind != "blank"]
            values = {(a.value, a.unit) if (a := amount_of(p, column)) else None for p in portions}
            if len(portions) > 1 and (not column or len(values) > 1):
                found = (
                    f"{symbol.method_symbol} of {sample}, which has {len(portions)} portions with values of their own"
                )
                accepted = "a quantity of the sample: a column with the same value in each of its rows"
                yield self.find(place, found, accepted, "write the same value in each row, or take results")

    def _result(self, place: str, derived: Derived, symbol: DerivedSymbol) -> Iterator[Finding]:
        if not symbol.sample and derived.per != "sample":
            yield self.find(place, "no sample", "the sample whose result is meant", "add sample")
        if not self.method.analytes:
            return
        named = [symbol.analyte] if symbol.analyte else list(derived.analytes or self.method.analytes)
        if not symbol.analyte and derived.per != "analyte":
            yield self.find(place, "no analyte", f"one of {_listed(self.method.analytes)}", "add analyte")
            return
        for analyte in named:
            lines = self.method.analytes.get(analyte)
            if lines is None:
                continue
            if symbol.line and symbol.line not in lines:
                found = f"the unknown line {symbol.line} of {analyte}"
                yield self.find(place, found, f"one of {_listed(lines) or 'no line at all'}", "correct the line")
            elif not symbol.line and len(lines) > 1 and self.method.several_lines is None:
                found = f"{analyte}, which has the lines {_listed(lines)}, without line"
                accepted = "the line whose result is meant, or a rule [several_lines]"
                yield self.find(place, found, accepted, "add line")

    def _rings(self) -> Iterator[Finding]:
        """The first circle of derived results, told once."""
        leads = {
            derived.name: [symbol.derived for symbol in derived.symbols.values() if symbol.derived in self.names]
            for derived in self.method.derived
        }
        for start in self.names:
            ring = _ring(start, leads)
            if ring:
                place = place_of(self.names.index(start), self.method.derived[self.names.index(start)])
                found = f"derived results in a circle: {' -> '.join(ring)}"
                yield self.find(place, found, "derived results that lead to results", "break the circle")
                return


def _ring(start: str, leads: dict[str, list[str]]) -> tuple[str, ...]:
    """The way from a name back to itself, empty where there is none."""
    waiting: list[tuple[str, ...]] = [(start,)]
    seen: set[str] = set()
    while waiting:
        path = waiting.pop()
        for name in leads[path[-1]]:
            if name == start:
                return (*path, name)
            if name not in seen:
                seen.add(name)
                waiting.append((*path, name))
    return ()


def _same_for_run(operation: object) -> bool:
    if getattr(operation, "cases", ()):
        return False
    if isinstance(operation, Input):
        return not operation.column and operation.shared is not False
    return isinstance(operation, SAME_FOR_ALL)


def _listed(names: object) -> str:
    return ", ".join(names) if isinstance(names, (list, tuple, dict)) else str(names)
