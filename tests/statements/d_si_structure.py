"""A strict check of the structure of D-SI: order, number and type of elements.

Facts of the D-SI XML schema, version 2.2, DOI 10.5281/zenodo.3366901, namespace https://ptb.de/si, in our own words.
"""

from __future__ import annotations

import re
from decimal import Decimal
from xml.etree.ElementTree import Element

SI = "{https://ptb.de/si}"
DECIMAL = r"[-+]?(\d+(\.\d*)?|\.\d+)"
PATTERNS = {
    "label": r"[\s\S]*",
    "quantityTypeQUDT": r"\S+",
    "value": rf"{DECIMAL}([eE][-+]?\d+)?|NaN",
    "unit": r"(\\[a-z]+(\\tothe\{-?\d+(\.\d+)?\})?)+",
    "significantDigit": r"\d+",
    "dateTime": r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[-+]\d\d:\d\d)?",
    "coverageFactor": DECIMAL,
    "coverageProbability": DECIMAL,
    "distribution": r"[\s\S]+",
}
"""Numbers of values and uncertainties have the pattern of `value`."""

REAL = (
    ("label", False), ("quantityTypeQUDT", False), ("value", True), ("unit", True), ("significantDigit", False),
    ("dateTime", False), ("measurementUncertaintyUnivariate", False),
)  # fmt: skip
KINDS = {
    "standardMU": (("valueStandardMU", True), ("distribution", False)),
    "expandedMU": (
        ("valueExpandedMU", True), ("coverageFactor", True), ("coverageProbability", True), ("distribution", False),
    ),
    "coverageIntervalMU": (
        ("valueStandardMU", True), ("intervalMin", True), ("intervalMax", True), ("coverageProbability", True),
        ("distribution", False),
    ),
}  # fmt: skip


def faults(real: Element) -> list[str]:
    """What is wrong with an element `real`; empty: nothing."""
    if real.tag != f"{SI}real":
        return [f"{real.tag} in place of real"]
    found = _children(real, REAL)
    for outer in real.findall(f"{SI}measurementUncertaintyUnivariate"):
        names = [child.tag.removeprefix(SI) for child in outer]
        if len(names) != 1 or names[0] not in KINDS:
            found.append(f"uncertainty {names}")
            continue
        found += _children(outer[0], KINDS[names[0]])
        found += _ranges({child.tag.removeprefix(SI): child.text or "" for child in outer[0]})
    return found


def _children(parent: Element, expected: tuple[tuple[str, bool], ...]) -> list[str]:
    names = [child.tag.removeprefix(SI) for child in parent]
    order = [name for name, _ in expected]
    found = [f"{parent.tag} has attributes or text"] if parent.attrib or (parent.text or "").strip() else []
    found += [f"unknown {name}" for name in names if name not in order]
    known = [name for name in names if name in order]
    if known != sorted(set(known), key=order.index):
        found.append(f"order or number of {names}")
    found += [f"no {name}" for name, needed in expected if needed and name not in names]
    for child, name in zip(parent, names, strict=True):
        pattern = PATTERNS.get(name, PATTERNS["value"])
        if name != "measurementUncertaintyUnivariate" and (
            len(child) or child.attrib or not re.fullmatch(pattern, child.text or "")
        ):
            found.append(f"{name} is {child.text!r}")
    return found


def _ranges(texts: dict[str, str]) -> list[str]:
    lowest = {"valueStandardMU": 0, "valueExpandedMU": 0, "coverageFactor": 1, "coverageProbability": 0}
    found = [f"{name} is {texts[name]}" for name in lowest if name in texts and Decimal(texts[name]) < lowest[name]]
    return found + (["coverageProbability above 1"] if Decimal(texts.get("coverageProbability", "0")) > 1 else [])
