"""The chain of a result as a tree: result, operations, items of the laboratory, what stands above them, the end.

One tree, three pictures: lines for a terminal here, an SVG drawing (`pages.trace_picture`) and cells of the workbook
(`pages.trace_sheet`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from ubudget.evaluation.certificates import Ending, Evidence, Register
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.traceability import Chain, Link
from ubudget.pages.figures import as_written, percent, plain, unit_text
from ubudget.pages.listing import WIDTH, wrapped
from ubudget.pages.wording import interval_text, line_label
from ubudget.records.records import Records

Look = Literal["result", "operation", "item", "reference", "end", "stated"]
FAULTY = ("expired", "not yet valid", "no certificate")
SEVERAL = 4
"""Results that are named before the others are only counted."""


@dataclass(frozen=True)
class Node:
    """A box of the tree. `fault` is what a person must look at, in words."""

    look: Look
    title: str
    details: tuple[str, ...] = ()
    fault: str = ""
    children: tuple[Node, ...] = ()


def trees(evaluation: Evaluation, chains: Sequence[Chain]) -> list[Node]:
    """One tree for all results that rest on the same items by the same operations."""
    groups: dict[tuple[object, ...], list[Chain]] = {}
    for chain in chains:
        key = (chain.analyte, *((link.evidence.item, link.operations) for link in chain.links))
        groups.setdefault(key, []).append(chain)
    register = Register(evaluation.records)
    return [_tree(evaluation, group, register) for group in groups.values()]


def tree_lines(node: Node, width: int = WIDTH) -> list[str]:
    """A tree as text, no line wider than asked."""
    lines = wrapped(node.title, hanging="  ", width=width)
    for detail in node.details:
        lines += wrapped(detail, "  ", "  ", width)
    lines += _branches(node.children, "", width)
    return lines


def item_name(evidence: Evidence) -> str:
    """The item, with the analyte of its value, or the point that it belongs to, where the certificate has several."""
    if evidence.certified is not None and evidence.certified.at is not None:
        return f"{evidence.item}, at {evidence.certified.at.text}"
    several = evidence.certificate is not None and len(evidence.certificate.properties) > 1
    return f"{evidence.item}, {evidence.certified.analyte}" if several and evidence.certified else evidence.item


def value_words(evidence: Evidence) -> str:
    """`1003 mg/L, U = 4 mg/L, k = 2, u = 2 mg/L`; what is not stated is left out."""
    unit = unit_text(evidence.unit)
    parts = [f"{as_written(evidence.value)}{unit}"] if evidence.value is not None else []
    if evidence.U is not None:
        parts.append(f"U = {as_written(evidence.U)}{unit}")
        parts.append("k not stated" if evidence.k is None else f"k = {evidence.k:g}")
    if evidence.u is not None:
        origin = " from its limits" if evidence.role == "equipment" and evidence.U is None else ""
        parts.append(f"u = {plain(evidence.u, 3)}{unit}{origin}")
    return ", ".join(parts)


def ending_words(ending: Ending, text: str) -> str:
    """The end of a chain in words."""
    if ending == "class of a standard":
        return "limits of a class by a standard"
    if ending == "stops":
        return f"the chain stops: {text}" if text else "the chain stops"
    return f"{ending}: {text}" if text else ending


def _tree(evaluation: Evaluation, group: Sequence[Chain], register: Register) -> Node:
    chain, records = group[0], evaluation.records
    document = records.method.document
    named = (chain.sample, chain.analyte, chain.line)
    first = next(one for one in evaluation.results if (one.sample, one.analyte, one.line) == named)
    if len(group) == 1:
        unit = unit_text(first.unit)
        title = f"{chain.sample} {line_label(chain.analyte, chain.line)}: {interval_text(first)}{unit}".strip()
    else:
        title = f"{chain.analyte}, {len(group)} results: {_several(group)}"
    details = [first.measurand + (f", {first.basis}" if first.basis else "")]
    if document.defined_by:
        details.append(f"defined by {document.defined_by}")
    children = _operations(records, chain.links, register, len(group) == 1)
    if chain.stated:
        names = ", ".join(dict.fromkeys(part.symbol for part in chain.stated))
        sources = dict.fromkeys(part.source for part in chain.stated if part.source)
        title_of_rest = f"from readings, studies and statements of the method: {names}"
        children.append(Node("stated", title_of_rest, tuple(sources)))
    if not chain.links and not chain.stated:
        details.append("this result is not available")
    return Node("result", title, tuple(details), "", tuple(children))


def method_tree(evaluation: Evaluation, chains: Sequence[Chain]) -> Node:
    """One tree for all results of the run: every item once for each certified value that was used."""
    merged: dict[tuple[str, str], Link] = {}
    for chain in chains:
        for link in chain.links:
            key = (link.evidence.item, link.evidence.certified.analyte if link.evidence.certified else "")
            known = merged.get(key, link)
            operations = tuple(dict.fromkeys((*known.operations, *link.operations)))
            merged[key] = replace(known, operations=operations)
    records = evaluation.records
    document, name = records.method.document, evaluation.assembly.equations.result.name
    title = f"{name}: {document.measurand}, in {document.unit or '1'}"
    children = _operations(records, tuple(merged.values()), Register(records), False)
    return Node(
        "result", title, (f"defined by {document.defined_by}",) if document.defined_by else (), "", tuple(children)
    )


def _operations(records: Records, links: Sequence[Link], register: Register, alone: bool) -> list[Node]:
    own = [link for link in links if link.operations]
    nodes, seen = [], set[tuple[str, str]]()
    for operation in dict.fromkeys(name for link in own for name in link.operations):
        rests = []
        for link in own:
            key = (link.evidence.item, link.evidence.certified.analyte if link.evidence.certified else "")
            if operation in link.operations:
                rests.append(_item(link, register, alone, key in seen))
                seen.add(key)
        described = records.method.symbols.get(operation)
        words = f": {described.quantity} ({described.operation})" if described else ""
        nodes.append(Node("operation", f"{operation}{words}", children=tuple(rests)))
    return nodes


def _several(group: Sequence[Chain]) -> str:
    named = [" ".join(part for part in (chain.sample, chain.line) if part) for chain in group]
    return ", ".join(named[:SEVERAL]) + (f" and {len(named) - SEVERAL} more" if len(named) > SEVERAL else "")


def _item(link: Link, register: Register, alone: bool, told: bool) -> Node:
    evidence = link.evidence
    if told:
        return Node("item", f"{item_name(evidence)}, as above")
    title = f"{item_name(evidence)}: {evidence.description}"
    details = [*_details(evidence)]
    if alone and link.share is not None:
        details.append(f"share of the variance {percent(link.share)}")
    return Node("item", title, tuple(details), _fault(evidence), _above(evidence, register))


def _above(evidence: Evidence, register: Register) -> tuple[Node, ...]:
    """What stands above an item, to the end of its chain."""
    walk = register.walk(evidence)
    last = walk.links[-1] if walk.links else evidence
    if walk.ending == "loops":
        tail: tuple[Node, ...] = (Node("end", f"the chain comes back to {last.above}", (), "chain in a circle"),)
    elif last.role == "reference" and walk.ending != "stops":
        tail = ()
    else:
        fault = "the chain stops" if walk.ending == "stops" else ""
        tail = (Node("end", ending_words(walk.ending, last.traceable_to), (), fault),)
    for link in reversed(walk.links):
        if link.role == "reference":
            details: tuple[str, ...] = (link.kind, *((value_words(link),) if value_words(link) else ()))
            look: Look = "end" if link is last and not tail else "reference"
            tail = (Node(look, f"{link.item}: {link.description}", details, "", tail),)
        else:
            tail = (Node("item", f"{link.item}: {link.description}", tuple(_details(link)), _fault(link), tail),)
    return tail


def _details(evidence: Evidence) -> list[str]:
    lines = [f"{evidence.kind}, lot {evidence.lot}" if evidence.lot else evidence.kind]
    if words := value_words(evidence):
        lines.append(words)
    certificate = evidence.certificate
    if certificate is not None:
        parts = [f"certificate {certificate.number}", certificate.issuer, certificate.route or "no route"]
        lines.append(", ".join([*parts, *([certificate.accreditation] if certificate.accreditation else [])]))
        if certificate.evidence:
            lines.append(f"evidence: {certificate.evidence}")
        lines.append(f"issued {certificate.issued}, due {certificate.due}{_used(evidence)}: {evidence.status}")
    else:
        lines.append(evidence.status + _used(evidence))
    return lines


def _used(evidence: Evidence) -> str:
    return "; used " + ", ".join(f"{use.day} ({use.step})" for use in evidence.uses) if evidence.uses else ""


def _fault(evidence: Evidence) -> str:
    return evidence.status if evidence.status in FAULTY else ""


def _branches(children: Sequence[Node], before: str, width: int) -> list[str]:
    lines = []
    for number, child in enumerate(children):
        last = number == len(children) - 1
        own, under = f"{before}{'`' if last else '|'}- ", f"{before}{' ' if last else '|'}  "
        title = f"{child.title} [! {child.fault}]" if child.fault else child.title
        lines += wrapped(title, own, under + "  ", width)
        inner = f"{under}{'|' if child.children else ' '} "
        for detail in child.details:
            lines += wrapped(detail, inner, inner + "  ", width)
        lines += _branches(child.children, under, width)
    return lines
