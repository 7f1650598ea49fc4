"""A study of precision or bias for a terminal, and its figures as parameters that a method may state."""

from __future__ import annotations

import json
from collections.abc import Iterator

from ubudget.evaluation.studies import EvaluatedStudy, Outcome, Parameter
from ubudget.pages.figures import plain, unit_text
from ubudget.pages.listing import WIDTH, TextColumn, table_lines, wrapped

DIGITS = 4
USES = {
    "within run": "a symbol of operation precision, part within run",
    "between runs": "a symbol of operation precision, part between runs",
    "bias": "a symbol of operation input with estimate 0 that is added to the result",
}


def study_lines(evaluated: EvaluatedStudy, width: int = WIDTH) -> Iterator[str]:
    """Each part of the study: its figures, what a person must look at, and what a method may take over."""
    study = evaluated.study
    yield from wrapped(f"{study.id}: {study.title}", width=width)
    closed = f"closed {study.date.isoformat()}" if study.date else ""
    yield ", ".join(filter(None, (study.design, closed, study.who)))
    for outcome in evaluated.outcomes:
        yield ""
        yield from _outcome(outcome, study.id, width)
    for remark in study.remarks:
        yield from wrapped(remark, width=width)


def _outcome(outcome: Outcome, source: str, width: int) -> Iterator[str]:
    if outcome.part:
        yield outcome.part
    figures = outcome.figures
    yield from table_lines(
        [
            TextColumn("figure", [figure.name for figure in figures]),
            TextColumn("value", [plain(figure.value, DIGITS) for figure in figures], "right"),
            TextColumn("unit", [unit_text(figure.unit).strip() for figure in figures]),
            TextColumn(
                "ν",
                ["" if figure.degrees_of_freedom is None else f"{figure.degrees_of_freedom:.1f}" for figure in figures],
                "right",
            ),
        ],
        width=width,
    )
    for words in outcome.told:
        yield from wrapped(f"To be looked at: {words}.", hanging="  ", width=width)
    for parameter in outcome.parameters:
        yield ""
        yield from wrapped(f"# for {USES[parameter.use]}", "", "# ", width)
        yield from parameter_lines(parameter, source)


def parameter_lines(parameter: Parameter, source: str) -> Iterator[str]:
    """The figure as TOML for a method."""
    amount = json.dumps(f"{plain(parameter.value, DIGITS)}{unit_text(parameter.unit)}", ensure_ascii=False)
    if parameter.use == "bias":
        yield f"u = {amount}"
    else:
        yield f"{'relative' if parameter.unit == '%' else 'constant'} = {amount}"
    if parameter.degrees_of_freedom is not None:
        yield f"dof = {plain(parameter.degrees_of_freedom, 3)}"
    yield f"source = {json.dumps('study ' + source, ensure_ascii=False)}"
