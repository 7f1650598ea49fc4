"""What a statement and other programs are told of a result near zero."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ubudget.evaluation.evaluate import Evaluation, Result
from ubudget.evaluation.low_level_words import NOT_DETECTED_AT, LowLevel
from ubudget.pages.figures import plain, unit_text
from ubudget.pages.wording import fixed
from ubudget.records.crosscheck_low_levels import fitting
from ubudget.records.low_levels import BOUNDS

DIGITS = 3


def low_level_sentences(evaluation: Evaluation, row: int) -> tuple[str, ...]:
    """Sentences for the statement of one result; none where there is nothing to say."""
    level, result = evaluation.low_level(row), evaluation.results[row]
    if level is None or result.value is None:
        return ()
    told = _derived(evaluation, row, level) if row in evaluation.assembly.derived else _measured(evaluation, row, level)
    return (*told, *_interval(result, level))


def _measured(evaluation: Evaluation, row: int, level: LowLevel) -> Iterator[str]:
    result = evaluation.results[row]
    if not result.reported_as:
        if level.class_ not in ("", "not below"):
            yield f"The value lies {level.class_} of this sample, {_limit(level, result)}."
        return
    if not result.reported_as.startswith(NOT_DETECTED_AT):
        yield f"The value lies {level.class_} of this sample, {_limit(level, result)}."
        return
    alpha, beta = _errors(evaluation, row)
    said = f"The analyte was not detected: the value lies {level.class_}, {_limit(level, result)}"
    if level.detection is not None:
        said += f"; the detection limit of this sample is {_figure(level.detection, result)}"
    yield f"{said} (one-sided, α = {100 * alpha:g} %, β = {100 * beta:g} %)."


def _derived(evaluation: Evaluation, row: int, level: LowLevel) -> Iterator[str]:
    if not level.below:
        return
    rule = evaluation.assembly.derived[row].definition.below_limits
    results = "1 result that lies below its limit" if level.below == 1 else f"{level.below} results below their limits"
    if rule == BOUNDS:
        said = f"It rests on {results}; the two figures are its bounds, each such result from zero to its limit"
    else:
        said = f"It rests on {results}, counted as {rule}"
    yield f"{said}. No uncertainty is stated for it."


def _interval(result: Result, level: LowLevel) -> Iterator[str]:
    if level.interval is not None and level.interval[0] <= 0 and result.expanded_uncertainty:
        low, high = (fixed(end, result.decimals) for end in level.interval)
        yield (
            f"The quantity cannot be negative: the interval of value ± U, cut at zero, is {low} to {high}"
            f"{unit_text(result.unit)}."
        )


def _limit(level: LowLevel, result: Result) -> str:
    """The limit that names the class of a value."""
    limits = {"quantification": level.quantification, "detection": level.detection, "decision": level.decision}
    return next(_figure(limit, result) for name, limit in limits.items() if name in level.class_ and limit is not None)


def _figure(limit: float, result: Result) -> str:
    return f"{plain(limit, DIGITS)}{unit_text(result.unit)}"


def _errors(evaluation: Evaluation, row: int) -> tuple[float, float]:
    """α and β of the limits of a result."""
    key, structure = evaluation.keys[row], evaluation.assembly.structure
    matrix = structure.portions[key.portions[0]].matrix if structure and key.portions else ""
    line = (evaluation.assembly.lines_of(row) or (key.line or "",))[0]
    limits = evaluation.records.method.detection_limits
    number = fitting(limits, key.analyte, line, matrix)
    return (0.05, 0.05) if number is None else (limits[number].alpha, limits[number].beta)


def low_level_object(evaluation: Evaluation, row: int) -> dict[str, Any] | None:
    """Limits scaled to the sample, class and interval, in the unit of the result; None where nothing is known."""
    level = evaluation.low_level(row)
    if level is None:
        return None
    return {
        "decision_limit": level.decision,
        "detection_limit": level.detection,
        "quantification_limit": level.quantification,
        "class": level.class_ or None,
        "interval_not_negative": None if level.interval is None else list(level.interval),
        "value_by_rule": level.by_rule,
        "bounds": None if level.bounds is None else list(level.bounds),
        "results_below_limits": level.below,
    }
