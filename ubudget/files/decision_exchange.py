"""Decisions on conformity for other programs."""

from __future__ import annotations

from typing import Any

from ubudget.evaluation.decisions import Decided, SideOfDecision, decisions_of
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.pages.decision_words import CAUTION, decision_sentence
from ubudget.records.amount import Amount


def decision_object(decided: Decided, result: Result) -> dict[str, Any]:
    """One decision; figures in the unit of the result, unrounded. Null stands for what is not there, for infinite
    degrees of freedom, and for all figures where no statement is possible."""
    limit = decided.limit
    return {
        "limit": limit.name,
        "source": limit.source,
        "basis": limit.basis,
        "decision": decided.words,
        "reason": decided.reason or None,
        "rule": limit.rule,
        "guard_multiple": limit.guard_multiple,
        "guard_risk": limit.guard_risk,
        "compares": limit.compares,
        "uncertainty": limit.uncertainty,
        "distribution": limit.distribution,
        "value": decided.value,
        "unit": result.unit,
        "lower": _side(decided.lower),
        "upper": _side(decided.upper),
        "degrees_of_freedom": decided.degrees_of_freedom,
        "conformance_probability": decided.probability,
        "specific_risk": decided.risk,
        "prior": None
        if not limit.prior
        else {"name": limit.prior, "mean": _text(limit.prior_mean), "sd": _text(limit.prior_sd)},
        "required_U": _text(limit.required_U),
        "U_at_limit_percent": decided.U_at_limit,
        "required_U_met": decided.required_U or None,
        "required_quantification_limit": _text(limit.required_quantification_limit),
        "required_quantification_limit_met": decided.required_quantification_limit or None,
        "agreed_by": limit.agreed_by,
        "agreed_on": limit.agreed_on.isoformat() if limit.agreed_on else None,
        "statement": decision_sentence(decided, result),
    }


def decision_objects(evaluation: Evaluation) -> list[list[dict[str, Any]]]:
    """The decisions of each result of a run."""
    return [
        [decision_object(one, result) for one in decided]
        for result, decided in zip(evaluation.results, decisions_of(evaluation), strict=True)
    ]


def decided_object(evaluation: Evaluation) -> dict[str, Any]:
    """All results that have limits, each with its decisions."""
    told = [
        {
            "sample": result.sample,
            "analyte": result.analyte,
            "line": result.line,
            "decisions": decided,
        }
        for result, decided in zip(evaluation.results, decision_objects(evaluation), strict=True)
        if decided
    ]
    findings = [finding.as_json() for finding in evaluation.findings]
    return {"caution": CAUTION, "findings": findings, "results": told}


def _side(side: SideOfDecision | None) -> dict[str, float] | None:
    if side is None:
        return None
    return {
        "limit": side.limit,
        "standard_uncertainty": side.standard_uncertainty,
        "expanded_uncertainty": side.expanded_uncertainty,
        "guard_band": side.guard_band,
        "acceptance_limit": side.acceptance_limit,
        "rejection_limit": side.rejection_limit,
    }


def _text(amount: Amount | None) -> str | None:
    return None if amount is None else amount.text
