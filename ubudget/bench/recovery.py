"""Recovery of a procedure from reference materials and spikes, its test against 1, and the factor used.

Mean recovery of a material R = x/x_ref, u(R) = R sqrt((s/(sqrt(n) x))^2 + (u(x_ref)/x_ref)^2); of spikes likewise with
the amount added (EURACHEM/CITAC CG 4, QUAM:2012.P1, 7.15 and A4; Barwick and Ellison, Analyst 124 (1999) 981). A
significant recovery that is not corrected for widens u to sqrt(((1 - R)/k)^2 + u(R)^2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.cases import best_rows, fits, specificity
from ubudget.bench.context import Context, method_place
from ubudget.bench.placed import Placed
from ubudget.bench.precision import case_words
from ubudget.bench.stocks import stock_of
from ubudget.bench.symbol_rows import SymbolRows
from ubudget.quantity.expression import ONE, ZERO, Expression, Number, Operand, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place, Trait
from ubudget.records.amount import Amount
from ubudget.records.case import Selector
from ubudget.records.records import Role
from ubudget.records.recovery import CORRECTED, NOT_SIGNIFICANT, WIDENED, Recovery, ReferenceMaterialStudy, SpikeStudy

STUDIES, RECOVERIES = "recovery studies", "recoveries"
GROUP = "recovery"
SPLIT = "QUAM 7.15, A4"
SHOWN = 4
"""Lines and matrices named beside a recovery; further ones are counted."""


@dataclass(frozen=True)
class StudyRow:
    """One row of the studies: amounts with the document and the path of their keys."""

    symbol: str
    study: ReferenceMaterialStudy | SpikeStudy
    path: tuple[str | int, ...]
    unit: str
    observed: Amount
    observed_key: str
    reference: Amount
    reference_u: Amount | None
    k: float | None
    document: Role = "method"
    keys: tuple[str, str, str] = ("", "", "")
    """Keys of the reference value, of its U or u, and of k."""
    reference_path: tuple[str | int, ...] = ()

    @property
    def words(self) -> str:
        if isinstance(self.study, SpikeStudy):
            return "spikes"
        return f"reference material {self.study.item}".strip()


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
    studies = [row for symbol, operation in symbols for row in _studies(context, symbol, operation)]
    rows: list[RecoveryRow] = []
    applies: list[list[str]] = []
    for symbol, operation in symbols:
        selections = list(dict.fromkeys(_selections(operations)))
        place = []
        for selection in selections:
            row = _row_of(symbol, operation, studies, selection)
            if row is None:
                continue
            if row not in rows:
                rows.append(row)
                applies.append([])
            case = Selector(analyte=selection[0], line=selection[1], matrix=selection[2])
            place.append((case, rows.index(row)))
            applies[rows.index(row)].append(" ".join(part for part in selection if part) or "all")
        cases, numbers = tuple(case for case, _ in place), tuple(number for _, number in place)
        operations.placed[symbol] = Placed(RECOVERIES, "factor", cases, numbers)
    if studies:
        _build_studies(context, studies)
    if rows:
        _build_recoveries(context, rows, [_joined(words) for words in applies], studies)


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


def _studies(context: Context, symbol: str, operation: Recovery) -> list[StudyRow]:
    rows = []
    for number, material in enumerate(operation.reference_materials):
        path = ("symbols", symbol, "reference_material", number)
        unit = material.measured.unit
        if material.certified is not None:
            keys = ("certified", "U", "k")
            rows.append(
                StudyRow(
                    *(symbol, material, path, unit, material.measured, "measured"),
                    *(material.certified, material.U, material.k, "method", keys, path),
                )
            )
            continue
        certified = stock_of(context, material.item, material.analyte)
        if certified is not None:
            value = certified.property
            keys = ("value", "U", "k")
            rows.append(
                StudyRow(
                    *(symbol, material, path, unit, material.measured, "measured"),
                    *(value.value, value.U, value.k, "register", keys, certified.path),
                )
            )
    for number, spike in enumerate(operation.spikes):
        path = ("symbols", symbol, "spike", number)
        whole = Amount(100.0, "%", "100 %") if spike.recovered.unit == "%" else Amount(1.0, "", "1")
        keys = ("added" if spike.added else "", "added_u" if spike.added_u else "", "")
        rows.append(
            StudyRow(
                *(symbol, spike, path, spike.recovered.unit, spike.recovered, "recovered"),
                *(spike.added or whole, spike.added_u, None, "method", keys, path),
            )
        )
    return rows


def _is_relative(amount: Amount | None, row: StudyRow) -> bool:
    return amount is not None and amount.relative and row.unit != "%"


def _build_studies(context: Context, rows: Sequence[StudyRow]) -> None:
    table = TableBuilder(STUDIES, "Recovery studies", len(rows), context.shared)
    table.label("symbol", "symbol", [row.symbol for row in rows])
    table.label("study", "study", [row.words for row in rows])
    table.label("applies", "applies to", [case_words(row.study) for row in rows])
    table.label("unit", "unit", [row.unit or "1" for row in rows])

    def column(
        name: str, heading: str, amounts: Sequence[tuple[Amount | None, str, Role, tuple[str | int, ...]]]
    ) -> Symbol:
        values, places = [], []
        for row, (amount, key, role, path) in zip(rows, amounts, strict=True):
            unit = "%" if _relative_here(name, amount, row) else row.unit
            values.append(context.in_unit(amount, unit, role, f"symbol {row.symbol}, {row.words}, {key or name}"))
            places.append(Place(role, (*path, key), unit) if amount is not None and key else None)
        return table.given(name, heading, "", nan_where_none(values), places)

    def own(key: str) -> list[tuple[Amount | None, str, Role, tuple[str | int, ...]]]:
        return [(getattr(row.study, key), key, "method", row.path) for row in rows]

    observed = column("observed", "found", [(row.observed, row.observed_key, "method", row.path) for row in rows])
    scatter = ["%" if _is_relative(row.study.s or row.study.u, row) else row.unit or "1" for row in rows]
    table.label("scatter in", "s or u in", scatter)
    s = column("s", "s of the results", own("s"))
    counts = [row.study.n for row in rows]
    places = [method_place(*row.path, "n") if row.study.n else None for row in rows]
    n = table.given("n", "number of results n", "", nan_where_none(counts), places)
    u = column("u stated", "u of the mean, stated", own("u"))
    reference = column(
        "reference",
        "certified, or added",
        [(row.reference, row.keys[0], row.document, row.reference_path) for row in rows],
    )
    table.label(
        "U in", "its uncertainty in", ["%" if _reference_way(row) in (2, 4) else row.unit or "1" for row in rows]
    )
    U = column(
        "U",
        "its uncertainty as stated",
        [(row.reference_u, row.keys[1], row.document, row.reference_path) for row in rows],
    )
    k = table.given(
        "k",
        "k stated",
        "",
        nan_where_none([row.k for row in rows]),
        [Place(row.document, (*row.reference_path, "k")) if row.k else None for row in rows],
    )
    per_cent = observed / 100
    mean_u: list[Operand] = [s / apply("sqrt", n), s * per_cent / apply("sqrt", n), u, u * per_cent]
    way = [(0 if row.study.u is None else 2) + _is_relative(row.study.s or row.study.u, row) for row in rows]
    table.formula("u(found)", "u of the mean found", "", mean_u[0], "GUM 4.2.3", mean_u[1:], np.array(way))
    reference_u: list[Operand] = [ZERO, U / k, U * reference / 100 / k, U, U * reference / 100]
    way = [_reference_way(row) for row in rows]
    table.formula("u(reference)", "u of the reference", "", ZERO, "GUM 4.3.3", reference_u[1:], np.array(way))
    R = table.formula("R", "recovery R", "", observed / reference, SPLIT)
    first, second = Symbol("u(found)") / observed, Symbol("u(reference)") / reference
    relative = table.formula("relative", "u(R)/R", "", apply("sqrt", first**2 + second**2), SPLIT)
    u_R = table.formula("u(R)", "u(R)", "", R * relative, SPLIT)
    table.formula("weight", "weight 1/u(R)²", "", 1 / u_R**2)
    stated = [row.study.dof or INFINITE_DOF for row in rows]
    places = [method_place(*row.path, "dof") if row.study.dof else None for row in rows]
    dof = table.given("dof stated", "degrees of freedom stated", "", stated, places)
    of_mean: list[Operand] = [n - 1, dof]
    way = [0 if row.study.u is None else 1 for row in rows]
    table.formula("ν found", "ν of the mean found", "", of_mean[0], "GUM 4.2.6", of_mean[1:], np.array(way))
    satterthwaite = apply("smaller", Symbol("ν found") * (relative / first) ** 4, INFINITE_DOF)
    table.formula("ν", "ν of R", "", satterthwaite, "GUM G.4.1 eq. G.2b")
    table.label("source", "source", [row.study.source for row in rows])
    context.tables[STUDIES] = table.build()


def _relative_here(name: str, amount: Amount | None, row: StudyRow) -> bool:
    return name in ("s", "u stated", "U") and _is_relative(amount, row)


def _reference_way(row: StudyRow) -> int:
    if row.reference_u is None:
        return 0
    # The amount added: a % is relative to it, also where the recovery itself is in per cent.
    relative = row.reference_u.relative and (row.unit != "%" or not row.keys[0])
    return (1 if row.k else 3) + relative


def _joined(words: Sequence[str]) -> str:
    more = f" and {len(words) - SHOWN} more" if len(words) > SHOWN else ""
    return ", ".join(words[:SHOWN]) + more


def _build_recoveries(
    context: Context, rows: Sequence[RecoveryRow], applies: Sequence[str], studies: Sequence[StudyRow]
) -> None:
    table = TableBuilder(RECOVERIES, "Recovery", len(rows), context.shared)
    table.label("symbol", "symbol", [row.symbol for row in rows])
    table.label("applies", "applies to", applies)
    table.label("treatment", "treatment", [row.treatment for row in rows])
    R, u, dof = _combined(table, rows)
    k = table.given(
        "k", "k of test and widening", "", [row.operation.k for row in rows], [_place(row, "k") for row in rows]
    )
    t = table.formula("t", "|1 - R|/u(R)", "", apply("ratio_or_zero", apply("abs", 1 - R), u), SPLIT)
    by_t = [row.operation.significance == "t" for row in rows]
    critical = k
    if any(by_t):
        p = table.given(
            "p",
            "probability of the test",
            "",
            [row.operation.probability for row in rows],
            [_place(row, "probability") for row in rows],
        )
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
    table.leaf("factor", "u", [_trait(row, studies) for row in rows], dof="ν")
    context.tables[RECOVERIES] = table.build()


def _place(row: RecoveryRow, key: str) -> Place:
    return method_place("symbols", row.symbol, key)


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
    for turn in range(max(len(row.studies) for row in rows)):
        own = [row.studies[turn] if turn < len(row.studies) else -1 for row in rows]

        def of(column: str, absent: float, turn: int = turn, own: list[int] = own) -> Symbol:
            return table.pick(f"{column} of study {turn + 1}", STUDIES, column, own, absent)

        R, u, weight, nu = of("R", 1.0), of("relative", 0.0), of("weight", 0.0), of("ν", 1.0)
        product = product * R
        relative = relative + u**2
        total, weights = total + weight * R, weights + weight
        by_product = by_product + u**4 / nu
        by_mean = by_mean + weight**2 / nu
    way = np.array([1 if row.operation.combine == "weighted mean" and row.studies else 0 for row in rows])
    clause = "product, or mean with weights 1/u²"
    result = table.formula("R", "recovery R", "", product, clause, [apply("ratio_or_zero", total, weights)], way)
    roots: list[Operand] = [apply("sqrt", relative), apply("ratio_or_zero", 1, apply("sqrt", weights))]
    u_result = table.formula("u(R)", "u(R)", "", result * apply("sqrt", relative), clause, [roots[1]], way)
    nus = [apply("ratio_or_zero", relative**2, by_product), apply("ratio_or_zero", weights**2, by_mean)]
    capped = [apply("smaller", nu, INFINITE_DOF) for nu in nus]
    nu_result = table.formula("ν(R)", "ν of R", "", capped[0], "GUM G.4.1 eq. G.2b", [capped[1]], way)
    return result, u_result, nu_result
