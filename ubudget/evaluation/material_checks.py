"""Reference materials taken through the procedure: found against certified, as a table of the graph.

|found - certified| is compared with 2 sqrt(u² + u_c²) (ERM Application Note 1; ISO Guide 33), and with U and U of the
certificate as E_n (ISO 13528:2022, 9.7). Found and certified count as uncorrelated.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from ubudget.bench.assembly import RESULTS, Assembly
from ubudget.bench.building import Shared, TableBuilder
from ubudget.bench.context import USABLE
from ubudget.bench.limits import factor_of
from ubudget.bench.result_table import ANALYTE, LINE, SAMPLE, STATUS
from ubudget.evaluation.certificates import Evidence, Register
from ubudget.evaluation.coverage import EXPANDED, STANDARD
from ubudget.quantity.expression import Symbol, apply
from ubudget.quantity.graph import Graph, Place
from ubudget.records.finding import Finding
from ubudget.records.register import CertifiedValue
from ubudget.records.unit_comparison import in_unit

MATERIALS = "reference materials"
CERTIFIED, CERTIFIED_U, FOUND, FOUND_U = "certified", "u of the certificate", "found", "u of the result"
DIFFERENCE, ZETA, EN, OUTSIDE = "difference", "zeta", "E_n", "differs"
SUM_STATUS = "status of the result"


@dataclass(frozen=True)
class CertifiedResult:
    """A result of a reference material, and the certificate of the day that it is compared with."""

    row: int
    """Row of the table `results`."""
    item: str
    evidence: Evidence
    certified: CertifiedValue
    value: float
    U: float
    """Both in the unit of the results."""

    @property
    def path(self) -> tuple[str | int, ...]:
        evidence = self.evidence
        assert evidence.certificate is not None and evidence.certificate_number is not None
        number = evidence.certificate.properties.index(self.certified)
        return (evidence.table, evidence.number, "certificate", evidence.certificate_number, "property", number)


def certified_results(assembly: Assembly) -> list[CertifiedResult]:
    """The results of reference materials whose certificate of the day has a value for the analyte, in their order."""
    unit = assembly.records.method.document.unit
    found = []
    for row, item, evidence, prop in _certified(assembly):
        value, U = (in_unit(amount.value, amount.unit, unit) for amount in (prop.value, prop.U))
        if value is not None and U is not None:
            found.append(CertifiedResult(row, item, evidence, prop, value, U))
    return found


def certified_unit_findings(assembly: Assembly) -> Iterator[Finding]:
    """Certified values or their U without a unit, which are not compared with results that have one."""
    unit = assembly.records.method.document.unit
    told = set()
    for row, item, _, prop in _certified(assembly):
        place = f"reference_material {item}, {assembly.keys[row].analyte}"
        for key, amount in (("value", prop.value), ("U", prop.U)):
            bare = not amount.unit and amount.value and in_unit(amount.value, amount.unit, unit) is None
            if bare and (place, key) not in told:
                told.add((place, key))
                found, accepted = f"{amount.text} without unit, not compared", f"a unit that converts to {unit}"
                file = assembly.records.file("register")
                yield Finding("attend", file, f"{place}, {key}", found, accepted, "add the unit of the certificate")


def _certified(assembly: Assembly) -> Iterator[tuple[int, str, Evidence, CertifiedValue]]:
    """Row, item, evidence and certified value of each result of a reference material that has one."""
    records, structure = assembly.records, assembly.structure
    if structure is None or records.register is None:
        return
    materials = {item.id for item in records.register.reference_materials}
    register = Register(records)
    for row, key in enumerate(assembly.keys):
        item = structure.portions[key.portions[0]].reference_material if key.portions else ""
        if item not in materials or row in assembly.derived:
            continue
        evidence = register.evidence(item, key.analyte)
        prop = evidence.certified
        if prop is not None and evidence.certificate is not None and evidence.certificate_number is not None:
            yield row, item, evidence, prop


def add_material_checks(assembly: Assembly, graph: Graph) -> Graph:
    """The graph with the table, as it is where the run has no such material."""
    checked = certified_results(assembly)
    if not checked:
        return graph
    home, unit = graph.tables[RESULTS], assembly.records.method.document.unit
    rows = [one.row for one in checked]
    table = TableBuilder(MATERIALS, "Reference materials: found against certified", len(rows), Shared())
    for name, heading in ((SAMPLE, "sample"), (ANALYTE, "analyte"), (LINE, "line")):
        texts = home.texts(name)
        table.label(name, heading, [texts[row] for row in rows])
    table.label("certificate", "certificate", [_words(one) for one in checked])

    def given(name: str, heading: str, key: str, values: list[float]) -> Symbol:
        places = [Place("register", (*one.path, key), unit) for one in checked]
        return table.given(name, heading, unit, values, places)

    certified = given(CERTIFIED, "certified", "value", [one.value for one in checked])
    U = given("U of the certificate", "U of the certificate", "U", [one.U for one in checked])
    stated = [one.certified.k is not None for one in checked]
    k = table.given(
        "k of the certificate",
        "k of the certificate",
        "",
        [factor_of(one.certified) for one in checked],
        [Place("register", (*one.path, "k")) if said else None for one, said in zip(checked, stated, strict=True)],
    )
    u = table.formula(CERTIFIED_U, "u of the certificate", unit, U / k, "GUM 4.3.3")
    found = table.formula(FOUND, "found", unit, table.pick("value found", RESULTS, assembly.value, rows))
    own = table.formula(FOUND_U, "u of the result", unit, table.pick("u found", RESULTS, STANDARD, rows))
    d = table.formula(DIFFERENCE, "difference", unit, found - certified)
    spread = apply("sqrt", apply("sum_squares", own, u))
    zeta = table.formula(ZETA, "|difference|/u", "", apply("abs", apply("ratio_or_zero", d, spread)), "at most 2")
    # U without k is taken as limits: 2 u stands for it here.
    way = np.array([0 if said else 1 for said in stated], dtype=np.int64)
    expanded = table.formula("U compared", "U compared", unit, U, "", [2 * u], way)
    both = apply("sqrt", apply("sum_squares", table.pick("U found", RESULTS, EXPANDED, rows), expanded))
    table.formula(EN, "E_n", "", apply("ratio_or_zero", d, both), "|E_n| at most 1")
    table.formula(OUTSIDE, "differs (1 = yes)", "", apply("if_less", 2, zeta, 1, 0), "ERM Application Note 1")
    table.formula(SUM_STATUS, USABLE, "", table.pick("status", RESULTS, STATUS, rows))
    return graph.with_table(table.build())


def _words(one: CertifiedResult) -> str:
    number = one.evidence.certificate.number if one.evidence.certificate else ""
    lot = f", lot {one.evidence.lot}" if one.evidence.lot else ""
    return f"{one.item}{lot}: {number}"
