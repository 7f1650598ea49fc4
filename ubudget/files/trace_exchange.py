"""Traceability for other programs: the chains of the results as plain objects. Numbers are unrounded."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ubudget.evaluation.certificates import Evidence
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.traceability import Chain, Link


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
