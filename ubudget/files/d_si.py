"""Reported results as D-SI, the open XML model for a value with its uncertainty.

D-SI XML schema 2.2, DOI 10.5281/zenodo.3366901, namespace https://ptb.de/si: element `real` with label, value, unit,
significantDigit and measurementUncertaintyUnivariate in this order. What D-SI has no place for stands around it in a
namespace of our own: sample, method, flags, and what the uncertainty does not include.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from xml.etree import ElementTree

from ubudget.errors import UnusableInput
from ubudget.evaluation.evaluate import Evaluation
from ubudget.pages.d_si_units import d_si_unit
from ubudget.pages.number_forms import text
from ubudget.pages.stated_results import Origin, StatedResult, origin_of, stated_results
from ubudget.pages.statement import heading, quantity
from ubudget.records.finding import Finding

SI = "https://ptb.de/si"
OURS = "urn:ubudget:results:1"
NOTHING_NAMED = "the method names nothing that it leaves out"
_FORBIDDEN = re.compile("[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""Characters that XML 1.0 (5th edition, 2.2) does not know."""


@dataclass(frozen=True)
class StandardUncertainty:
    """`standardMU`."""

    standard: Decimal


@dataclass(frozen=True)
class ExpandedUncertainty:
    """`expandedMU`; the model takes no factor below 1."""

    expanded: Decimal
    factor: Decimal
    probability: Decimal


@dataclass(frozen=True)
class CoverageInterval:
    """`coverageIntervalMU`, as from a propagation of distributions."""

    standard: Decimal
    low: Decimal
    high: Decimal
    probability: Decimal


Uncertainty = StandardUncertainty | ExpandedUncertainty | CoverageInterval


def xml_text(evaluation: Evaluation) -> str:
    """The results of a run as an XML document, rounded as they are reported.

    Raises `UnusableInput` for units that D-SI cannot spell, and for characters that XML does not know."""
    file, origin, stated = evaluation.records.file("method"), origin_of(evaluation), stated_results(evaluation)
    units = {each.result.unit: d_si_unit(each.result.unit) for each in stated}
    findings = [_unit_finding(file, unit) for unit, spelled in units.items() if spelled is None]
    root = _root(origin)
    for each in stated:
        root.append(_result(each, units[each.result.unit] or ""))
    findings += [_character_finding(file, words) for words in _texts(root) if _FORBIDDEN.search(words)]
    if findings:
        raise UnusableInput(findings)
    ElementTree.indent(root)
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{ElementTree.tostring(root, encoding="unicode")}\n'


def real(
    label: str, value: Decimal, unit: str, digits: int | None, uncertainty: Uncertainty | None
) -> ElementTree.Element:
    """One `si:real`; `unit` in the notation of D-SI, `digits` the significant ones of the value where known."""
    element = ElementTree.Element("si:real")
    _add(element, "si:label", label)
    _add(element, "si:value", text(value))
    _add(element, "si:unit", unit)
    if digits is not None:
        _add(element, "si:significantDigit", str(digits))
    if uncertainty is not None:
        element.append(_uncertainty(uncertainty))
    return element


def _root(origin: Origin) -> ElementTree.Element:
    attributes = {"xmlns:r": OURS, "xmlns:si": SI, "method": origin.method, "version": origin.version}
    if origin.run is not None and origin.date is not None:
        attributes |= {"run": origin.run, "date": origin.date}
    root = ElementTree.Element("r:results", attributes)
    _add(root, "r:notIncluded", origin.not_included or NOTHING_NAMED)
    return root


def _result(stated: StatedResult, unit: str) -> ElementTree.Element:
    result = stated.result
    attributes = {
        "sample": result.sample,
        "analyte": result.analyte,
        "line": result.line or "",
        "measurand": result.measurand,
        "basis": result.basis,
        "referenceMaterial": stated.reference_material,
    }
    element = ElementTree.Element("r:result", {name: words for name, words in attributes.items() if words})
    if stated.value is not None:
        label = f"{heading(result)}: {quantity(result)}"
        element.append(real(label, stated.value, unit, stated.significant_digits, _stated_uncertainty(stated)))
    elif result.reported_as:
        _add(element, "r:reportedAs", result.reported_as)
        _add(element, "r:unit", unit)
    for flag in result.flags:
        _add(element, "r:flag", flag)
    return element


def _stated_uncertainty(stated: StatedResult) -> Uncertainty | None:
    if stated.interval is not None and stated.standard is not None:
        return CoverageInterval(stated.standard, *stated.interval, stated.probability)
    if stated.expanded is None or stated.standard is None or stated.factor is None:
        return None
    if stated.factor < 1:
        return StandardUncertainty(stated.standard)
    return ExpandedUncertainty(stated.expanded, stated.factor, stated.probability)


def _uncertainty(uncertainty: Uncertainty) -> ElementTree.Element:
    outer = ElementTree.Element("si:measurementUncertaintyUnivariate")
    match uncertainty:
        case StandardUncertainty(standard):
            kind, parts = "standardMU", {"valueStandardMU": standard}
        case ExpandedUncertainty(expanded, factor, probability):
            kind = "expandedMU"
            parts = {"valueExpandedMU": expanded, "coverageFactor": factor, "coverageProbability": probability}
        case CoverageInterval(standard, low, high, probability):
            kind, parts = "coverageIntervalMU", {"valueStandardMU": standard, "intervalMin": low, "intervalMax": high}
            parts["coverageProbability"] = probability
    inner = ElementTree.SubElement(outer, f"si:{kind}")
    for name, number in parts.items():
        _add(inner, f"si:{name}", text(number))
    return outer


def _add(parent: ElementTree.Element, name: str, words: str) -> None:
    ElementTree.SubElement(parent, name).text = words


def _texts(root: ElementTree.Element) -> list[str]:
    return [words for element in root.iter() for words in (element.text or "", *element.attrib.values())]


def _unit_finding(file: str, unit: str) -> Finding:
    return Finding(
        "stop",
        file,
        "unit of the result",
        f"the unit {unit}, which D-SI has no name for",
        "SI units and those accepted beside them, with prefixes and whole powers, without numbers in them",
        "state the result in such a unit, or write CSV or JSON",
    )


def _character_finding(file: str, words: str) -> Finding:
    return Finding(
        "stop",
        file,
        "texts of the results",
        f"a control character in {_FORBIDDEN.sub('?', words)[:60]!r}",
        "characters that XML 1.0 knows",
        "take it out of the record",
    )
