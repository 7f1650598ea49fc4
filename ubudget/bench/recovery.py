"""Recovery of a procedure from reference materials and spikes, its test against 1, and the factor used.

A significant recovery that is not corrected for widens u to sqrt(((1 - R)/k)^2 + u(R)^2) (EURACHEM/CITAC CG 4,
QUAM:2012.P1, 7.15; Barwick and Ellison, Analyst 124 (1999) 981). The factor is one deviation for all results with the
same studies and treatment. Factors that share a study or a reference are not: they follow the deviations of their
studies (`bench.shared_recoveries`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder
from ubudget.bench.cases import best_rows, fits, specificity
from ubudget.bench.context import Context, method_place
from ubudget.bench.placed import Placed
from ubudget.bench.recovery_studies import GROUP, SPLIT, STUDIES, StudyRow, build_studies, studies_of
from ubudget.bench.shared_recoveries import SHARED_FACTOR, SharedRow, add_shared_factor, sharing
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import ONE, ZERO, Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Trait
from ubudget.records.case import Selector
from ubudget.records.recovery import CORRECTED, NOT_SIGNIFICANT, WIDENED, Recovery, ReferenceMaterialStudy, SpikeStudy

RECOVERIES, TESTS = "recoveries", "recovery tests"
SHOWN = 4
"""Lines and matrices named beside a recovery; further ones are counted."""


@dataclass(frozen=True)
class RecoveryRow:
    """One row of the recoveries: which studies apply, and how R is treated."""

    symbol: str
    operation: Recovery
    treatment: str
    studies: tuple[int, ...]


def build_recoveries(operations: SymbolRows) -> None:
    """Tables `recovery studies` and `recoveries`; remembers where the symbols stand."""
    symbols = operations.each(Recovery)
    if not symbols:
        return
    context = operations.context
    studies = [row for symbol, operation in symbols for row in studies_of(context, symbol, operation)]
    rows: list[RecoveryRow] = []
    applies: list[list[str]] = []
    places: dict[str, tuple[tuple[Selector, ...], tuple[int, ...]]] = {}
    for symbol, operation in symbols:
        selections = list(dict.fromkeys(_selections(operations)))
        place = []
        for selection in selections:
            row = _row_of(symbol, operation, studies, selection)
            if row is None:
                continue
            if row not in rows:
                _tell_combination(context, row, studies, selection)
            if row not in rows:
                rows.append(row)
                applies.append([])
            case = Selector(analyte=selection[0], line=selection[1], matrix=selection[2])
            place.append((case, rows.index(row)))
            applies[rows.index(row)].append(" ".join(part for part in selection if part) or "all")
        cases, numbers = tuple(case for case, _ in place), tuple(number for _, number in place)
        places[symbol] = cases, numbers
    shares = sharing([row.studies if u_counts(row.treatment) else () for row in rows], studies)
    column = SHARED_FACTOR if any(shares) else "factor"
    operations.placed |= {symbol: Placed(RECOVERIES, column, *place) for symbol, place in places.items()}
    if studies:
        build_studies(context, studies, with_deviations=any(shares))
    if rows:
        _build_recoveries(context, rows, [_joined(words) for words in applies], studies, shares)


def u_counts(treatment: str) -> bool:
    """Whether the uncertainty of R is part of the result's under a treatment."""
    return treatment in (CORRECTED, NOT_SIGNIFICANT, WIDENED)


def _selections(operations: SymbolRows) -> list[tuple[str, str, str]]:
    structure = operations.structure
    if structure is None:
        return [("", "", "")]
    return [(*result.line, structure.portions[result.portion].matrix) for result in structure.results]


def _row_of(
    symbol: str, operation: Recovery, studies: Sequence[StudyRow], selection: tuple[str, str, str]
) -> RecoveryRow | None:
    """What applies to an analyte, line and matrix; None where nothing says how R is treated, or what it is."""
    treatments = operation.treatments
    chosen = best_rows(treatments, *selection)
    own = [number for number, row in enumerate(studies) if row.symbol == symbol]
    applying: list[int] = []
    for kind in (ReferenceMaterialStudy, SpikeStudy):
        fitting = [n for n in own if isinstance(studies[n].study, kind) and fits(studies[n].study, *selection)]
        narrowest = max((specificity(studies[number].study) for number in fitting), default=0)
        applying += [number for number in fitting if specificity(studies[number].study) == narrowest]
    if not chosen:
        return None
    treatment = treatments[chosen[0]].treatment.strip()
    if not applying and treatment in (CORRECTED, NOT_SIGNIFICANT, WIDENED):
        return None
    return RecoveryRow(symbol, operation, treatment, tuple(applying))


def _tell_combination(
    context: Context, row: RecoveryRow, studies: Sequence[StudyRow], selection: tuple[str, str, str]
) -> None:
    """Several studies of a result whose combination is not stated, or is a product of two that tell of the same."""
    kinds = [type(studies[number].study) for number in row.studies]
    words = " ".join(part for part in selection if part) or "all results"
    if len(kinds) > 1 and row.operation.combine is None:
        found = f"{len(kinds)} studies for {words} and no word on how they combine"
    elif row.operation.combine == "product" and len(set(kinds)) < len(kinds):
        found = f"several studies of one kind for {words}, which would be multiplied"
    else:
        return
    context.find(
        "stop",
        "method",
        f"symbol {row.symbol}, combine",
        found,
        'combine = "product" (a reference material and spikes that tell of different steps) or "weighted mean"',
        "add combine, or give each study its analyte, line or matrix",
    )


def _joined(words: Sequence[str]) -> str:
    more = f" and {len(words) - SHOWN} more" if len(words) > SHOWN else ""
    return ", ".join(words[:SHOWN]) + more


def _build_recoveries(
    context: Context,
    rows: Sequence[RecoveryRow],
    applies: Sequence[str],
    studies: Sequence[StudyRow],
    shares: Sequence[bool],
) -> None:
    table = TableBuilder(RECOVERIES, "Recovery", len(rows), context.shared)
    table.label("symbol", "symbol", [row.symbol for row in rows])
    table.label("applies", "applies to", applies)
    table.label("treatment", "treatment", [row.treatment for row in rows])
    R, u, dof = _combined(table, rows)
    k, p = _tests(context, table, rows)
    t = table.formula("t", "|1 - R|/u(R)", "", apply("ratio_or_zero", apply("abs", 1 - R), u), SPLIT)
    by_t = [row.operation.significance == "t" for row in rows]
    critical = k
    if any(by_t):
        student = apply("student", p, apply("larger", 1, apply("whole", dof + 1e-6)))
        way = np.array(by_t, dtype=np.int64)
        critical = table.formula("critical", "critical value", "", k, "k, or Student's t", [student], way)
    table.formula("significant", "differs from 1 (1 = yes)", "", apply("if_less", critical, t, 1, 0), SPLIT)
    wide = apply("sqrt", ((1 - R) / k) ** 2 + u**2)
    kinds = (CORRECTED, NOT_SIGNIFICANT, WIDENED)
    way = np.array([kinds.index(row.treatment) if row.treatment in kinds else 3 for row in rows])
    table.formula("factor", "factor used", "", R, SPLIT, [ONE, ONE, ONE], way)
    table.formula("u", "u of the factor", "", u, SPLIT, [u, wide, ZERO], way)
    wide_dof = apply("smaller", dof * apply("ratio_or_zero", Symbol("u"), u) ** 4, INFINITE_DOF)
    table.formula("ν", "ν of the factor", "", dof, "GUM G.4.1", [dof, wide_dof, Number(INFINITE_DOF)], way)
    members = [None if shared else (RECOVERIES, number) for number, shared in enumerate(shares)]
    table.leaf("factor", "u", [_trait(row, studies) for row in rows], dof="ν", members=members)
    if any(shares):
        wide_part = apply("abs", 1 - R) / k
        add_shared_factor(table, [_shared(row) for row in rows], shares, wide_part)
    context.tables[RECOVERIES] = table.build()


def _tests(context: Context, table: TableBuilder, rows: Sequence[RecoveryRow]) -> tuple[Symbol, Symbol]:
    """Table `recovery tests`, one row a symbol: k and probability, as the recoveries pick them."""
    symbols = {row.symbol: row.operation for row in rows}
    tests = TableBuilder(TESTS, "Tests of recovery against 1", len(symbols), context.shared)
    tests.label("symbol", "symbol", list(symbols))
    for key, heading in (("k", "k of test and widening"), ("probability", "probability of a t test")):
        values = [getattr(operation, key) for operation in symbols.values()]
        tests.given(key, heading, "", values, [method_place("symbols", symbol, key) for symbol in symbols])
    context.tables[TESTS] = tests.build()
    owner = [list(symbols).index(row.symbol) for row in rows]
    return table.pick("k of the test", TESTS, "k", owner), table.pick("p of the test", TESTS, "probability", owner)


def _shared(row: RecoveryRow) -> SharedRow:
    mean = row.operation.combine == "weighted mean"
    return SharedRow(row.symbol, row.studies, mean, row.treatment == CORRECTED, row.treatment == WIDENED)


def _trait(row: RecoveryRow, studies: Sequence[StudyRow]) -> Trait:
    named = [studies[number] for number in row.studies]
    scattered = any(study.study.u is None or study.study.dof for study in named)
    words = "; ".join(dict.fromkeys(f"{study.words}, {study.study.source}".strip(", ") for study in named))
    source = f"{row.treatment}: {words}" if words else row.treatment
    kind, shape = ("A", "t") if scattered else ("B", "normal")
    return Trait(row.symbol, row.operation.quantity, GROUP, kind, shape, source)


def _combined(table: TableBuilder, rows: Sequence[RecoveryRow]) -> tuple[Symbol, Symbol, Symbol]:
    """R, u(R) and ν of all studies of a row: their product, or their mean with weights 1/u²."""
    product: Expression = ONE
    relative: Expression = ZERO
    total: Expression = ZERO
    weights: Expression = ZERO
    by_product: Expression = ZERO
    by_mean: Expression = ZERO
    picked = []
    for turn in range(max(len(row.studies) for row in rows)):
        own = [row.studies[turn] if turn < len(row.studies) else -1 for row in rows]

        def of(column: str, absent: float, turn: int = turn, own: list[int] = own) -> Symbol:
            return table.pick(f"{column} of study {turn + 1}", STUDIES, column, own, absent)

        R, u, weight, nu = of("R", 1.0), of("relative", 0.0), of("weight", 0.0), of("ν", 1.0)
        product = product * R
        relative = relative + u**2
        total, weights = total + weight * R, weights + weight
        picked.append((u, weight, nu))
    for u, weight, nu in picked:
        by_product = by_product + apply("ratio_or_zero", u**2, relative) ** 2 / nu
        by_mean = by_mean + apply("ratio_or_zero", weight, weights) ** 2 / nu
    way = np.array([1 if row.operation.combine == "weighted mean" and row.studies else 0 for row in rows])
    clause = "product, or mean with weights 1/u²"
    result = table.formula("R", "recovery R", "", product, clause, [apply("ratio_or_zero", total, weights)], way)
    roots: list[Operand] = [apply("sqrt", relative), apply("ratio_or_zero", 1, apply("sqrt", weights))]
    u_result = table.formula("u(R)", "u(R)", "", result * apply("sqrt", relative), clause, [roots[1]], way)
    # Shares of u² as in the sum for a result: no figure so small that a program takes it for zero.
    nus = [1 / apply("larger", terms, 1 / INFINITE_DOF) for terms in (by_product, by_mean)]
    nu_result = table.formula("ν(R)", "ν of R", "", nus[0], "GUM G.4.1 eq. G.2b", [nus[1]], way)
    return result, u_result, nu_result
