"""Prepared standards that the laboratory keeps: what keeping may have done to their content."""

from __future__ import annotations

from collections.abc import Sequence

from ubudget.bench.building import TableBuilder
from ubudget.bench.stated import TABLE as INPUTS
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.graph import Trait
from ubudget.records.preparation_chains import Chain

KEPT = "kept standards"
GROUP = "standards"


def build_kept_standards(rows: SymbolRows, chains: Sequence[tuple[Chain, str]]) -> dict[tuple[str, str], int]:
    """Table `kept standards`, column `factor` = 1 + stability; gives the row of each (solution, analyte).

    The deviation of a solution's content is one for all that is made from it."""
    register = rows.context.records.register
    items = {item.id: item for item in register.prepared_standards} if register else {}
    keys = list(
        dict.fromkeys(
            (link.label, analyte)
            for chain, analyte in chains
            for link in chain.links
            if link.stability is not None and not link.stability.exact
        )
    )
    if not keys:
        return {}
    table = TableBuilder(KEPT, "Prepared standards kept by the laboratory", len(keys), rows.context.shared)
    table.label("item", "item", [label for label, _ in keys])
    table.label("analyte", "analyte", [analyte for _, analyte in keys])
    table.label("prepared", "prepared", [str(items[label].prepared) for label, _ in keys])
    table.label("use by", "use by", [str(items[label].use_by) for label, _ in keys])
    percent = table.pick("u% of the stability", INPUTS, "u", [rows.stability_rows[label] for label, _ in keys])
    traits = []
    for label, _ in keys:
        stated = items[label].stability
        assert stated is not None
        distribution = stated.distribution or "normal"
        source = stated.source or f"stated for {label}"
        traits.append(Trait("stability", "keeping of a prepared standard", GROUP, "B", distribution, source))
    deviation = table.deviation(
        "stability", "change on keeping, relative", "", percent / 100, traits, members=[(KEPT, key) for key in keys]
    )
    table.formula("factor", "factor from keeping", "", 1 + deviation)
    rows.context.tables[KEPT] = table.build()
    return {key: row for row, key in enumerate(keys)}
