"""The scope of a method, from its run or from the method alone, and how other programs take it."""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ubudget.errors import UbudgetError
from ubudget.evaluation.evaluate import Evaluation
from ubudget.evaluation.scope import Scope, scope_of_method, scope_of_run
from ubudget.files.csv_text import safe_text
from ubudget.files.level_run import evaluate_levels
from ubudget.files.verbs import evaluate, read_run
from ubudget.pages.scope_picture import scope_picture
from ubudget.records.amount import parse_number
from ubudget.records.unit_comparison import in_unit

USUAL_NUMBER = 10
MOST_LEVELS = 500


@dataclass(frozen=True)
class Scoped:
    """The scopes, and the run of the levels where there is one, which a workbook may hold."""

    scopes: tuple[Scope, ...]
    levels: Evaluation | None


def scope(
    path: str | os.PathLike[str],
    levels: str | None = None,
    *,
    number: int = USUAL_NUMBER,
    sample: str | None = None,
    vary: str | None = None,
    analytes: Sequence[str] = (),
) -> Scoped:
    """The method of a run over levels, `"1, 10, 100 mg/kg"`; without them `number` levels over the calibrated range.

    `sample` names the sample whose mass, volumes and moisture stand for all. A method that stands alone needs `vary`,
    the input that carries the level, and `levels`. Raises `UnusableInput`, `UbudgetError`."""
    evaluation = evaluate(read_run(path))
    unit = evaluation.records.method.document.unit
    wanted = None if levels is None else _levels(levels, unit)
    if evaluation.records.run is None:
        if vary is None or wanted is None:
            raise UbudgetError("a method that stands alone: found no --vary or no --levels; accepted: both")
        return Scoped((scope_of_method(evaluation, vary, wanted),), None)
    if vary is not None:
        raise UbudgetError("--vary: found a run; accepted: a method that stands alone, whose input carries the level")
    if wanted is None and not 2 <= number <= MOST_LEVELS:
        raise UbudgetError(f"--number: found {number}; accepted: 2 to {MOST_LEVELS}")
    at_levels, lines, _ = evaluate_levels(evaluation, sample, wanted, number)
    names = [(line.analyte, line.line) for line in lines if not analytes or line.analyte in analytes]
    if not names:
        known = ", ".join(dict.fromkeys(line.analyte for line in lines))
        raise UbudgetError(f"--analyte: found {', '.join(analytes)}; accepted: {known}")
    return Scoped(scope_of_run(at_levels, names), at_levels)


def _levels(text: str, unit: str) -> list[float]:
    """`1, 10, 100 mg/kg`: numbers, and one unit behind the last."""
    match = re.fullmatch(r"\s*([0-9eE+.,;\s-]+?)(?:\s+([^\s0-9,;].*?)|\s*(%))?\s*", text)
    pieces = [piece for piece in re.split(r"[,;\s]+", match.group(1)) if piece] if match else []
    try:
        numbers = [parse_number(piece) for piece in pieces]
    except ValueError:
        numbers = []
    given = ((match.group(2) or match.group(3)) if match else None) or unit
    converted = [in_unit(number, given, unit) for number in numbers]
    if not numbers or None in converted or len(numbers) > MOST_LEVELS:
        accepted = f"up to {MOST_LEVELS} numbers and a unit that converts to {unit or '1'}"
        raise UbudgetError(f'--levels: found {text!r}; accepted: {accepted}, such as "1, 10, 100 {unit}"')
    return sorted({number for number in converted if number is not None})


def scope_object(one: Scope) -> dict[str, Any]:
    """A scope in plain objects, numbers unrounded."""
    function = one.function
    return {
        "line": one.label,
        "unit": one.unit,
        "points": [
            {
                "level": point.level,
                "standard_uncertainty": point.u,
                "effective_degrees_of_freedom": point.degrees_of_freedom,
                "coverage_factor": point.k,
                "expanded_uncertainty": point.U,
                "relative_expanded_uncertainty": point.relative if point.level else None,
                "dominating_group": point.dominating,
                "share": point.share,
                "target": point.target,
                "expected_reproducibility": point.expected,
                "remarks": list(point.remarks),
            }
            for point in one.points
        ],
        "function": None
        if function is None
        else {
            "constant": function.constant,
            "relative": function.relative,
            "from": function.lowest,
            "to": function.highest,
            "residuals": list(function.residuals),
        },
        "smallest_U": None if one.smallest is None else one.smallest.U,
        "smallest_relative_U": None if one.smallest_relative is None else one.smallest_relative.relative,
    }


CSV_COLUMNS = ("line", "level", "unit", "u", "k", "U", "U_percent", "dominating_group", "share", "target", "remarks")


def scope_csv(scopes: Sequence[Scope]) -> str:
    """One row for each level of each line."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(CSV_COLUMNS)
    for one in scopes:
        for point in one.points:
            target = "" if point.target is None else point.target
            writer.writerow(
                [
                    safe_text(one.label),
                    point.level,
                    one.unit,
                    point.u,
                    point.k,
                    point.U,
                    point.relative if point.level else "",
                    safe_text(point.dominating),
                    point.share,
                    target,
                    safe_text("; ".join(point.remarks)),
                ]
            )
    return stream.getvalue()


def picture_files(scopes: Sequence[Scope], folder: Path) -> dict[Path, bytes]:
    """Each line as SVG, named by it."""
    return {
        folder / f"{re.sub(r'[^A-Za-z0-9._-]+', '-', one.label).strip('.-') or 'scope'}.svg": scope_picture(
            one
        ).encode()
        for one in scopes
    }
