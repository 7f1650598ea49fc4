"""Limits at low levels against their method and run: units, order, known names, limits that the rule needs."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.records.amount import Amount
from ubudget.records.finding import Finding, Severity
from ubudget.records.low_levels import (
    AS_MEASURED,
    BOUNDS,
    LESS_DETECTION,
    LESS_QUANTIFICATION,
    NOT_DETECTED,
    DetectionLimit,
    LowLevels,
)
from ubudget.records.method import Blank, Constant, DryMassFactor, Method, Precision
from ubudget.records.read_order import READ_AS
from ubudget.records.records import Records
from ubudget.records.unit_comparison import in_unit
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import Weighing

LIMITS = ("decision", "detection", "quantification")
SCALES = (Weighing, Volume, Dilution, DryMassFactor)
"""Operations whose value differs between samples, and with it the limit in the unit of the result."""


def low_level_findings(records: Records) -> list[Finding]:
    """All that is wrong with limits, reporting rule and derived results, told at once."""
    method = records.method
    if not method.detection_limits:
        return list(_Check(records).without_limits())
    return list(_Check(records).all())


def place_of(number: int, limit: DetectionLimit) -> str:
    """Where a table of limits stands, for findings."""
    named = " ".join(part for part in (limit.analyte, limit.line, limit.matrix) if part)
    return f"detection_limit {number + 1} ({named or 'all'})"


def fitting(limits: tuple[DetectionLimit, ...], analyte: str, line: str, matrix: str) -> int | None:
    """Position of the limits that apply: the narrowest selector that fits, line before matrix before analyte."""
    best: tuple[int, int] | None = None
    for number, limit in enumerate(limits):
        fits = (
            limit.analyte in ("", analyte)
            and limit.line in ("", line, f"{analyte} {line}")
            and limit.matrix in ("", matrix)
        )
        narrow = 4 * bool(limit.line) + 2 * bool(limit.matrix) + bool(limit.analyte)
        if fits and (best is None or narrow > best[0]):
            best = (narrow, number)
    return None if best is None else best[1]


class _Check:
    def __init__(self, records: Records) -> None:
        self.records, self.method, self.file = records, records.method, records.file("method")
        self.unit = records.method.document.unit

    def find(self, place: str, found: str, accepted: str, remedy: str, severity: Severity = "stop") -> Finding:
        return Finding(severity, self.file, place, found, accepted, remedy)

    def without_limits(self) -> Iterator[Finding]:
        rule = self.method.low_levels
        if rule is not None and not rule.non_negative:
            accepted = "tables [[detection_limit]] with the limits of the method"
            yield self.find(
                "low_levels", "a rule for results below limits, and no limits", accepted, "add the limits", "attend"
            )
        for number, derived in enumerate(self.method.derived):
            if derived.below_limits != AS_MEASURED:
                found = f'below_limits = "{derived.below_limits}", and no limits'
                accepted = "tables [[detection_limit]] with the limits of the method"
                place = f"derived {number + 1} ({derived.name}), below_limits"
                yield self.find(place, found, accepted, "add the limits", "attend")

    def all(self) -> Iterator[Finding]:
        seen: set[tuple[str, str, str]] = set()
        for number, limit in enumerate(self.method.detection_limits):
            place = place_of(number, limit)
            selector = (limit.analyte, limit.line, limit.matrix)
            if selector in seen:
                yield self.find(
                    place, "limits given twice", "one table for each analyte, line and matrix", "delete one"
                )
            seen.add(selector)
            yield from self._names(place, limit)
            yield from self._figures(place, limit)
            yield from self._nominal(place, limit)
        yield from self._needed(self.method.low_levels or LowLevels())
        for number, derived in enumerate(self.method.derived):
            if derived.own_limit and derived.below_limits in (AS_MEASURED, BOUNDS):
                place = f"derived {number + 1} ({derived.name}), own_limit"
                found = f'own_limit beside below_limits = "{derived.below_limits}"'
                accepted = "own_limit where values count as zero, half the limit or the limit"
                yield self.find(place, found, accepted, "delete it, or choose how values count", "attend")

    def _names(self, place: str, limit: DetectionLimit) -> Iterator[Finding]:
        analytes = self.method.analytes
        if limit.analyte and analytes and limit.analyte not in analytes:
            found, accepted = f"the unknown analyte {limit.analyte}", f"one of {', '.join(analytes)}"
            yield self.find(f"{place}, analyte", found, accepted, "correct the name")
        known = [
            name
            for analyte, lines in analytes.items()
            for line in lines
            for name in (line, f"{analyte} {line}")
            if limit.analyte in ("", analyte)
        ]
        if limit.line and analytes and limit.line not in known:
            found, accepted = f"the unknown line {limit.line}", f"one of {', '.join(known) or 'no line at all'}"
            yield self.find(f"{place}, line", found, accepted, "correct the name")

    def _figures(self, place: str, limit: DetectionLimit) -> Iterator[Finding]:
        own = self.method.document.basis
        if limit.basis and limit.basis != own:
            accepted = f"limits on the basis of the results, {own or 'which the method does not state'}"
            remedy = "recalculate the limits, or correct the basis"
            yield self.find(f"{place}, basis", f"limits on the basis {limit.basis}", accepted, remedy)
        stated = [(name, amount) for name in LIMITS if (amount := getattr(limit, name)) is not None]
        if not stated:
            yield self.find(
                place, "no limit", "decision, detection or quantification", "give one of them, or delete it"
            )
        below: tuple[str, Amount, float] | None = None
        for name, amount in stated:
            value = in_unit(amount.value, amount.unit, self.unit)
            if value is None:
                accepted = f"a limit in the unit of the results, {self.unit or '1'}"
                yield self.find(f"{place}, {name}", amount.text, accepted, "correct the unit")
                continue
            if below is not None and value < below[2] * (1 - 1e-12):
                found = f"a {name} limit of {amount.text} below the {below[0]} limit of {below[1].text}"
                accepted = "decision limit <= detection limit <= quantification limit"
                yield self.find(f"{place}, {name}", found, accepted, "correct the limits")
            below = (name, amount, value)

    def _nominal(self, place: str, limit: DetectionLimit) -> Iterator[Finding]:
        symbols = self.method.symbols
        for name, amount in limit.nominal.items():
            at = f"{place}, nominal, {name}"
            symbol = symbols.get(name)
            if symbol is None or isinstance(symbol, (*READ_AS, Blank, Precision)):
                accepted = (
                    f"symbols of the equation beside readings, blank and precision: {', '.join(_scaling(self.method))}"
                )
                yield self.find(at, f"the symbol {name}", accepted, "correct the name")
                continue
            unit = _unit(symbol)
            if in_unit(amount.value, amount.unit, unit) is None:
                accepted = f"a value in the unit of {name}, {unit or '1'}"
                yield self.find(at, amount.text, accepted, "correct the unit")
        missing = [name for name in _scaling(self.method) if name not in limit.nominal]
        if missing and any(isinstance(symbol, READ_AS) for symbol in symbols.values()):
            found = f"no nominal value of {', '.join(missing)}"
            accepted = "the nominal test portion for which the limits hold"
            remedy = "add it to nominal; until then the limits are the same whatever a sample's own value"
            yield self.find(f"{place}, nominal", found, accepted, remedy, "note")

    def _needed(self, rule: LowLevels) -> Iterator[Finding]:
        """Limits that the rule needs, for every line of the method and matrix of the run: told once for each lack."""
        run, limits = self.records.run, self.method.detection_limits
        matrices = {portion.matrix for portion in run.portions if portion.kind != "blank"} if run else {""}
        told: dict[tuple[str, str], None] = {}
        for analyte, lines in self.method.analytes.items():
            for line in lines or ("",):
                for matrix in sorted(matrices):
                    number = fitting(limits, analyte, line, matrix)
                    name = " ".join(part for part in (analyte, line) if part)
                    if number is None:
                        told["", name] = None
                    else:
                        for lack in _lacking(rule, limits[number]):
                            told[lack, place_of(number, limits[number])] = None
        names = [name for lack, name in told if not lack]
        if names:
            accepted = "limits for every line of the method"
            remedy = "add tables [[detection_limit]]; until then these are reported as value with U, however low"
            yield self.find("detection_limit", f"no limits for {', '.join(names)}", accepted, remedy, "attend")
        for lack, place in told:
            if lack:
                found = f"no {lack} limit, which the reporting rule needs"
                remedy = "add the limit, or change the rule in [low_levels]"
                yield self.find(place, found, "every limit that the rule names", remedy, "attend")


def _lacking(rule: LowLevels, limit: DetectionLimit) -> list[str]:
    below_quantification, *lower = rule.rules
    chosen = [below_quantification, *(rule for rule in lower)]
    lacks = []
    if LESS_QUANTIFICATION in chosen and limit.quantification is None:
        lacks.append("quantification")
    if limit.detection is None and (LESS_DETECTION in chosen or (NOT_DETECTED in chosen and limit.decision is None)):
        lacks.append("detection")
    if rule.below_decision is not None and limit.decision is None:
        lacks.append("decision")
    return lacks


def _scaling(method: Method) -> list[str]:
    """Symbols whose value a sample has for itself."""
    return [
        name
        for name, symbol in method.symbols.items()
        if isinstance(symbol, SCALES) and getattr(symbol, "of", "sample") != "blank"
    ]


def _unit(symbol: object) -> str:
    if isinstance(symbol, Constant):
        return symbol.value.unit
    return "" if isinstance(symbol, (Dilution, DryMassFactor)) else str(getattr(symbol, "unit", ""))
