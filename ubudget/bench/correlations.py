"""Correlation coefficients that the method declares between plain inputs (GUM 5.2.2)."""

from __future__ import annotations

from ubudget.bench.building import TableBuilder
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.graph import Joint, Place

CORRELATIONS = "correlations"


def build_correlations(rows: SymbolRows) -> None:
    """Table `correlations`, and a joint for every pair of rows of the stated inputs that a coefficient is of."""
    context = rows.context
    declared = context.records.method.correlations
    if not declared:
        return
    table = TableBuilder(CORRELATIONS, "Declared correlations", len(declared), context.shared)
    table.label("a", "quantity", [pair.between[0] for pair in declared])
    table.label("b", "and", [pair.between[1] for pair in declared])
    table.given(
        "r",
        "correlation coefficient r",
        "",
        [pair.coefficient for pair in declared],
        [Place("method", ("correlation", number, "coefficient")) for number in range(len(declared))],
    )
    table.label("source", "source", [pair.source for pair in declared])
    context.tables[CORRELATIONS] = table.build()
    for number, pair in enumerate(declared):
        for _, a in rows.case_rows.get(pair.between[0], []):
            for _, b in rows.case_rows.get(pair.between[1], []):
                context.joints.append(
                    Joint((INPUTS, "estimate", a), (INPUTS, "estimate", b), CORRELATIONS, "r", number)
                )
