"""What is wrong with the evidence behind a run, judged on the days when the run used each item.

Clauses: ISO/IEC 17025:2017, 6.4.7, 6.5 and 7.8.4.1; routes and their evidence: ILAC P10:07/2020; uncertainty along a
chain: VIM 2.40, note 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import isclose

from ubudget.bench.limits import factor_of
from ubudget.evaluation.certificates import Evidence, Register
from ubudget.evaluation.independent_checks import independence_findings
from ubudget.quantity.graph import Graph
from ubudget.records.amount import Amount
from ubudget.records.finding import Finding, Severity
from ubudget.records.records import Records
from ubudget.records.register import Certificate, Equipment, ReferenceMaterial
from ubudget.records.stated import Stated
from ubudget.records.unit_comparison import in_unit
from ubudget.records.uses import citations

METHOD_DEFINED = re.compile(r"extractable|leach|soluble in|method-defined|loss on ignition|bioavailable", re.IGNORECASE)
"""Words for measurands that a procedure defines (ISO/IEC 17025:2017, 6.5.3); common practice, no source."""
ROUNDING = 0.01
"""How far a stated u may lie from U/k: it was rounded to two or three digits."""
ACCREDITED = ("accredited laboratory", "accredited producer")


def traceability_findings(records: Records, graph: Graph) -> list[Finding]:
    """Findings on every register item that the run used, and on how the measurand is described."""
    register = Register(records)
    found = [*_measurand(records)]
    items = _items(records, graph, register)
    for item in items:
        for analyte in register.calibrating.get(item, ("",)):
            evidence = register.evidence(item, analyte)
            found += _item(records, register, evidence)
    found += _by_class(records, items, register)
    found += independence_findings(records, register)
    found += _figures(records, register)
    return list(dict.fromkeys(found))


def _items(records: Records, graph: Graph, register: Register) -> list[str]:
    """Items that were used, or on which an input quantity rests, in the order of the register."""
    used = set(register.uses)
    for table in graph.tables.values():
        for leaf in table.leaves:
            used.update(item for trait in leaf.traits for item in trait.items)
    return [item for item in register.items if item in used]


def _by_class(records: Records, items: list[str], register: Register) -> Iterator[Finding]:
    """Ware that has only the limits of its class, all in one note."""
    named = [item for item in items if register.evidence(item).status == "class of a standard"]
    if named:
        yield _finding(
            records,
            "equipment",
            f"no certificate, limits of a class by a standard: {', '.join(named)}",
            "a certificate, or ware checked against its class",
            "keep the record of that check",
            "note",
        )


def _item(records: Records, register: Register, evidence: Evidence) -> Iterator[Finding]:
    yield from _evidence(records, evidence)
    yield from _range(records, register, evidence)
    if evidence.status in ("no certificate", "class of a standard"):
        return
    walk = register.walk(evidence)
    below = evidence
    for above in walk.links:
        if above.role != "reference":
            yield from _evidence(records, above)
        yield from _smaller_above(records, below, above)
        below = above
    if walk.ending == "loops":
        path = " > ".join([evidence.item, *(link.item for link in walk.links), below.above])
        yield _finding(
            records,
            below.place,
            f"a chain that comes back to itself: {path}",
            "a chain of calibrations that ends at the SI or a named reference",
            "correct traceable_to",
        )
    elif walk.ending == "stops":
        words = f' at "{below.traceable_to}"' if below.traceable_to else ""
        yield _finding(
            records,
            below.place,
            f"a chain of calibrations that stops{words}",
            "traceable_to with the id of a reference that ends at the SI or a named reference, "
            'or words with ends_at = "SI" or "named reference"',
            "say where the chain ends, from the certificate",
        )


def _evidence(records: Records, evidence: Evidence) -> Iterator[Finding]:
    """The item's own certificate, on the day."""
    day = _days(evidence)
    certificate = evidence.certificate
    if evidence.status == "class of a standard" or evidence.role == "prepared standard":
        # A standard of the laboratory's own has a record of preparation; its days are judged with it.
        return
    if evidence.role == "reference material" and not evidence.lot.strip():
        yield _finding(records, evidence.place, "no lot", "the lot of every material", "add lot, from the label")
    if certificate is None or evidence.status == "no certificate":
        named = f" for this use in {certificate.number}" if certificate else ""
        yield _finding(
            records,
            evidence.place,
            f"no certificate, or no certified value{named}",
            "a certificate with value, U and k, or a tolerance with tolerance_source, the standard it follows",
            "add the certificate of the item",
        )
        return
    if evidence.status == "not yet valid":
        yield _finding(
            records,
            f"{evidence.place}, issued",
            f"issued {certificate.issued}, after use{day}",
            "a certificate issued by the day of use",
            "add the certificate that held then, or correct the date",
        )
    elif evidence.status == "expired":
        due = min(certificate.due, evidence.expiry or certificate.due)
        key = "due" if due == certificate.due else "expiry"
        yield _finding(
            records,
            f"{evidence.place}, {key}",
            f"{key} {due}, before use{day}",
            "a certificate, and a lot, in force on the day of use",
            "add the newer certificate, or judge the results made after that day",
        )
    if evidence.certified is not None and evidence.certified.k is None:
        yield _finding(
            records,
            evidence.place,
            f"U = {evidence.certified.U.text} without k; taken as limits, u = U/√3",
            "U with its coverage factor k",
            "ask the issuer for k and add it",
        )
    yield from _route(records, evidence, certificate)


def _route(records: Records, evidence: Evidence, certificate: Certificate) -> Iterator[Finding]:
    accepted = "national institute, accredited laboratory, accredited producer, other with evidence"
    if certificate.route is None:
        found, remedy = "no route", "add route, and accreditation or evidence beside it"
        yield _finding(records, f"{evidence.place}, route", found, accepted, remedy)
    elif certificate.route == "other with evidence" and not certificate.evidence.strip():
        found, accepted = (
            "the route other with evidence, without evidence",
            "evidence of competence",
        )
        yield _finding(records, f"{evidence.place}, evidence", found, accepted, "add evidence, or find another issuer")
    elif certificate.route in ACCREDITED and not certificate.accreditation.strip():
        found, accepted = f"the route {certificate.route}, without accreditation", "the number of the accreditation"
        yield _finding(records, f"{evidence.place}, accreditation", found, accepted, "add it, from the certificate")


def _smaller_above(records: Records, below: Evidence, above: Evidence) -> Iterator[Finding]:
    """Relative u must not shrink from a reference to what was calibrated with it, where both are of one quantity."""
    if below.relative_u is None or above.relative_u is None or in_unit(1.0, below.unit, above.unit) is None:
        return
    if below.relative_u < above.relative_u * (1 - 1e-9):
        yield _finding(
            records,
            below.place,
            f"relative u {100 * below.relative_u:.2g} %, smaller than that of its reference {above.item}, "
            f"{100 * above.relative_u:.2g} %",
            "a relative u no smaller than that of the reference above",
            "compare with the certificates; one of the figures is wrong, or the reference is another one",
        )


def _range(records: Records, register: Register, evidence: Evidence) -> Iterator[Finding]:
    """Use outside the range for which the certificate holds."""
    certificate = evidence.certificate
    if certificate is None or (certificate.range_from is None and certificate.range_to is None):
        return
    limits = " to ".join(limit.text if limit else "…" for limit in (certificate.range_from, certificate.range_to))
    for used in register.amounts.get(evidence.item, ()):
        amount = used.amount
        low = _compared(amount, certificate.range_from)
        high = _compared(amount, certificate.range_to)
        if (low is not None and low < 0) or (high is not None and high > 0):
            yield _finding(
                records,
                f"{evidence.place}, range",
                f"use outside the range of the certificate: {used.words} {amount.text}".rstrip(),
                f"use from {limits}",
                "use another item, or a certificate that covers this",
            )
            return


def _compared(amount: Amount, limit: Amount | None) -> float | None:
    """Amount minus limit; None where there is none, or of another kind."""
    if limit is None:
        return None
    value = in_unit(amount.value, amount.unit, limit.unit)
    return None if value is None else value - limit.value


def _figures(records: Records, register: Register) -> Iterator[Finding]:
    """A figure that the method takes from an item's certificate, against that certificate."""
    for place, stated in citations(records.method):
        if not isinstance(stated, Stated) or stated.item not in register.items:
            continue
        estimate = getattr(stated, "estimate", None)
        evidence = register.evidence(stated.item)
        if _is_balance(register.items[stated.item][2]):
            # Certified is its error of indication: no mass that was weighed, and u of a mass holds more than that.
            if stated.k is None:
                continue
            estimate = None
        told = _differing(stated, estimate, evidence)
        if not told:
            continue
        older = next((number for number in _others(register, evidence) if _same(stated, estimate, number)), None)
        behind = f"; so in the superseded certificate {older.number}" if older else ""
        certificate = evidence.certificate.number if evidence.certificate else "none"
        yield Finding(
            "attend",
            records.file("method"),
            place,
            f"{told}{behind}",
            f"the figures of certificate {certificate} of {stated.item}",
            "bring method and certificate together",
        )


def _is_balance(item: object) -> bool:
    return isinstance(item, Equipment) and item.kind == "balance"


def _differing(stated: Stated, estimate: Amount | None, evidence: Evidence) -> str:
    """What differs, in words; empty where nothing does."""
    if evidence.value is not None and estimate is not None and evidence.certified is not None:
        value = in_unit(evidence.value, evidence.unit, estimate.unit)
        if value is not None and not isclose(value, estimate.value, rel_tol=1e-9, abs_tol=1e-300):
            return f"the estimate {estimate.text}, certified {evidence.value:g} {evidence.unit}".rstrip()
    figure = stated.U if stated.U is not None else stated.u
    if figure is None or evidence.u is None:
        return ""
    if figure.relative and (estimate is None or not estimate.relative):
        # Without an estimate here (a column of the samples table) there is nothing that it is relative to.
        base = estimate or Amount(0.0)
        figure = Amount(figure.value / 100 * abs(base.value), base.unit if estimate else "%", figure.text)
    certified = in_unit(evidence.u, evidence.unit, figure.unit)
    own = figure.value / stated.k if stated.k else figure.value
    if certified is None or stated.confidence is not None:
        return ""
    if isclose(own, certified, rel_tol=1e-9 if stated.k else ROUNDING):
        return ""
    said = f"U = {figure.text} with k = {stated.k:g}" if stated.k else f"u = {figure.text}"
    return f"{said}, certified u = {evidence.u:.3g} {evidence.unit}".rstrip()


def _others(register: Register, evidence: Evidence) -> Iterator[Certificate]:
    found = register.items[evidence.item][2]
    if isinstance(found, Equipment | ReferenceMaterial):
        yield from (other for other in found.certificates if other is not evidence.certificate)


def _same(stated: Stated, estimate: Amount | None, certificate: Certificate) -> bool:
    """Whether a figure is that of another certificate of the item."""
    figure = stated.U if stated.U is not None else stated.u
    for prop in certificate.properties:
        U = in_unit(prop.U.value, prop.U.unit, figure.unit) if figure else None
        if (
            U is not None
            and figure is not None
            and isclose(U / factor_of(prop), figure.value / (stated.k or 1), rel_tol=ROUNDING)
        ):
            return True
    return False


def _measurand(records: Records) -> Iterator[Finding]:
    document = records.method.document
    said = METHOD_DEFINED.search(f"{document.measurand} {document.basis}")
    if said and not document.defined_by.strip():
        yield Finding(
            "attend",
            records.file("method"),
            "method, defined_by",
            f'a measurand that a procedure defines ("{said.group()}"), without that procedure',
            "defined_by, the document and section that define the measurand",
            "add defined_by to the table [method]",
        )


def _days(evidence: Evidence) -> str:
    if not evidence.uses:
        return " in the chain"
    first, last = evidence.uses[0], evidence.uses[-1]
    use = first if evidence.status == "not yet valid" else last
    return f" on {use.day} ({use.step})"


def _finding(
    records: Records, place: str, found: str, accepted: str, remedy: str, severity: Severity = "attend"
) -> Finding:
    return Finding(severity, records.file("register"), place, found, accepted, remedy)
