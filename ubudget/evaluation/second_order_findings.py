"""A note where the law of propagation, which is of first order, may not be enough for some results."""

from __future__ import annotations

import numpy as np

from ubudget.bench.assembly import Assembly
from ubudget.bench.result_table import STATUS
from ubudget.evaluation.coverage import STANDARD
from ubudget.evaluation.propagation import Propagated
from ubudget.evaluation.second_order import may_be_material, second_order
from ubudget.quantity.numbers import Numbers
from ubudget.records.finding import Finding


def second_order_findings(assembly: Assembly, propagated: Propagated, numbers: Numbers) -> list[Finding]:
    """One note on all results whose u the terms of second order change by more than its numerical tolerance."""
    method = assembly.records.method
    if method.coverage.rule == "simulation":
        # The interval that is reported holds terms of every order.
        return []
    u, digits = numbers.column(propagated.table, STANDARD), method.rounding.digits
    if not may_be_material(propagated, numbers, u, digits):
        return []
    added = second_order(propagated, numbers, u, digits)
    material = added.material & (numbers.column(propagated.table, STATUS) == 0)
    if not material.any():
        return []
    with np.errstate(divide="ignore", invalid="ignore"):
        most = int(np.argmax(np.where(material, np.abs(np.log(added.standard_uncertainty / u)), -1.0)))
    key = assembly.keys[most]
    name = ", ".join(part for part in (key.sample, key.analyte, key.line) if part)
    return [
        Finding(
            "note",
            assembly.records.file("method"),
            "equation",
            f"terms of second order that change u of {int(material.sum())} of {u.size} results, most for {name}: "
            f"{u[most]:.3g}, with these terms {added.standard_uncertainty[most]:.3g}",
            "a change below half a unit of the last digit of u",
            "see the terms by explain (GUM 5.1.2, note); for the distribution itself propagate it by simulation",
        )
    ]
