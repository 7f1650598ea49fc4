"""Random effects: each one counted, covered or negligible in the method's words, and none counted twice."""

from __future__ import annotations

import re
from collections.abc import Iterator

from ubudget.records.additions import StandardAdditions
from ubudget.records.calibration import Calibration
from ubudget.records.crosscheck_equations import used_symbols
from ubudget.records.crosscheck_fit import ERRORS_IN_VARIABLES, TWO_POINTS
from ubudget.records.device_concentration import DeviceConcentration
from ubudget.records.finding import Finding
from ubudget.records.method import Blank, Method, Precision
from ubudget.records.records import Records
from ubudget.records.volume import Dilution, Volume
from ubudget.records.weighing import Weighing

SAME_EFFECT_AS_WITHIN_RUN = (
    "weighing repeatability",
    "filling repeatability",
    "delivery repeatability",
    "reading scatter",
)
"""Random effects that a within-run precision of the whole method holds (common practice, no source)."""
STANDARD_REPEATABILITY = "standard repeatability"
"""Delivery, filling and unnumbered ware, new for each prepared standard and each addition."""
BY_RESIDUALS = "covered by residual scatter"
"""Mark of the one effect that scatters standards and additions about their curve."""
_MARKS = '"counted", "covered by SYMBOL" or "negligible: reason"'
_MARK = re.compile(r"(counted)|covered by (\S+)|negligible:\s*(\S.*)")


def effect_findings(records: Records) -> list[Finding]:
    file = records.file("method")
    return [
        *_effect_marks(records.method, file),
        *_effects_not_mentioned(records, file),
        *_effects_twice(records.method, file),
        *_standards_twice(records, file),
        *_additions_twice(records, file),
    ]


def _effect_marks(method: Method, file: str) -> Iterator[Finding]:
    marks = {f"effects, {effect}": mark for effect, mark in method.effects.items()}
    marks |= {
        f"symbol {name}, own_blank": symbol.own_blank
        for name, symbol in method.symbols.items()
        if isinstance(symbol, Blank)
    }
    for place, mark in marks.items():
        match = _MARK.fullmatch(mark.strip())
        if place == f"effects, {STANDARD_REPEATABILITY}" and mark.strip() == BY_RESIDUALS:
            continue
        if match is None:
            yield Finding("stop", file, place, f'"{mark}"', _MARKS, "correct the mark")
        elif match.group(2) and match.group(2) not in method.symbols:
            found = f"covered by the unknown symbol {match.group(2)}"
            accepted = f"the symbols of the method: {', '.join(method.symbols)}"
            yield Finding("stop", file, place, found, accepted, "correct the mark")


def _effects_not_mentioned(records: Records, file: str) -> Iterator[Finding]:
    for effect, why in implied_effects(records).items():
        if effect not in records.method.effects:
            yield Finding(
                "attend",
                file,
                "effects",
                f"no word on {effect} ({why})",
                f'{_MARKS}, or "{BY_RESIDUALS}"' if effect == STANDARD_REPEATABILITY else _MARKS,
                f'add "{effect}" to [effects]',
            )


def _effects_twice(method: Method, file: str) -> Iterator[Finding]:
    reached = used_symbols(method)
    for name, symbol in method.symbols.items():
        if not isinstance(symbol, Precision) or symbol.part != "within run" or name not in reached:
            continue
        for effect in SAME_EFFECT_AS_WITHIN_RUN:
            if method.effects.get(effect, "").strip() == "counted":
                yield Finding(
                    "attend",
                    file,
                    f"effects, {effect}",
                    f"the same effect counted twice: {name} (precision within run) holds {effect} already",
                    "each effect counted once",
                    f'write "covered by {name}", or leave {name} out of the equation',
                )


def _standards_twice(records: Records, file: str) -> Iterator[Finding]:
    """Errors of single standards show in the residuals: counted there or on their own, and in one of the two.

    Where the scatter is known from replicate readings, as under bracketing, residuals have no part in u and hold
    nothing."""
    for name, symbol in records.method.symbols.items():
        if not isinstance(symbol, Calibration) or not _propagates_preparation(records, symbol):
            continue
        place = f"effects, {STANDARD_REPEATABILITY}"
        mark = records.method.effects.get(STANDARD_REPEATABILITY, "").strip()
        weighed = symbol.standards == ERRORS_IN_VARIABLES
        residual = symbol.weighted_scatter == "estimated" and symbol.curve != TWO_POINTS
        if weighed and mark == "counted":
            found = "the same effect counted twice: standard_u holds the errors of single standards already"
            remedy = 'write "negligible: held by standard_u"'
            yield Finding("attend", file, place, found, "each effect counted once", remedy)
        elif residual and mark == "counted" and symbol.between_levels is not None:
            found = "the same effect counted twice: between_levels holds the errors of single standards already"
            remedy = f'write "{BY_RESIDUALS}", whose part between levels it states'
            yield Finding("attend", file, place, found, "each effect counted once", remedy)
        elif not weighed and residual and mark == "counted":
            found = "the same effect counted twice: errors of single standards show in the residuals of the fit already"
            remedy = f'write "{BY_RESIDUALS}", or use weighted_scatter = "known"'
            yield Finding("attend", file, place, found, "each effect counted once", remedy)
        elif not weighed and not residual and mark == BY_RESIDUALS:
            found = f'"{BY_RESIDUALS}", although scatter comes from replicate readings and residuals have no part in u'
            yield Finding("attend", file, place, found, "each effect counted once", 'write "counted"')
        if symbol.preparation is not None:
            found = "the same effect counted twice: standards prepared by steps carry their pipettes and flasks already"
            remedy = "take preparation out, or state the concentrations without steps"
            yield Finding("attend", file, f"symbol {name}, preparation", found, "each effect counted once", remedy)


def _propagates_preparation(records: Records, calibration: Calibration) -> bool:
    """Whether steps of preparing standards are carried through the fit."""
    exact = calibration.standards == "exact" or bool(calibration.standards_exact)
    standards = records.run.file.standards if records.run else ()
    return not exact and any(standard.steps for standard in standards)


def _additions_twice(records: Records, file: str) -> Iterator[Finding]:
    """Errors of single additions show in the residuals of their line, which are counted."""
    mark = records.method.effects.get(STANDARD_REPEATABILITY, "").strip()
    scatter = records.method.effects.get("reading scatter", "counted").strip()
    for symbol in records.method.symbols.values():
        if isinstance(symbol, StandardAdditions) and adds_volumes(records, symbol) and mark == scatter == "counted":
            found = (
                "the same effect counted twice: errors of single additions show in the residuals of the line already"
            )
            remedy = f'write "{BY_RESIDUALS}"'
            place = f"effects, {STANDARD_REPEATABILITY}"
            yield Finding("attend", file, place, found, "each effect counted once", remedy)


def adds_volumes(records: Records, symbol: StandardAdditions) -> bool:
    """Whether volumes of added standards are carried through the fit."""
    additions = records.run.file.additions if records.run else ()
    return not symbol.additions_exact and any(addition.standard for addition in additions)


def implied_effects(records: Records) -> dict[str, str]:
    """Random effects that the method's operations bring with them, and why."""
    symbols = records.method.symbols.values()
    implied: dict[str, str] = {}
    for symbol in symbols:
        if isinstance(symbol, Weighing) and (
            symbol.balance or symbol.repeatability is not None or symbol.repeatability_at or symbol.check_weighings
        ):
            implied["weighing repeatability"] = "the method weighs"
        elif isinstance(symbol, Volume) and not symbol.is_reading:
            implied["filling repeatability"] = "the method fills ware to its mark"
        elif isinstance(symbol, Volume) and (symbol.ware or symbol.ware_column or symbol.reading_half_width):
            implied.setdefault("filling repeatability", "the method delivers part volumes")
        elif isinstance(symbol, Dilution):
            implied["delivery repeatability"] = "the method dilutes"
            if records.run and any(step.balance for solution in records.run.solutions for step in solution.steps):
                implied["weighing repeatability"] = "dilutions were weighed"
        elif isinstance(symbol, Calibration):
            implied["reading scatter"] = "the method reads a calibration curve"
            if _propagates_preparation(records, symbol):
                implied[STANDARD_REPEATABILITY] = "standards are prepared by steps of pipette and flask"
        elif isinstance(symbol, DeviceConcentration):
            implied["reading scatter"] = "the method takes readings of a device"
        elif isinstance(symbol, StandardAdditions):
            implied["reading scatter"] = "the method reads solutions with additions"
            if adds_volumes(records, symbol):
                implied[STANDARD_REPEATABILITY] = "standards are added by pipette"
        elif isinstance(symbol, Blank):
            implied["blank scatter"] = "the method subtracts a blank"
    if records.run is not None and any(portion.kind != "blank" for portion in records.run.portions):
        implied["sample homogeneity"] = "test portions are taken from samples"
    return implied
