"""Spectral overlaps: lines that the method knows, each overlap once, and no line that corrects itself."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.calibration import Calibration
from ubudget.records.finding import Finding
from ubudget.records.method import Blank, Method
from ubudget.records.overlap import Line, SpectralOverlap


def overlap_findings(method: Method, file: str) -> list[Finding]:
    return [*_symbols(method, file), *_lines(method, file), *_loops(method, file)]


def _symbols(method: Method, file: str) -> Iterator[Finding]:
    corrected = {name: symbol for name, symbol in method.symbols.items() if isinstance(symbol, SpectralOverlap)}
    for name, symbol in corrected.items():
        source = method.symbols.get(symbol.of)
        if not isinstance(source, (Calibration, Blank)):
            accepted = "a symbol of the operation calibration or blank"
            yield Finding("stop", file, f"symbol {name}, of", symbol.of or "nothing", accepted, "correct the symbol")
        elif source.unit != symbol.unit:
            found = f"the unit {symbol.unit}, while {symbol.of} has {source.unit}"
            yield Finding("stop", file, f"symbol {name}, unit", found, f"the unit {source.unit}", "correct the unit")
        if not method.overlaps:
            found, accepted = "a correction without overlaps", "tables [[overlap]]"
            yield Finding("stop", file, f"symbol {name}", found, accepted, "add the overlaps")
    if method.overlaps and not corrected:
        found = "overlaps that no symbol corrects for"
        accepted = 'a symbol of the operation "spectral overlap"'
        yield Finding("attend", file, "overlap", found, accepted, "add the symbol and use it in the equation")
    blanks = [name for name, symbol in method.symbols.items() if isinstance(symbol, Blank)]
    of_lines = any(isinstance(method.symbols.get(symbol.of), Calibration) for symbol in corrected.values())
    for name in blanks if of_lines else ():
        if not any(symbol.of == name for symbol in corrected.values()):
            yield Finding(
                "attend",
                file,
                f"symbol {name}",
                "a blank with its overlap, subtracted from concentrations without it",
                "a blank that is corrected as well, or whose interferents are negligible",
                f'add a symbol of the operation "spectral overlap" with of = "{name}"',
            )


def _lines(method: Method, file: str) -> Iterator[Finding]:
    known = {(analyte, line) for analyte, lines in method.analytes.items() for line in lines or ("",)}
    seen: set[tuple[Line, Line]] = set()
    for number, overlap in enumerate(method.overlaps, start=1):
        place = f"overlap {number} ({overlap.words})"
        for key, line in (("line", overlap.on), ("interferent_line", overlap.of)):
            if known and line not in known:
                accepted = f"the lines of the method: {', '.join(' '.join(one).strip() for one in sorted(known))}"
                found = f"the unknown line {' '.join(line).strip()}"
                yield Finding("stop", file, f"{place}, {key}", found, accepted, "correct it, or add the line")
        if overlap.factor.unit:
            found = f"a factor in {overlap.factor.unit}"
            yield Finding("stop", file, f"{place}, factor", found, "a number without unit", "take the unit out")
        if (overlap.on, overlap.of) in seen:
            yield Finding("stop", file, place, "the same overlap a second time", "each overlap once", "delete one")
        seen.add((overlap.on, overlap.of))


def _loops(method: Method, file: str) -> Iterator[Finding]:
    """A line that is corrected, through others, by itself."""
    onto: dict[Line, list[Line]] = {}
    for overlap in method.overlaps:
        onto.setdefault(overlap.on, []).append(overlap.of)
    for start in onto:
        reached: list[Line] = []
        waiting = list(onto[start])
        while waiting:
            line = waiting.pop()
            if line not in reached:
                reached.append(line)
                waiting += onto.get(line, [])
        if start in reached:
            found = f"{' '.join(start).strip()}, which is corrected by itself"
            accepted = "interferents whose own lines are free of the analyte"
            yield Finding("stop", file, "overlap", found, accepted, "break the circle: use another line")
            return
