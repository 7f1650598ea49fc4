"""A molar mass from its formula and atomic weights: n atoms count n u(A), since they are one deviation (QUAM A2)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from ubudget.independent.stated import Deviation, deviation_of, number

_ELEMENT = re.compile(r"([A-Z][a-z]?)([0-9]*)")


def molar_mass(formula: str, elements: Mapping[str, Mapping[str, Any]]) -> tuple[Decimal, list[Deviation]]:
    """Raises `ValueError` for a formula with brackets or hydrates, `KeyError` for an element that is not stated."""
    if not re.fullmatch(f"(?:{_ELEMENT.pattern})+", formula):
        raise ValueError(f"no plain formula: {formula!r}")
    counts: dict[str, int] = {}
    for element, count in _ELEMENT.findall(formula):
        counts[element] = counts.get(element, 0) + int(count or 1)
    total, deviations = Decimal(0), []
    for element, count in counts.items():
        stated = elements[element]
        each = deviation_of(stated)
        total += count * number(stated["estimate"])
        deviations.append(Deviation(count * each.u, each.dof))
    return total, deviations
