"""Limits that a run shows by itself, from its blanks and its calibration lines, beside the validated ones.

They check the method, they never replace its limits. Decision limit t(1 - alpha, nu) s, detection limit
(t(1 - alpha, nu) + t(1 - beta, nu)) s: the sum of t is what a cell calculates in place of the non-central t (IUPAC
1995; ISO 11843-2). From blanks, independent preparations, s = s_b sqrt(1 + 1/n_b); from a line on single
readings s = (s/b) sqrt(1/K + 1/sum(W) + x_mean²/Sxx) (ISO 11843-2), K the fewest readings of a solution of the line.
Both are multiplied by ∂w/∂c of the nominal portion. The run is worse beyond chance where s² over the s² behind the
validated limit is above the 95 % point of F (one-sided F-test of two variances).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from ubudget.bench.assembly import Assembly
from ubudget.bench.blank import BLANKS
from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.curve import CURVES
from ubudget.bench.inverse import SIGNALS
from ubudget.bench.kinds import kind_of
from ubudget.bench.structure import Curve
from ubudget.bench.weights import known_scatter
from ubudget.evaluation.scaled_limits import AT_NOMINAL, METHOD_LIMITS, SCALED, Limits
from ubudget.quantity.expression import Expression, Number, Operand, Symbol, apply, as_expression
from ubudget.quantity.graph import INFINITE_DOF, Graph
from ubudget.quantity.numbers import Numbers
from ubudget.records.calibration import Calibration
from ubudget.records.finding import Finding
from ubudget.records.read_order import calibration_of

RUN_LIMITS = "limits of the run"
BEYOND_CHANCE = 0.05
SOURCES = ("blanks", "calibration")
LINE, THROUGH_ZERO = "line", "line through zero"


@dataclass(frozen=True)
class _Line:
    """A curve with limits: its row, that of the scaled limits of one of its portions, that of the method's limits."""

    curve: Curve
    scaled: int
    stated: int


def checked_lines(limits: Limits) -> list[_Line]:
    """One for each curve on which a portion with limits was read."""
    structure = limits.assembly.structure
    if structure is None or METHOD_LIMITS not in limits.graph.tables:
        return []
    found: dict[Curve, _Line] = {}
    for row in structure.results:
        place = limits.scaled.get((row.portion, row.line))
        if place is not None and row.measured >= 0:
            curve = structure.measured[row.measured].curve
            found.setdefault(curve, _Line(curve, *place))
    return [found[curve] for curve in structure.curves if curve in found]


def from_calibration(calibration: Calibration | None) -> bool:
    """Whether the curve gives limits: a straight line by least squares on single readings, whose scatter it shows."""
    return (
        calibration is not None
        and kind_of(calibration).name in (LINE, THROUGH_ZERO)
        and not known_scatter(calibration)
        and calibration.fit_on != "means"
    )


def spread_at_zero(calibration: Calibration, K: Operand, column: Callable[[str], Operand]) -> Expression:
    """s² of a concentration at zero over (s/b)²: ISO 11843-2; a line through zero has no scatter there itself.

    Of a weighted line sums are weighted, and a reading at zero has the weight of the heaviest point, which is 1."""
    if kind_of(calibration).name == THROUGH_ZERO:
        return apply("divide", 1, K)
    mean, Sxx = as_expression(column("mean of x")), column("Sxx")
    of_line = apply("ratio_or_zero", 1, column("sum of weights")) + apply("ratio_or_zero", mean**2, Sxx)
    return apply("divide", 1, K) + of_line


def add_run_limits(assembly: Assembly, graph: Graph) -> Graph:
    """Table `limits of the run`, one row for each curve with limits."""
    limits = Limits(assembly, graph)
    rule, lines = limits.rule, checked_lines(limits)
    blanks = BLANKS in graph.tables and "blanks" in rule.check
    line = (
        CURVES in graph.tables
        and "calibration" in rule.check
        and from_calibration(calibration_of(assembly.records.method))
    )
    if not lines or not (blanks or line) or AT_NOMINAL not in graph.tables[SCALED].by_name:
        return graph
    table = TableBuilder(RUN_LIMITS, "Limits that this run shows, for the nominal portion", len(lines), Shared())
    table.label("analyte", "analyte", [one.curve.analyte for one in lines])
    table.label("line", "line", [one.curve.line for one in lines])
    if any(one.curve.block for one in lines):
        table.label("block", "calibration block", [one.curve.block for one in lines])
    stated = [one.stated for one in lines]
    sensitivity = apply("abs", table.pick("nominal ∂w/∂c", SCALED, AT_NOMINAL, [one.scaled for one in lines]))
    table.pick("p of α", METHOD_LIMITS, "p of alpha", stated)
    table.pick("p of β", METHOD_LIMITS, "p of beta", stated)
    _add_validated(limits, table, lines)
    if blanks:
        _add_blanks(limits, table, lines, sensitivity)
    if line:
        _add_line(limits, table, lines, sensitivity)
    return graph.with_table(table.build())


def _one_sided(symbol: str, dof: Expression | float) -> Expression:
    """t(1 - alpha, nu), one-sided: the two-sided factor at 1 - 2 alpha."""
    return apply("student", Symbol(f"p of {symbol}"), dof)


def _add_validated(limits: Limits, table: TableBuilder, lines: list[_Line]) -> None:
    """The s of the net result behind the validated limits, from detection, decision or quantification limit."""
    stated = limits.stated
    has_dof = [stated[one.stated].dof is not None for one in lines]
    dof: Expression = Number(INFINITE_DOF)
    if any(has_dof):
        rows = [one.stated if has else -1 for one, has in zip(lines, has_dof, strict=True)]
        dof = table.pick("dof of the method", METHOD_LIMITS, "dof", rows, absent=INFINITE_DOF)
    table.formula("ν validated", "ν behind the validated limits", "", dof)
    t_alpha, t_beta = (_one_sided(name, Symbol("ν validated")) for name in ("α", "β"))
    ways, way = [], []
    for one in lines:
        limit = stated[one.stated]
        name = "detection" if limit.detection else "decision" if limit.decision else "quantification"
        if name not in ways:
            ways.append(name)
        way.append(ways.index(name))
    factors = {"detection": t_alpha + t_beta, "decision": t_alpha, "quantification": Number(10)}
    expressions = []
    for number, name in enumerate(ways):
        rows = [one.stated if own == number else -1 for one, own in zip(lines, way, strict=True)]
        limit_of_method = table.pick(f"validated {name}", METHOD_LIMITS, name, rows, absent=1.0)
        expressions.append(apply("ratio_or_zero", limit_of_method, factors[name]))
    heading = "s behind the validated limit"
    clause = "limit over its factor; quantification limit over 10"
    way_of = np.array(way, dtype=np.int64)
    table.formula("s validated", heading, limits.unit, expressions[0], clause, expressions[1:], way_of)


def _add_blanks(limits: Limits, table: TableBuilder, lines: list[_Line], sensitivity: Expression) -> None:
    structure = limits.assembly.structure
    assert structure is not None
    rows = [structure.blank_row(one.curve) for one in lines]
    n = table.formula("n_b", "blanks: n_b", "", table.pick("blanks used", BLANKS, "n", rows))
    s_b = table.pick("s_b", BLANKS, "s_b", rows)
    net = s_b * apply("sqrt", 1 + 1 / apply("larger", n, 1)) * sensitivity
    s = table.formula("s blanks", "blanks: s of a corrected result", limits.unit, net, "s_b·sqrt(1 + 1/n_b)·|∂w/∂c|")
    enough = apply("if_less", n, limits.rule.minimum_blanks - 0.5, 0, 1)
    _add_limits(limits, table, "blanks", s, apply("larger", n - 1, 1), enough)


def _add_line(limits: Limits, table: TableBuilder, lines: list[_Line], sensitivity: Expression) -> None:
    structure = limits.assembly.structure
    assert structure is not None
    rows = [structure.curves.index(one.curve) for one in lines]
    own = [[row for row, item in enumerate(structure.measured) if item.curve == one.curve] for one in lines]
    start, stop = (np.array([end(rows_of) for rows_of in own], dtype=np.int64) for end in (min, max))
    fewest = apply("smallest", table.span("readings of the solutions", SIGNALS, "n", start, stop + 1))
    K = table.formula("K", "calibration: K, fewest readings", "", apply("larger", fewest, 1))

    def curve(column: str) -> Symbol:
        return table.pick(f"{column} of the curve", CURVES, column, rows)

    calibration = calibration_of(limits.assembly.records.method)
    assert calibration is not None
    spread = spread_at_zero(calibration, K, curve)
    per_x = apply("abs", apply("ratio_or_zero", curve("s"), curve("slope")))
    clause = "ISO 11843-2, (s/b)·sqrt(1/K + 1/ΣW + x̄²/Sxx)·|∂w/∂c|"
    s = table.formula(
        "s calibration", "calibration: s at zero", limits.unit, per_x * apply("sqrt", spread) * sensitivity, clause
    )
    usable = apply("if_less", curve("status"), 0.5, 1, 0)
    _add_limits(limits, table, "calibration", s, curve("dof"), usable)


def _add_limits(
    limits: Limits, table: TableBuilder, source: str, s: Symbol, dof: Expression, judged: Expression
) -> None:
    nu = table.formula(f"ν {source}", f"{source}: ν", "", dof)
    t_alpha = table.formula(f"t(α) {source}", f"{source}: t(1 - α)", "", _one_sided("α", nu), "ISO 11843-2")
    t_beta = table.formula(f"t(β) {source}", f"{source}: t(1 - β)", "", _one_sided("β", nu))
    table.formula(f"decision {source}", f"{source}: decision limit", limits.unit, t_alpha * s, "t·s, IUPAC 1995")
    clause = "(t(1 - α) + t(1 - β))·s"
    table.formula(f"detection {source}", f"{source}: detection limit", limits.unit, (t_alpha + t_beta) * s, clause)
    ratio = apply("ratio_or_zero", s, Symbol("s validated"))
    F = table.formula(f"F {source}", f"{source}: F", "", ratio**2)
    known = Symbol("ν validated")
    p = table.formula(
        f"p {source}",
        f"{source}: p of F",
        "",
        apply(
            "if_less",
            known,
            1e9,
            apply("f_upper", F, nu, apply("smaller", known, 1e9)),
            apply("chi_upper", F * nu, nu),
        ),
    )
    sound = table.formula(f"judged {source}", f"{source}: judged (1 = yes)", "", judged)
    worse = sound * apply("if_less", p, BEYOND_CHANCE, 1, 0)
    table.formula(f"worse {source}", f"{source}: worse beyond chance (1 = yes)", "", worse)


def run_limit_findings(assembly: Assembly, graph: Graph, numbers: Numbers) -> Iterator[Finding]:
    """Lines whose blanks or calibration show worse limits than the method's; blanks too few to judge, once."""
    table = graph.tables.get(RUN_LIMITS)
    if table is None:
        return
    unit, file = assembly.records.method.document.unit, assembly.records.file("readings")
    rule = Limits(assembly, graph).rule
    few: list[str] = []
    names = zip(table.texts("analyte"), table.texts("line"), strict=True)
    for row, line in enumerate(names):
        name = " ".join(part for part in line if part)
        for source in SOURCES:
            if f"p {source}" not in table.by_name:
                continue

            def number(column: str, source: str = source, row: int = row) -> float:
                return float(numbers.column(RUN_LIMITS, f"{column} {source}")[row])

            if source == "blanks" and number("judged") < 0.5:
                few.append(name)
            if number("worse") > 0.5:
                s = float(numbers.column(RUN_LIMITS, "s validated")[row])
                found = (
                    f"a detection limit of {number('detection'):.3g} {unit} by {source}: s = {number('s'):.3g} {unit} "
                    f"beside {s:.3g} {unit} behind the validated limit (p = {number('p'):.2g})"
                )
                accepted = f"an s that exceeds it by chance only (p of {BEYOND_CHANCE:g} or more, F-test)"
                remedy = "find the cause, such as contamination or a noisy device, before reporting by these limits"
                yield Finding("attend", file, f"limits of the run, {name}", found, accepted, remedy)
    if few:
        found = f"fewer than {rule.minimum_blanks} blanks for {', '.join(dict.fromkeys(few))}"
        accepted = f"{rule.minimum_blanks} blanks or more, independent preparations, to check the validated limits"
        yield Finding("note", file, "limits of the run", found, accepted, "read more blanks, or lower minimum_blanks")
