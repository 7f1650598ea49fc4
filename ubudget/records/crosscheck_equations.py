"""The equations of a method: readable, without unknown, unused or circular symbols."""

from __future__ import annotations

import re
from collections.abc import Iterator

from ubudget.quantity.expression import Expression, Symbol
from ubudget.quantity.parsing import EquationError, parse, parse_definition
from ubudget.records.finding import Finding, Severity
from ubudget.records.method import Equation, Method
from ubudget.records.overlap import SpectralOverlap


def used_symbols(method: Method) -> set[str]:
    """Symbols that the result equation and those of derived results reach, directly or through named intermediate
    quantities."""
    waiting = [_parsed_result(method), *(Symbol(name) for name in _of_derived(method))]
    reached: set[str] = set()
    while waiting:
        expression = waiting.pop()
        for name in set() if expression is None else set(expression.symbols):
            if name not in reached:
                reached.add(name)
                waiting.append(_parsed_intermediate(method, name))
    return reached


def _of_derived(method: Method) -> Iterator[str]:
    """Symbols of the method in the equations of derived results."""
    for derived in method.derived:
        try:
            used = parse_definition(derived.equation)[1].symbols
        except EquationError:
            used = ()
        for name in used:
            own = derived.symbols.get(name)
            meant = name if own is None else own.method_symbol
            if meant in method.symbols:
                yield meant


def _parsed_result(method: Method) -> Expression | None:
    try:
        return parse_definition(method.document.equation)[1]
    except EquationError:
        return None


def _parsed_intermediate(method: Method, name: str) -> Expression | None:
    symbol = method.symbols.get(name)
    if isinstance(symbol, SpectralOverlap):
        return Symbol(symbol.of)
    if not isinstance(symbol, Equation):
        return None
    try:
        return parse(symbol.equation)
    except EquationError:
        return None


def _finding(file: str, place: str, found: str, accepted: str, remedy: str, severity: Severity = "stop") -> Finding:
    return Finding(severity, file, place, found, accepted, remedy)


def equation_findings(method: Method, file: str) -> Iterator[Finding]:
    written = {"method, equation": method.document.equation}
    written |= {
        f"symbol {name}, equation": symbol.equation
        for name, symbol in method.symbols.items()
        if isinstance(symbol, Equation)
    }
    all_read = True
    result = ""
    for place, text in written.items():
        try:
            if place == "method, equation":
                result, expression = parse_definition(text)
            else:
                expression = parse(text)
        except EquationError as error:
            all_read = False
            yield _finding(file, place, error.found, error.accepted, "correct the equation")
            continue
        for name in sorted(set(expression.symbols) - set(method.symbols)):
            known = ", ".join(method.symbols) or "none yet"
            yield _finding(
                file,
                place,
                f"the unknown symbol {name}",
                f"the symbols of the method: {known}",
                f"add a table [symbols.{name}] or correct the equation",
            )
    for name in method.symbols:
        if not re.fullmatch(r"[A-Za-z_]\w*", name):
            accepted = "a letter, then letters, digits and underscores"
            yield _finding(file, f"symbol {name}", f"the symbol {name!r}", accepted, "rename it")
    if result in method.symbols:
        yield _finding(
            file,
            f"symbol {result}",
            f"the result {result} defined a second time",
            "one definition",
            "rename one",
        )
    for ring in _rings(method):
        place = f"symbol {ring[0]}, equation"
        found = f"equations in a circle: {' -> '.join((*ring, ring[0]))}"
        yield _finding(file, place, found, "equations that lead to inputs", "break the circle")
    if all_read:
        reached = used_symbols(method)
        for name in method.symbols:
            if name not in reached:
                yield _finding(
                    file,
                    f"symbol {name}",
                    f"the symbol {name}, which no equation uses",
                    "symbols that the result equation reaches",
                    "use it in the equation or delete it",
                    "attend",
                )


def _rings(method: Method) -> Iterator[tuple[str, ...]]:
    """Every circle of intermediate quantities once."""
    done: set[str] = set()
    for start in method.symbols:
        path: list[str] = []
        stack = [(start, 0)]
        while stack:
            name, depth = stack.pop()
            del path[depth:]
            if name in path:
                yield tuple(path[path.index(name) :])
                return
            if name in done:
                continue
            path.append(name)
            expression = _parsed_intermediate(method, name)
            if expression is not None:
                stack.extend((inner, depth + 1) for inner in sorted(expression.symbols))
        done.add(start)
