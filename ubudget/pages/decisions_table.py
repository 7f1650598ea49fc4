"""Decisions for a terminal: one table, then each limit with its rule, told once."""

from __future__ import annotations

from collections.abc import Iterator

from ubudget.evaluation.decision_tables import agreed_words
from ubudget.evaluation.decisions import Decided, decisions_of
from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.pages.decision_words import CAUTION, limit_words, prior_words, probability_words, rule_words, zone_words
from ubudget.pages.figures import plain
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped
from ubudget.pages.wording import NOT_AVAILABLE, fixed, line_label

NOTHING = "The method sets no tolerance limit for these results; add [[tolerance_limit]] to it, see README."


def somebody_decides(evaluation: Evaluation) -> bool:
    """Whether a result fails, or no statement is possible for one."""
    return any(one.needs_a_person for decided in decisions_of(evaluation) for one in decided)


def decision_lines(evaluation: Evaluation, width: int = WIDTH) -> Iterator[str]:
    """Table, reasons, limits with their rules, the caution."""
    pairs = [
        (result, one)
        for result, decided in zip(evaluation.results, decisions_of(evaluation), strict=True)
        for one in decided
    ]
    if not pairs:
        yield from wrapped(NOTHING, width=width)
        return
    reasons = list(dict.fromkeys(one.reason for _, one in pairs if one.reason))
    yield from table_lines(_columns(pairs, reasons), width=width)
    if reasons:
        yield ""
        for number, reason in enumerate(reasons, start=1):
            yield from wrapped(reason, f"{number}: ", "   ", width)
    told: dict[int, Decided] = {}
    for _, one in pairs:
        told.setdefault(id(one.limit), one)
    for one in told.values():
        limit = one.limit
        yield ""
        yield from wrapped(f"{limit_words(limit)} ({limit.source})", "", "  ", width)
        yield from wrapped(f"rule: {rule_words(limit)}; agreed: {agreed_words(limit)}", "  ", "  ", width)
        yield from wrapped(f"probability: {limit.distribution} distribution, {prior_words(limit)}", "  ", "  ", width)
        for words in _requirements(one):
            yield from wrapped(words, "  ", "  ", width)
    yield ""
    yield from wrapped(CAUTION, width=width)


def _columns(pairs: list[tuple[Result, Decided]], reasons: list[str]) -> list[TextColumn]:
    def decision(one: Decided) -> str:
        return f"{one.words} ({reasons.index(one.reason) + 1})" if one.reason else one.words

    return [
        TextColumn("result", [_named(r, pairs) for r, _ in pairs]),
        TextColumn("limit", [one.limit.name for _, one in pairs]),
        TextColumn("value", [_value(r, one) for r, one in pairs], "right"),
        TextColumn("U", [_expanded(r) for r, _ in pairs], "right"),
        TextColumn("unit", [r.unit or "1" for r, _ in pairs]),
        TextColumn("accepted", [zone_words(one) for _, one in pairs], "right"),
        TextColumn("decision", [decision(one) for _, one in pairs]),
        TextColumn("conforms", [_probability(one) for _, one in pairs], "right"),
    ]


def _named(result: Result, pairs: list[tuple[Result, Decided]]) -> str:
    """Sample and analyte, with the line where there are several of it; a method that stands alone by its name."""
    if result.analyte == result.measurand:
        return result.sample
    lines = {other.line for other, _ in pairs if other.analyte == result.analyte}
    return f"{result.sample} {line_label(result.analyte, result.line if lines - {result.line} else None)}"


def _value(result: Result, one: Decided) -> str:
    if one.value is None:
        return NOT_AVAILABLE
    digits = result.decimals if one.limit.compares == "reported" else result.decimals + 1
    return fixed(one.value, digits)


def _probability(one: Decided) -> str:
    return (
        ""
        if one.probability is None
        else probability_words(one.probability).replace("less than", "<").replace("more than", ">")
    )


def _expanded(result: Result) -> str:
    if result.reported_expanded_uncertainty is None:
        return ""
    return fixed(result.reported_expanded_uncertainty, result.decimals)


def _requirements(one: Decided) -> Iterator[str]:
    limit = one.limit
    if limit.required_U is not None:
        found = "" if one.U_at_limit is None else f", found {plain(one.U_at_limit, 3)} %"
        yield f"U at the limit, at most {limit.required_U.text} of it: {one.required_U}{found}"
    if limit.required_quantification_limit is not None:
        most = limit.required_quantification_limit.text
        yield f"quantification limit, at most {most} of the limit: {one.required_quantification_limit}"
