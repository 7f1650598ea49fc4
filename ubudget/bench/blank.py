"""Blank of a method: mean over the run's blanks on the same curve, with the scatter between blanks (QUAM 7.11).

Procedural, reagent or device blank: what was subtracted before is declared, and never subtracted again.

u of the mean is s_b/sqrt(n_b) with n_b - 1 degrees of freedom. s_b is between blanks and holds their reading noise, so
that noise is not added. The sample's own blank scatters by s_b as well, unless the method says where that is covered.
"""

from __future__ import annotations

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.context import COUNTED, Context
from ubudget.bench.corrections import Corrections
from ubudget.bench.curve import CURVES, label_curves
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.kinds import Kind
from ubudget.bench.structure import Curve, Structure
from ubudget.quantity.expression import Expression, Number, Symbol, apply
from ubudget.quantity.graph import Trait
from ubudget.records.method import Blank

BLANKS, BLANK_VALUES = "blanks", "blank values"
EFFECT = "blank scatter"
GROUP = "blank"


def blank_estimate(curve: Curve) -> tuple[str, ...]:
    """Key of the variance estimate s_b of the blanks read on a curve."""
    return ("blank scatter", *curve)


def build_blanks(
    context: Context,
    structure: Structure,
    symbol: str,
    blank: Blank,
    kind: Kind,
    reading_unit: str,
    corrections: Corrections,
    curves: str = CURVES,
) -> None:
    """Tables `blank values` (one row a blank and line) and `blanks` (one row a line; column `c`).

    `curves`: the table of the curves."""
    unit = blank.unit
    rows = [row for row, item in enumerate(structure.measured) if item.solution in structure.blank_solutions]
    items = [structure.measured[row] for row in rows]
    means = structure.blank_curves
    owner = np.array([means.index(item.curve) for item in items], dtype=np.int64)
    own_curves = [structure.curves.index(item.curve) for item in items]
    values = TableBuilder(BLANK_VALUES, f"{blank.kind.capitalize()} blanks, each", len(rows), context.shared)
    values.label("solution", "blank", [item.solution for item in items])
    values.label("analyte", "analyte", [item.line[0] for item in items])
    values.label("line", "line", [item.line[1] for item in items])
    if any(item.reading.block for item in items):
        values.label("block", "calibration block", [item.reading.block for item in items])
    mean = values.pick("mean reading", SIGNALS, "mean", rows)
    n = values.pick("readings", SIGNALS, "n", rows)

    def curve(column: str) -> Symbol:
        return values.pick(f"{column} of the curve", curves, column, own_curves)

    used = values.formula("used", "used (1 = yes)", "", apply("if_less", n, 0.5, 0, 1))
    # Blanks read between the same checks share their drift; the amount of internal standard shows in s_b.
    drift = corrections.drift_factor(values, items)
    values.formula("reading used", "reading used", reading_unit, used * mean if drift is None else used * mean * drift)
    c = values.formula("c", "blank concentration", unit, curve("scale") * kind.inverse(curve, mean))
    values.formula(
        "deviation",
        "deviation from the mean",
        unit,
        used * (c - values.pick("mean blank", BLANKS, "c", owner)),
    )
    context.tables[BLANK_VALUES] = values.build()
    _build_means(context, structure, owner, symbol, blank, kind, reading_unit, drift is not None, curves)


def _build_means(
    context: Context,
    structure: Structure,
    owner: np.ndarray,
    symbol: str,
    blank: Blank,
    kind: Kind,
    reading_unit: str,
    drifting: bool,
    curves: str,
) -> None:
    means, unit = structure.blank_curves, blank.unit
    size = len(means)
    table = TableBuilder(BLANKS, f"{blank.kind.capitalize()} blank of each line", size, context.shared)
    label_curves(table, means)
    counts = np.bincount(owner, minlength=size)
    stop = np.cumsum(counts)

    def span(column: str) -> Symbol:
        return table.span(f"all {column}", BLANK_VALUES, column, stop - counts, stop)

    n = table.formula("n", "blanks used", "", apply("total", span("used")))
    total: Expression = apply("total", span("reading used"))
    if drifting:
        # One by one, so that each blank's drift is carried on.
        total = Number(0)
        for turn in range(int(counts.max(initial=0))):
            rows = np.where(turn < counts, stop - counts + turn, -1)
            total = total + table.pick(f"reading of blank {turn + 1}", BLANK_VALUES, "reading used", rows)
    reading = table.formula("mean reading", "mean reading", reading_unit, apply("ratio_or_zero", total, n))
    dof = table.formula("dof", "degrees of freedom", "", apply("larger", n - 1, 1))
    deviation = span("deviation")
    counted = context.mark(EFFECT) == COUNTED
    planned = context.planned.blanks
    of_mean = n if planned is None else table.given("planned", "blanks planned", "", [planned] * size)
    s = table.formula(
        "s_b", "s between blanks", unit, apply("sqrt", apply("total_product", deviation, deviation) / dof)
    )
    mean = table.deviation(
        f"{symbol}.mean",
        f"{symbol}.mean",
        unit,
        apply("ratio_or_zero", s, apply("sqrt", of_mean)) if counted else Number(0),
        [
            Trait(
                f"{symbol}.mean",
                f"mean of the {blank.kind} blanks",
                GROUP,
                "A",
                "t",
                "scatter between blanks" if counted else context.mark(EFFECT),
            )
            for _ in means
        ],
        dof="dof" if counted else None,
        estimates=[blank_estimate(curve) for curve in means],
    )

    def curve(column: str) -> Symbol:
        return table.pick(f"{column} of the curve", curves, column, [structure.curves.index(own) for own in means])

    at_mean = curve("scale") * kind.inverse(curve, reading)
    table.formula("c", symbol, unit, at_mean + mean, "the curve at the mean reading of the blanks")
    context.tables[BLANKS] = table.build()
