"""Studies of recovery: what was found of a reference material or a spike, beside what should have been found.

R = x/x_ref and u(R) = R sqrt((s/(sqrt(n) x))^2 + (u(x_ref)/x_ref)^2), x_ref the certified value or the amount added
(EURACHEM/CITAC CG 4, QUAM:2012.P1, 7.15 and A4; Barwick and Ellison, Analyst 124 (1999) 981).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ubudget.bench.building import TableBuilder, nan_where_none
from ubudget.bench.context import Context, method_place
from ubudget.bench.precision import case_words
from ubudget.bench.stocks import stock_of
from ubudget.quantity.expression import ZERO, Operand, Symbol, apply
from ubudget.quantity.graph import INFINITE_DOF, Place, Trait
from ubudget.records.amount import Amount
from ubudget.records.records import Role
from ubudget.records.recovery import Recovery, ReferenceMaterialStudy, SpikeStudy

REFERENCES, STUDIES = "recovery references", "recovery studies"
GROUP = "recovery"
DEVIATION = "relative deviation"
"""Column of what is not known of R, of a study, and of what should have been found, of a reference."""
SPLIT = "QUAM 7.15, A4"


@dataclass(frozen=True)
class Reference:
    """What should have been found, and where that stands. Several studies may share one."""

    document: Role
    path: tuple[str | int, ...]
    words: str
    value: Amount
    value_key: str
    u: Amount | None = None
    u_key: str = ""
    k: float | None = None

    @property
    def relative(self) -> bool:
        """Whether u is a percentage of the value: `%`, unless the value itself is stated in per cent."""
        return self.u is not None and self.u.relative and not (self.value.unit == "%" and self.value_key)


@dataclass(frozen=True)
class StudyRow:
    """One study of a symbol, with its place in the method."""

    symbol: str
    study: ReferenceMaterialStudy | SpikeStudy
    path: tuple[str | int, ...]
    observed: Amount
    observed_key: str
    reference: Reference

    @property
    def words(self) -> str:
        if isinstance(self.study, SpikeStudy):
            return "spikes"
        return f"reference material {self.study.item}".strip()

    @property
    def relative(self) -> bool:
        """Whether s or u is a percentage of what was found."""
        scatter = self.study.s or self.study.u
        return scatter is not None and scatter.relative and self.observed.unit != "%"


def studies_of(context: Context, symbol: str, operation: Recovery) -> list[StudyRow]:
    """The studies of a symbol; certified values that stand in the register are taken from there."""
    rows = []
    for number, material in enumerate(operation.reference_materials):
        path = ("symbols", symbol, "reference_material", number)
        reference = _certified(context, material, path)
        if reference is not None:
            rows.append(StudyRow(symbol, material, path, material.measured, "measured", reference))
    for number, spike in enumerate(operation.spikes):
        path = ("symbols", symbol, "spike", number)
        rows.append(StudyRow(symbol, spike, path, spike.recovered, "recovered", _added(spike, path)))
    return rows


def _certified(context: Context, study: ReferenceMaterialStudy, path: tuple[str | int, ...]) -> Reference | None:
    words = f"certified value {study.item}".strip()
    if study.certified is not None:
        return Reference("method", path, words, study.certified, "certified", study.U, "U", study.k)
    found = stock_of(context, study.item, study.analyte)
    if found is None:
        return None
    value = found.property
    words = f"{words} {value.analyte}, certificate {found.certificate.number}"
    return Reference("register", found.path, words, value.value, "value", value.U, "U", value.k)


def _added(spike: SpikeStudy, path: tuple[str | int, ...]) -> Reference:
    if spike.added is not None:
        return Reference("method", path, "amount added", spike.added, "added", spike.added_u, "added_u")
    whole = Amount(100.0, "%", "100 %") if spike.recovered.unit == "%" else Amount(1.0, "", "1")
    return Reference("method", path, "full recovery", whole, "", spike.added_u, "added_u")


def build_studies(context: Context, rows: Sequence[StudyRow], *, with_deviations: bool = False) -> None:
    """Tables `recovery references` and `recovery studies`; R, u(R), its weight and ν in columns of the latter.

    With deviations each mean found and each reference is an input quantity, relative to what it is of."""
    references = list(dict.fromkeys(row.reference for row in rows))
    _build_references(context, references, rows, with_deviations)
    owner = [references.index(row.reference) for row in rows]
    table = TableBuilder(STUDIES, "Recovery studies", len(rows), context.shared)
    table.label("symbol", "symbol", [row.symbol for row in rows])
    table.label("study", "study", [row.words for row in rows])
    table.label("applies", "applies to", [case_words(row.study) for row in rows])
    units = [row.reference.value.unit for row in rows]
    table.label("unit", "unit", [unit or "1" for unit in units])

    def column(
        name: str, heading: str, amounts: Sequence[Amount | None], keys: Sequence[str], in_: list[str]
    ) -> Symbol:
        values = [
            context.in_unit(amount, unit, "method", f"symbol {row.symbol}, {row.words}, {key}")
            for row, amount, key, unit in zip(rows, amounts, keys, in_, strict=True)
        ]
        places = [
            method_place(*row.path, key, unit=unit) if amount is not None else None
            for row, amount, key, unit in zip(rows, amounts, keys, in_, strict=True)
        ]
        return table.given(name, heading, "", nan_where_none(values), places)

    found, keys = [row.observed for row in rows], [row.observed_key for row in rows]
    observed = column("observed", "found", found, keys, units)
    scatter_units = ["%" if row.relative else row.reference.value.unit for row in rows]
    table.label("scatter in", "s or u in", [unit or "1" for unit in scatter_units])
    s = column("s", "s of the results", [row.study.s for row in rows], ["s"] * len(rows), scatter_units)
    places = [method_place(*row.path, "n") if row.study.n else None for row in rows]
    n = table.given("n", "number of results n", "", nan_where_none([row.study.n for row in rows]), places)
    u = column("u stated", "u of the mean, stated", [row.study.u for row in rows], ["u"] * len(rows), scatter_units)
    reference = table.pick("x_ref", REFERENCES, "reference", owner)
    u_reference = table.pick("u(x_ref)", REFERENCES, "u", owner)
    mean = s / apply("sqrt", n)
    ways: list[Operand] = [mean, mean * observed / 100, u, u * observed / 100]
    way = np.array([(0 if row.study.u is None else 2) + row.relative for row in rows])
    u_found = table.formula("u(found)", "u of the mean found", "", ways[0], "GUM 4.2.3", ways[1:], way)
    R = table.formula("R", "recovery R", "", observed / reference, SPLIT)
    parts = (u_found / observed) ** 2 + (u_reference / reference) ** 2
    relative = table.formula("relative", "u(R)/R", "", apply("sqrt", parts), SPLIT)
    u_R = table.formula("u(R)", "u(R)", "", R * relative, SPLIT)
    table.formula("weight", "weight 1/u(R)²", "", 1 / u_R**2)
    _degrees_of_freedom(table, rows, n, relative / (u_found / observed))
    if with_deviations:
        traits = [_trait_found(row) for row in rows]
        found_off = table.deviation(
            "mean found", "mean found, relative deviation", "", u_found / observed, traits, dof="ν found"
        )
        off = table.pick("reference off", REFERENCES, DEVIATION, owner)
        table.formula(DEVIATION, "relative deviation of R", "", found_off - off, SPLIT)
    table.label("source", "source", [row.study.source for row in rows])
    context.tables[STUDIES] = table.build()


def _degrees_of_freedom(table: TableBuilder, rows: Sequence[StudyRow], n: Symbol, larger: Operand) -> None:
    """ν of the mean found, and of R; the reference is taken as exactly known in its u (GUM G.4.3)."""
    stated = [row.study.dof or INFINITE_DOF for row in rows]
    places = [method_place(*row.path, "dof") if row.study.dof else None for row in rows]
    dof = table.given("dof stated", "degrees of freedom stated", "", stated, places)
    ways: list[Operand] = [n - 1, dof]
    way = np.array([0 if row.study.u is None else 1 for row in rows])
    own = table.formula("ν found", "ν of the mean found", "", ways[0], "GUM 4.2.6", ways[1:], way)
    table.formula("ν", "ν of R", "", apply("smaller", own * larger**4, INFINITE_DOF), "GUM G.4.1 eq. G.2b")


def _trait_found(row: StudyRow) -> Trait:
    scattered = row.study.u is None or row.study.dof
    kind, shape = ("A", "t") if scattered else ("B", "normal")
    source = f"{row.words}, {row.study.source}".strip(", ")
    return Trait(f"{row.symbol}.found", "mean found, relative", GROUP, kind, shape, source)


def _build_references(
    context: Context, references: Sequence[Reference], rows: Sequence[StudyRow], with_deviations: bool
) -> None:
    table = TableBuilder(REFERENCES, "References of the recovery studies", len(references), context.shared)
    table.label("what", "what it is", [reference.words for reference in references])
    units = [reference.value.unit for reference in references]
    table.label("unit", "unit", [unit or "1" for unit in units])
    value = table.given(
        "reference",
        "certified, or added",
        "",
        [reference.value.value for reference in references],
        [
            Place(reference.document, (*reference.path, reference.value_key), unit) if reference.value_key else None
            for reference, unit in zip(references, units, strict=True)
        ],
    )
    stated_in = ["%" if reference.relative else reference.value.unit for reference in references]
    table.label("U in", "its uncertainty in", [unit or "1" for unit in stated_in])
    figures = [
        context.in_unit(reference.u, unit, reference.document, f"{reference.words}, {reference.u_key}")
        for reference, unit in zip(references, stated_in, strict=True)
    ]
    places = [
        Place(reference.document, (*reference.path, reference.u_key), unit) if reference.u else None
        for reference, unit in zip(references, stated_in, strict=True)
    ]
    U = table.given("U", "its uncertainty as stated", "", nan_where_none(figures), places)
    places = [Place(reference.document, (*reference.path, "k")) if reference.k else None for reference in references]
    k = table.given("k", "k stated", "", nan_where_none([reference.k for reference in references]), places)
    ways: list[Operand] = [U / k, U * value / 100 / k, U, U * value / 100]
    way = np.array(
        [0 if not one.u else (1 if one.k else 3) + one.relative for one in references],
        dtype=np.int64,
    )
    u = table.formula("u", "u of the reference", "", ZERO, "GUM 4.3.3", ways, way)
    if with_deviations:
        first = {row.reference: row.symbol for row in reversed(rows)}
        traits = [
            Trait(f"{first[one]}.reference", "what should be found, relative", GROUP, "B", "normal", one.words)
            for one in references
        ]
        members = [(REFERENCES, number) if one.u else None for number, one in enumerate(references)]
        heading = "its relative deviation"
        table.deviation(DEVIATION, heading, "", u / value, traits, members=members)
    context.tables[REFERENCES] = table.build()
