"""Limits of a run for a terminal and for other programs: validated, shown by the run, scaled to each sample."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.method_detection_limit import MethodDetectionLimit
from ubudget.evaluation.run_limits import RunLimit, run_limits
from ubudget.pages.figures import plain, unit_text
from ubudget.pages.listing import TextColumn, table_lines, wrapped
from ubudget.pages.low_level_words import DIGITS, low_level_object
from ubudget.pages.wording import line_label

NAMES = ("decision", "detection", "quantification")
CAUTION = (
    "Blanks count as independent preparations; readings of one blank solution are not. Limits rest on s alone: "
    "bias, contamination and interference are not in them."
)


def detection_lines(evaluation: Evaluation) -> Iterator[str]:
    """The limits of a run as text, none wider than a terminal."""
    yield from _validated(evaluation)
    yield ""
    yield from _of_run(evaluation, run_limits(evaluation))
    yield ""
    yield from _samples(evaluation)
    yield from wrapped(CAUTION)


def _validated(evaluation: Evaluation) -> Iterator[str]:
    limits, unit = evaluation.records.method.detection_limits, evaluation.records.method.document.unit
    yield f"Validated limits of the method{f', {unit}' if unit else ''}"
    if not limits:
        yield from wrapped(
            "The method states none; they stand in tables [[detection_limit]] of the method.", "  ", "  "
        )
        return
    columns = [TextColumn("analyte", [limit.analyte or "all" for limit in limits])]
    if any(limit.line for limit in limits):
        columns.append(TextColumn("line", [limit.line or "all" for limit in limits]))
    if any(limit.matrix for limit in limits):
        columns.append(TextColumn("matrix", [limit.matrix or "all" for limit in limits]))
    for name in NAMES:
        amounts = [getattr(limit, name) for limit in limits]
        columns.append(TextColumn(name, [amount.text if amount else "" for amount in amounts], "right"))
    columns.append(TextColumn("α", [f"{limit.alpha:g}" for limit in limits], "right"))
    columns.append(TextColumn("β", [f"{limit.beta:g}" for limit in limits], "right"))
    nominal = [", ".join(f"{name} = {amount.text}" for name, amount in limit.nominal.items()) for limit in limits]
    columns.append(TextColumn("nominal portion", nominal))
    yield from table_lines(columns)


def _of_run(evaluation: Evaluation, found: list[RunLimit]) -> Iterator[str]:
    yield "Limits that this run shows, in the measured solution"
    if not found:
        words = "None: they need blanks, or a straight line on single readings."
        yield from wrapped(words, "  ", "  ")
        return
    rows = [one for one in found if one.limits is not None]

    def numbers(of: str) -> list[str]:
        return [plain(float(getattr(one.limits, of)), DIGITS) for one in rows]

    columns = [
        TextColumn("line", [one.curve.name for one in rows]),
        TextColumn("by", [one.source for one in rows]),
        TextColumn("n", [str(one.number) for one in rows], "right"),
        TextColumn("s", numbers("s"), "right"),
        TextColumn("decision", numbers("decision"), "right"),
        TextColumn("detection", numbers("detection"), "right"),
        TextColumn("unit", [one.unit for one in rows]),
    ]
    if any(one.per_solution is not None for one in rows):
        as_result = [
            ""
            if one.per_solution is None or one.limits is None
            else plain(one.limits.detection * one.per_solution, DIGITS)
            for one in rows
        ]
        columns.append(TextColumn("as result", as_result, "right"))
    if any(one.p is not None for one in rows):
        judged = ["" if one.p is None else f"{one.p:.2g}{' worse' if one.worse else ''}" for one in rows]
        columns.append(TextColumn("p", judged))
    if rows:
        yield from table_lines(columns)
    for one in found:
        if one.limits is None:
            yield from wrapped(f"{one.curve.name}, {one.source}: {one.lacking}", "  ", "    ")
    yield from wrapped(
        "s of a result at zero; detection limit with the non-central t (in the workbook with the sum of two t, "
        "a little larger). As result: detection limit for the nominal portion. p: probability that an s as large "
        "arises by chance, F-test against the s behind the validated limit; below 0.05 the run is worse."
    )


def _samples(evaluation: Evaluation) -> Iterator[str]:
    rows = [(row, found) for row in range(len(evaluation.keys)) if (found := low_level_object(evaluation, row))]
    if not rows or not evaluation.records.method.detection_limits:
        return
    results = [evaluation.results[row] for row, _ in rows]
    units = {result.unit for result in results}
    yield f"Limits scaled to each sample{f', {next(iter(units))}' if len(units) == 1 else ''}"
    columns = [
        TextColumn("sample", [result.sample for result in results]),
        TextColumn("analyte", [line_label(result.analyte, result.line) for result in results]),
    ]
    for name in NAMES:
        cells = [_number(found[f"{name}_limit"]) for _, found in rows]
        if any(cells):
            columns.append(TextColumn(name, cells, "right"))
    columns.append(TextColumn("value", [_number(result.value) for result in results], "right"))
    if len(units) > 1:
        columns.append(TextColumn("unit", [result.unit for result in results]))
    columns.append(TextColumn("reported", [result.reported_as or "value ± U" for result in results]))
    yield from table_lines(columns)
    yield ""


def _number(value: float | None) -> str:
    return "" if value is None else plain(value, DIGITS)


def detection_object(evaluation: Evaluation) -> dict[str, Any]:
    """The same in plain objects: `findings`, `validated`, `run`, `samples`. Numbers are unrounded."""
    method = evaluation.records.method
    return {
        "findings": [finding.as_json() for finding in evaluation.findings],
        "unit": method.document.unit,
        "validated": [
            {
                "analyte": limit.analyte or None,
                "line": limit.line or None,
                "matrix": limit.matrix or None,
                **{f"{name}_limit": _stated(getattr(limit, name)) for name in NAMES},
                "alpha": limit.alpha,
                "beta": limit.beta,
                "nominal": {name: amount.text for name, amount in limit.nominal.items()},
                "source": limit.source,
            }
            for limit in method.detection_limits
        ],
        "run": [_run_object(one) for one in run_limits(evaluation)],
        "samples": [
            {
                "sample": result.sample,
                "analyte": result.analyte,
                "line": result.line,
                "value": result.value,
                "unit": result.unit,
                "reported_as": result.reported_as or None,
                **(low_level_object(evaluation, row) or {}),
            }
            for row, result in enumerate(evaluation.results)
            if low_level_object(evaluation, row)
        ],
    }


def _stated(amount: Any) -> str | None:
    return None if amount is None else str(amount.text)


def _run_object(one: RunLimit) -> dict[str, Any]:
    limits = one.limits
    return {
        "analyte": one.curve.analyte,
        "line": one.curve.line or None,
        "block": one.curve.block or None,
        "source": one.source,
        "n": one.number,
        "unit": one.unit,
        "s": limits.s if limits else None,
        "degrees_of_freedom": limits.degrees_of_freedom if limits else None,
        "alpha": limits.alpha if limits else None,
        "beta": limits.beta if limits else None,
        "decision_limit": limits.decision if limits else None,
        "detection_limit": limits.detection if limits else None,
        "detection_limit_sum_of_t": one.sum_of_t,
        "nominal_sensitivity": one.per_solution,
        "p": one.p,
        "worse_beyond_chance": one.worse,
        "lacking": one.lacking or None,
    }


def mdl_lines(found: dict[str, MethodDetectionLimit], unit: str) -> Iterator[str]:
    """Method detection limits as text."""
    u = unit_text(unit)
    for analyte, limit in found.items():
        yield f"{analyte + ': ' if analyte else ''}method detection limit {plain(limit.value, DIGITS)}{u}"
        yield from wrapped(
            f"MDL_S = {plain(limit.from_spikes, DIGITS)}{u} (s = {plain(limit.s, DIGITS)}, ν = "
            f"{limit.degrees_of_freedom}; 95 % limits {plain(limit.lower, DIGITS)} to {plain(limit.upper, DIGITS)})",
            "  ",
            "    ",
        )
        blanks = "none" if limit.from_blanks is None else f"{plain(limit.from_blanks, DIGITS)}{u}"
        yield from wrapped(f"MDL_b = {blanks} ({limit.rule_of_blanks})", "  ", "    ")
    yield from wrapped(
        "40 CFR part 136, appendix B, revision 2. It also asks for spikes and blanks from three batches on three days, "
        "a spike level of some two to ten times the limit, and a yearly check: figures alone do not show these."
    )


def mdl_object(found: dict[str, MethodDetectionLimit], unit: str) -> list[dict[str, Any]]:
    """Method detection limits in plain objects."""
    return [
        {
            "analyte": analyte or None,
            "unit": unit or None,
            "method_detection_limit": limit.value,
            "from_spikes": limit.from_spikes,
            "from_blanks": limit.from_blanks,
            "rule_of_blanks": limit.rule_of_blanks,
            "s": limit.s,
            "degrees_of_freedom": limit.degrees_of_freedom,
            "lower_95": limit.lower,
            "upper_95": limit.upper,
        }
        for analyte, limit in found.items()
    ]
