"""Traceability told: to a person as lines and a drawing, to other programs as JSON with unrounded numbers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ubudget.evaluation.certificates import Evidence
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.traceability import Chain, Link, chains
from ubudget.files.exchange import json_text, write_text
from ubudget.files.item_use import figures, uses_object, uses_of_item
from ubudget.pages.results_table import find_result
from ubudget.pages.trace_picture import drawing
from ubudget.pages.trace_tree import tree_lines, trees
from ubudget.pages.use_table import use_lines


@dataclass(frozen=True)
class Told:
    """The same twice: lines for a terminal, and JSON."""

    lines: str
    json: str


def chains_told(evaluation: Evaluation, result: str | None, picture: Path | None, *, force: bool = False) -> Told:
    """The chains of a run, or of one result by its label; `picture` is a file to draw them in.

    Raises `UbudgetError` for a label that names no result, and what writing raises."""
    found = chains(evaluation)
    if result is not None:
        found = (found[find_result(evaluation, result)],)
    nodes = trees(evaluation, found)
    if picture is not None:
        write_text(drawing(nodes), picture, force=force)
    lines = "\n\n".join("\n".join(tree_lines(node)) for node in nodes)
    return Told(lines, json_text(trace_object(evaluation, found)))


def uses_told(
    evaluations: Sequence[Evaluation], item: str, value: str | None, U: str | None, analyte: str | None
) -> Told:
    """The results of some runs that rest on an item, as they are or with new figures. Raises as `uses_of_item`."""
    uses = uses_of_item(evaluations, item, figures(value, U, analyte))
    runs = [evaluation.records.name for evaluation in evaluations]
    return Told("\n".join(use_lines(uses, item, runs)), json_text(uses_object(uses, item)))


def trace_object(evaluation: Evaluation, chains: Sequence[Chain]) -> dict[str, Any]:
    """`findings` and `chains`; each chain lists its links, items of the laboratory first, then what stands above."""
    return {
        "findings": [finding.as_json() for finding in evaluation.findings],
        "chains": [
            {
                "sample": chain.sample,
                "analyte": chain.analyte,
                "line": chain.line,
                "links": [link_object(link) for link in chain.links],
                "without_item": [
                    {"symbol": part.symbol, "quantity": part.quantity, "source": part.source, "share": part.share}
                    for part in chain.stated
                ],
            }
            for chain in chains
        ],
    }


def link_object(link: Link) -> dict[str, Any]:
    """One link. `from` names what rests on it: symbols of the method, or items below it in the chain."""
    evidence = link.evidence
    certificate = evidence.certificate
    return {
        "item": evidence.item,
        "role": evidence.role,
        "kind": evidence.kind,
        "description": evidence.description,
        "certificate": certificate.number if certificate else None,
        "lot": evidence.lot or None,
        "issuer": certificate.issuer if certificate else None,
        "accreditation": (certificate.accreditation or None) if certificate else None,
        **_figures(evidence),
        "issued": certificate.issued.isoformat() if certificate else None,
        "due": certificate.due.isoformat() if certificate else None,
        "expiry": evidence.expiry.isoformat() if evidence.expiry else None,
        "route": certificate.route if certificate else None,
        "evidence": (certificate.evidence or None) if certificate else None,
        "used_on": [{"step": use.step, "date": use.day.isoformat()} for use in evidence.uses],
        "status": evidence.status,
        "traceable_to": evidence.traceable_to or None,
        "ends_at": link.ending,
        "from": list(link.operations or link.lower),
        "symbols": list(link.symbols),
        "contribution": link.contribution,
        "share": link.share,
    }


def _figures(evidence: Evidence) -> dict[str, Any]:
    return {
        "value": evidence.value,
        "unit": (evidence.unit or "1") if evidence.value is not None or evidence.u is not None else None,
        "expanded_uncertainty": evidence.U,
        "coverage_factor": evidence.k,
        "standard_uncertainty": evidence.u,
    }
